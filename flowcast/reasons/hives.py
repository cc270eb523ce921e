"""What the hives of a yard did in a span: gains, crops, and what was done to them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from flowcast.numbers import Numbers
from flowcast.reasons.spans import Against, against
from flowcast.scale_log import CleanLog

TOLD = ("swarmed", "split", "requeened", "united", "swarm hived", "moved in", "moved out")
CROP, IN_BUCKET = "honey off", "extracted"
LEAVES = ("swarm", "split", "moved out")  # what a colony is less by
LEAST_CROP_KG = 0.1  # less is no crop: a line without a weight, and no step in the log


@dataclass(frozen=True)
class HiveSeason:
    """One hive in the span.

    daily_kg: its gain of each day of the span, of a total an even share, NaN where unknown; gain_kg and
    known: their sum, and the share of days known. crop_kg: honey lifted off, by work.csv or by steps in
    the log, whichever tells of more, else honey extracted; NaN where none is told. events: (date, word) of
    what changes a colony. full: on which of the days it had no free comb, so that it could have gained more.
    """

    hive: str
    daily_kg: pd.Series
    crop_kg: float
    events: tuple[tuple[pd.Timestamp, str], ...]
    full: pd.Series

    @property
    def gain_kg(self) -> float:
        """Gain over the known days. [kg]"""
        return float(self.daily_kg.sum())

    @property
    def known(self) -> float:
        """Share of the span's days with a known gain."""
        return float(self.daily_kg.notna().mean())

    @property
    def parting(self) -> tuple[pd.Timestamp, str] | None:
        """The first event that leaves a colony smaller, if any is known."""
        return next((e for e in self.events if any(word in e[1] for word in LEAVES)), None)


def hive_seasons(
    hives: list[str],
    logs: list[CleanLog],
    work: pd.DataFrame,
    first: pd.Timestamp,
    last: pd.Timestamp,
    timezone: str,
) -> list[HiveSeason]:
    """Each hive of the yard from `first` to `last`, both included.

    Parameters
    ----------
    work : DataFrame
        Lines of work.csv: time (UTC), hive, what, kg.
    """
    local = work.assign(
        date=work["time"].dt.tz_convert(timezone).dt.tz_localize(None).dt.normalize()
    )
    inside = local[(local["date"] >= first) & (local["date"] <= last)]
    by_name = {log.hive: log for log in logs}
    return [
        _hive(name, by_name.get(name), inside[inside["hive"] == name], first, last, timezone)
        for name in hives
    ]


def _hive(name, log: CleanLog | None, lines: pd.DataFrame, first, last, timezone) -> HiveSeason:
    gains = log.gains[log.gains["quality"] == "good"] if log is not None else NO_GAINS
    events = [(row.date, row.what) for row in lines[lines["what"].isin(TOLD)].itertuples()]
    off, extracted = (
        lines.loc[lines["what"] == word, "kg"].sum(min_count=1) for word in (CROP, IN_BUCKET)
    )
    if log is not None:
        steps = log.steps.assign(
            date=log.steps["time"].dt.tz_convert(timezone).dt.tz_localize(None).dt.normalize()
        )
        steps = steps[(steps["date"] >= first) & (steps["date"] <= last)]
        events += [
            (row.date, row.cause) for row in steps.itertuples() if "swarm?" in str(row.cause)
        ]
        off = np.fmax(off, -steps.loc[steps["cause"].str.startswith(CROP), "kg"].sum())
    crop = off if off >= LEAST_CROP_KG else extracted
    crop = crop if crop >= LEAST_CROP_KG else np.nan
    shares, full = daily_shares(gains, first, last), full_days(gains, first, last)
    return HiveSeason(name, shares, float(crop), tuple(sorted(events)), full)


NO_GAINS = pd.DataFrame({"days": [], "gain_kg": [], "lower_bound": []}, index=pd.DatetimeIndex([]))


@dataclass(frozen=True)
class LowHive:
    """A hive far behind the others: its gain and their middle on the days known of all. [kg]"""

    season: HiveSeason
    gain_kg: float
    others_kg: float


