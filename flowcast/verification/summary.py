"""Outlooks of past dates against what came: the table of scores and what they mean together.

The table of forecasts has one row for each issue date, forecaster, weather mode, target and lead
day: issue_date, forecaster, weather, target (daily | total), lead_day, q05 ... q95, p_flow_day,
observed. Lead day 1 is the issue date; a total at lead n is the sum of lead days 1 to n.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from flowcast.tables import QUANTILE_NAMES, QUANTILES
from flowcast.verification.scores import reliability

OURS = "flowcast"
GROUPS = {"days 1-7": (1, 7), "days 8-16": (8, 16), "days 17-30": (17, 30), "days 31 on": (31, 999)}
TOTALS = (7, 30)
TOLERANCE_KG = 0.01  # a scale shows no less
EXPECTED_KG = 0.2  # upper quartile from which a day counts as one on which gain is expected
INTERVALS = {50: ("q25", "q75"), 80: ("q10", "q90"), 90: ("q05", "q95")}


@dataclass(frozen=True)
class Verdict:
    """What a backtest found.

    scores: one row a forecaster, weather mode and lead group, columns loss, mae, bias [kg],
    cover50, cover80, cover90, cover80_expected [1], brier, cases. by_month: the same by month of the
    issue date, days 1-7 and the 30-day total. reliability: said, came, cases by weather mode.
    windows: hits, false alarms and misses of flow windows, and the error of their start. [d]
    """

    scores: pd.DataFrame
    by_month: pd.DataFrame
    reliability: pd.DataFrame
    windows: pd.DataFrame


def judge(forecasts: pd.DataFrame, windows: pd.DataFrame, threshold_kg: float) -> Verdict:
    """Score a table of forecasts.

    Parameters
    ----------
    forecasts : DataFrame
        As the module says; rows whose observed is NaN are left out.
    windows : DataFrame
        One row an issue date and weather mode: weather, chance of a flow window, start (its
        middle, or NaT), came (bool), came_start (NaT where none came or it was open already).
    threshold_kg : float
        Daily gain from which a day is a flow day. [kg]
    """
    known = forecasts[forecasts["observed"].notna()]
    rows = _judged(known, threshold_kg)
    month = rows["issue_date"].dt.month.rename("month")
    main = rows["group"].isin(["days 1-7", "total 30 d"])
    return Verdict(
        scores=_scored(rows, ["forecaster", "weather", "group"]),
        by_month=_scored(
            rows[main].assign(month=month), ["forecaster", "weather", "group", "month"]
        ),
        reliability=_reliability(rows),
        windows=_windows(windows),
    )


def _judged(known: pd.DataFrame, threshold_kg: float) -> pd.DataFrame:
    """Every forecast with its errors, in its lead group."""
    fcst = known[list(QUANTILE_NAMES)].to_numpy(float)
    obs = known["observed"].to_numpy(float)
    error = obs[:, None] - fcst
    levels = np.array(QUANTILES)
    rows = known.assign(
        group=_groups(known),
        loss=2 * np.maximum(levels * error, (levels - 1) * error).mean(1),
        mae=np.abs(error[:, len(levels) // 2]),
        bias=-error[:, len(levels) // 2],
        expected=(known["q75"] > EXPECTED_KG).to_numpy(),
        flowed=obs >= threshold_kg,
    )
    for share, (low, high) in INTERVALS.items():
        above = obs >= known[low].to_numpy(float) - TOLERANCE_KG
        rows[f"cover{share}"] = above & (obs <= known[high].to_numpy(float) + TOLERANCE_KG)
    return rows[rows["group"] != ""]


def _groups(known: pd.DataFrame) -> np.ndarray:
    lead, daily = known["lead_day"].to_numpy(), (known["target"] == "daily").to_numpy()
    named = np.full(len(known), "", dtype=object)
    for name, (first, last) in GROUPS.items():
        named[daily & (lead >= first) & (lead <= last)] = name
    for days in TOTALS:
        named[~daily & (lead == days)] = f"total {days} d"
    return named


def _scored(rows: pd.DataFrame, keys: list[str]) -> pd.DataFrame:
    squared = (rows["p_flow_day"] - rows["flowed"]) ** 2
    rows = rows.assign(
        brier=squared,
        cover80_expected=rows["cover80"].where(rows["expected"]).astype(float),
        cases=1.0,
    )
    means = [
        "loss", "mae", "bias", "cover50", "cover80", "cover90", "cover80_expected", "brier",
    ]  # fmt: skip
    grouped = rows.groupby(keys, sort=False)
    return grouped[means].mean().assign(cases=grouped["cases"].sum().astype(int))


def _reliability(rows: pd.DataFrame) -> pd.DataFrame:
    """Said against came for flow days, by weather mode and by distance."""
    days = rows[(rows["target"] == "daily") & (rows["forecaster"] == OURS)]
    days = days[days["p_flow_day"].notna()]
    tables = {
        weather: reliability(part["p_flow_day"], part["flowed"])
        for weather, part in days.groupby("weather", sort=False)
    }
    if not tables:
        none = pd.MultiIndex.from_arrays([[], []], names=["weather", "bin"])
        return pd.DataFrame(columns=["said", "came", "cases"], index=none, dtype=float)
    return pd.concat(tables, names=["weather", "bin"])


def _windows(windows: pd.DataFrame) -> pd.DataFrame:
    """Flow windows said to be likely (2 in 3 and more) against those that came."""
    rows = {}
    for weather, part in windows.groupby("weather", sort=False):
        said, came = part["chance"] >= 2 / 3, part["came"].astype(bool)
        off = (part["start"] - part["came_start"])[said & came].dropna().dt.days
        rows[weather] = {
            "issued": len(part),
            "came": int(came.sum()),
            "hits": int((said & came).sum()),
            "false_alarms": int((said & ~came).sum()),
            "misses": int((~said & came).sum()),
            "brier": float(((part["chance"] - came) ** 2).mean()),
            "start_error_d": float(off.abs().median()) if len(off) else np.nan,
        }
    return pd.DataFrame.from_dict(rows, orient="index")


def observed_totals(spans: pd.DataFrame, issue_date: pd.Timestamp, horizon: int) -> np.ndarray:
    """Running totals that the log tells of, shape (horizon,); NaN where it does not. [kg]

    Parameters
    ----------
    spans : DataFrame
        `tables.GAIN` of the yard: index the local date a span starts on.

    Notes
    -----
    A total is known where spans follow one another from the issue date without a gap. Several
    spans from one date to one length (hives weighed on the same days) count by their median; of
    different lengths the shortest is followed.
    """
    steps = spans.assign(start=spans.index).groupby(["start", "days"], as_index=False)["gain_kg"]
    shortest = steps.median().sort_values("days").drop_duplicates("start").set_index("start")
    total, known, day = 0.0, np.full(horizon, np.nan), 0
    while day < horizon:
        date = issue_date + pd.Timedelta(days=day)
        if date not in shortest.index:
            break
        total += float(shortest.loc[date, "gain_kg"])
        day += int(shortest.loc[date, "days"])
        if day <= horizon:
            known[day - 1] = total
    return known


def observed_window(
    windows: list[tuple[pd.Timestamp, pd.Timestamp]], issue_date: pd.Timestamp, days: int
) -> tuple[bool, pd.Timestamp]:
    """Whether a flow window touched the days ahead, and its start; NaT when it was open already."""
    last = issue_date + pd.Timedelta(days=days - 1)
    touching = [w for w in windows if w[1] >= issue_date and w[0] <= last]
    if not touching:
        return False, pd.NaT
    start = touching[0][0]
    return True, start if start > issue_date else pd.NaT
