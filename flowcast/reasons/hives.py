"""What the hives of a yard did in a span: gains, crops, and what was done to them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from flowcast.numbers import Numbers
from flowcast.reasons.spans import Against, against
from flowcast.scale_log import CleanLog

TOLD = ("swarmed", "split", "requeened", "united", "swarm hived", "moved in", "moved out")
CROP = "honey off"


@dataclass(frozen=True)
class HiveSeason:
    """One hive in the span.

    gain_kg: net gain over the days with a known one; known: their share of the span. crop_kg: honey
    lifted off, by work.csv or by steps in the log, whichever tells of more; NaN where neither does. events: (date, word) of
    what changes a colony.
    """

    hive: str
    gain_kg: float
    known: float
    crop_kg: float
    events: tuple[tuple[pd.Timestamp, str], ...]


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
    gain, known = _gain(log, first, last) if log is not None else (np.nan, 0.0)
    events = [(row.date, row.what) for row in lines[lines["what"].isin(TOLD)].itertuples()]
    crop = lines.loc[lines["what"] == CROP, "kg"].sum(min_count=1)
    if log is not None:
        steps = log.steps.assign(
            date=log.steps["time"].dt.tz_convert(timezone).dt.tz_localize(None).dt.normalize()
        )
        steps = steps[(steps["date"] >= first) & (steps["date"] <= last)]
        events += [
            (row.date, row.cause) for row in steps.itertuples() if "swarm?" in str(row.cause)
        ]
        lifted = -steps.loc[steps["cause"].str.startswith(CROP), "kg"].sum()
        crop = np.fmax(crop, lifted if lifted > 0 else np.nan)  # what neither saw is in the other
    return HiveSeason(name, gain, known, float(crop), tuple(sorted(events)))


def _gain(log: CleanLog, first: pd.Timestamp, last: pd.Timestamp) -> tuple[float, float]:
    """Gain of the good spans that lie within, and their share of the days."""
    gains = log.gains[log.gains["quality"] == "good"]
    ends = gains.index + pd.to_timedelta(gains["days"], unit="D")
    inside = gains[(gains.index >= first) & (ends <= last + pd.Timedelta(days=1))]
    length = (last - first).days + 1
    return float(inside["gain_kg"].sum()), float(inside["days"].sum() / length)


@dataclass(frozen=True)
class LowHive:
    """A hive far behind the others, and the middle gain of those. [kg]"""

    season: HiveSeason
    others_kg: float


def low_hives(hives: list[HiveSeason], numbers: Numbers) -> list[LowHive]:
    """Hives that gained less than reasons.hive_low_share of the middle of at least two others.

    Only hives with known gains on reasons.hive_known_share of the days count, and only where the
    others gained reasons.hive_gain_kg or more: of nothing there is no share.
    """
    told = [h for h in hives if h.known >= numbers["reasons.hive_known_share"]]
    found = []
    for hive in told:
        others = [h.gain_kg for h in told if h is not hive]
        if len(others) < 2:
            continue
        middle = float(np.median(others))
        if (
            middle >= numbers["reasons.hive_gain_kg"]
            and hive.gain_kg < numbers["reasons.hive_low_share"] * middle
        ):
            found.append(LowHive(hive, middle))
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
    for start, n, kg in zip(inside.index, inside["days"], inside["gain_kg"], strict=True):
        at, kind = (start - first).days, int(n > 1)
        total[kind, at : at + int(n)] += kg / n
        told[kind, at : at + int(n)] += 1
    with np.errstate(invalid="ignore"):
        single, longer = total / told
    return pd.Series(np.where(np.isfinite(single), single, longer), days)


def gain_against(shares: dict[int, pd.Series], year: int, numbers: Numbers) -> Against:
    """The yard's gain over the known days of a span, beside other seasons on the same days.

    Each other season is compared on the days known in both, when they are at least
    reasons.gain_share of the span; the gains shown for it are this season's less the difference. NaN
    where so little is known of the season itself.
    """
    own = shares[year].to_numpy()
    least = numbers["reasons.gain_share"] * len(own)
    if np.isfinite(own).sum() < least:
        return Against(np.nan, np.nan, np.nan, np.nan, 1, 1)
    now, others = float(np.nansum(own)), {}
    for other, share in shares.items():
        both = np.isfinite(own) & np.isfinite(share.to_numpy())
        if both.sum() >= least:
            others[other] = now - float((own - share.to_numpy())[both].sum())
    return against(others | {year: now}, year)