def low_hives(hives: list[HiveSeason], numbers: Numbers) -> list[LowHive]:
    """Hives that fell behind the middle of at least two others by more than hives usually differ.

    By reasons.hive_behind_kg at least, and by reasons.hive_behind_share of what the others gained; on
    days known of all hives that have known gains on reasons.hive_known_share of the span, if they are
    as many. Days on which a hive had no free comb say nothing of its colony and do not count.
    """
    told = [h for h in hives if h.known >= numbers["reasons.hive_known_share"]]
    if len(told) < 3:
        return []
    table = pd.DataFrame({h.hive: h.daily_kg.mask(h.full) for h in told})
    common = table.dropna()
    if len(common) < numbers["reasons.hive_known_share"] * len(table):
        return []
    sums, found = common.sum(), []
    for hive in told:
        middle = float(sums.drop(hive.hive).median())
        share = numbers["reasons.hive_behind_share"] * max(middle, 0.0)
        if middle - sums[hive.hive] > max(numbers["reasons.hive_behind_kg"], share):
            found.append(LowHive(hive, float(sums[hive.hive]), middle))
    return found


def daily_shares(spans: pd.DataFrame, first: pd.Timestamp, last: pd.Timestamp) -> pd.Series:
    """The yard's gain of each day of a span; of a total over several days, an even share. [kg/d]

    Parameters
    ----------
    spans : DataFrame
        `tables.GAIN` of the yard: days, and totals of single hives over several.

    Returns
    -------
    Series
        Index: local dates; NaN where nothing is known. Single days win over totals that hold them;
        several hives' totals over a day count as their mean.
    """
    ends = spans.index + pd.to_timedelta(spans["days"], unit="D")
    inside = spans[(spans.index >= first) & (ends <= last + pd.Timedelta(days=1))]
    days = pd.date_range(first, last)
    total, told = np.zeros((2, len(days))), np.zeros((2, len(days)))
    begins, lengths = (inside.index - first).days, inside["days"].astype(int)
    for at, n, kg in zip(begins, lengths, inside["gain_kg"], strict=True):
        kind = int(n > 1)
        total[kind, at : at + n] += kg / n
        told[kind, at : at + n] += 1
    with np.errstate(invalid="ignore"):
        single, longer = total / told
    return pd.Series(np.where(np.isfinite(single), single, longer), days)


def full_days(spans: pd.DataFrame, first: pd.Timestamp, last: pd.Timestamp) -> pd.Series:
    """On which days of a span hives had no free comb, as `daily_shares` reads the same table."""
    marked = spans.assign(gain_kg=spans["lower_bound"].astype(float) * spans["days"])
    return daily_shares(marked, first, last) > 0


def told_share(known: np.ndarray, blooms: np.ndarray, numbers: Numbers) -> float:
    """Share of a span's days that are known, or of its days of stated bloom where that is more.

    A scale that stands in summer only tells of nearly all that there was to tell.
    """
    in_bloom = known & blooms
    if in_bloom.sum() < numbers["reasons.gain_least_d"]:
        return float(known.mean())
    return float(max(known.mean(), in_bloom.sum() / blooms.sum()))


def gain_against(
    shares: dict[int, pd.Series], year: int, blooms: np.ndarray, numbers: Numbers
) -> Against:
    """The yard's gain over the known days of a span, beside `other_gains`; NaN where little is known."""
    own = shares[year].to_numpy()
    if told_share(np.isfinite(own), blooms, numbers) < numbers["reasons.gain_share"]:
        return Against(np.nan, np.nan, np.nan, np.nan, 1, 1)
    now = float(np.nansum(own))
    return against(other_gains(shares, year, blooms, numbers) | {year: now}, year)


def other_gains(
    shares: dict[int, pd.Series], year: int, blooms: np.ndarray, numbers: Numbers
) -> dict[int, float]:
    """Gains of the other seasons that can be laid beside this one's, by the year they begin in. [kg]

    Each is compared on the days known in both, when they are at least reasons.gain_share of the
    span or of its bloom (`told_share`); the gain shown for it is this season's less the difference.
    """
    own, others = shares[year].to_numpy(), {}
    for other, share in shares.items():
        both = np.isfinite(own) & np.isfinite(share.to_numpy())
        told = told_share(both, blooms, numbers)
        if other != year and told >= numbers["reasons.gain_share"]:
            less = float((own - share.to_numpy())[both].sum())
            others[other] = float(np.nansum(own)) - less
    return others
