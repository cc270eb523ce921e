"""How far to trust the outlook of a yard: its past outlooks against what came, in words and data."""

from __future__ import annotations

import math
from pathlib import Path

import pandas as pd

from flowcast.errors import InputError
from flowcast.results import Backtest
from flowcast.tables import QUANTILE_NAMES
from flowcast.verification import BASELINES
from flowcast.verification.summary import OURS

CSV_COLUMNS = [
    "issue_date", "lead_day", "target", "weather", *QUANTILE_NAMES, "p_flow_day", "observed",
]  # fmt: skip
FEW_CASES = 10
GROUPS = {"days 1-7": "first_week", "total 30 d": "month"}


def trust_lines(found: Backtest) -> list[str]:
    """What the backtest says, in sentences."""
    lines = [_issued(found)]
    for mode in found.forecasts.query("forecaster == @OURS")["weather"].unique():
        lines += [_interval_line(found, mode), *_against_lines(found, mode)]
        lines += [_chance_line(found, mode), _window_line(found, mode)]
    lines.append(found.record.yard.say("trust.few_years"))
    return [line for line in lines if line]


def trust_table(found: Backtest) -> list[tuple[str, ...]]:
    """Loss and coverage by forecaster, weather and lead, as cells; the head first."""
    say = found.record.yard.say
    heads = ("weather", "forecaster", "lead", "loss", "held", "error", "bias")
    rows = [tuple(say(f"scores.{head}", unit=say.units) for head in heads)]
    for (forecaster, weather, group), row in found.verdict.scores.iterrows():
        rows.append(
            (
                say(f"modes.{weather}"),
                say(f"forecasters.{forecaster}"),
                say(f"leads.{group}"),
                say.number(say.scale * row["loss"], 2),
                say.percent(row["cover80"]),
                say.number(say.scale * row["mae"], 2),
                say.number(say.scale * row["bias"], 2, sign="+"),
            )
        )
    return rows


def trust_data(found: Backtest) -> dict:
    """The same as plain data for --json."""
    verdict = found.verdict
    return {
        "first": _date(found.origins[0]),
        "last": _date(found.origins[-1]),
        "every_days": found.every,
        "horizon_days": found.horizon,
        "outlooks": len(found.origins),
        "scores": _records(verdict.scores),
        "by_month": _records(verdict.by_month),
        "reliability": _records(verdict.reliability),
        "windows": [
            {"weather": weather} | {k: _number(v) for k, v in row.items()}
            for weather, row in verdict.windows.iterrows()
        ],
        "says": trust_lines(found),
    }


def write_csv(found: Backtest, path: Path) -> Path:
    """Every forecast with what came, one row a lead day.

    Raises
    ------
    InputError
        When the place cannot be written or the file is there already: it may be a keeper's own.
    """
    ours = found.forecasts[found.forecasts["forecaster"] == OURS]
    table = ours[CSV_COLUMNS].assign(issue_date=ours["issue_date"].dt.strftime("%Y-%m-%d"))
    must_be_new(path)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        table.round(4).to_csv(path, index=False)
    except OSError as error:
        raise InputError(
            f"{path}: cannot be written ({error.strerror}). Name another --csv."
        ) from None
    return path


def must_be_new(path: Path | None) -> None:
    """Raise InputError when there is a file already: it may be a keeper's own."""
    if path is not None and path.exists():
        raise InputError(f"{path}: there already, and never written over. Name another --csv.")


def _issued(found: Backtest) -> str:
    say = found.record.yard.say
    first, last = (say.full_day(d) for d in (found.origins[0], found.origins[-1]))
    told = {"days": found.horizon, "first": first, "last": last}
    return say("trust.issued", n=len(found.origins), **told)


def _interval_line(found: Backtest, mode: str) -> str:
    """How often the interval that should hold 8 times in 10 did."""
    scores, say = _of(found, OURS, mode), found.record.yard.say
    days = scores[scores.index.str.startswith("days")]
    if not len(days):
        return _totals_line(found, mode)
    told = {"held": say.number(100 * _pooled(days, "cover80"))}
    expected = _pooled(days.dropna(subset="cover80_expected"), "cover80_expected")
    if not math.isfinite(expected):
        return say(f"bounds.{mode}", **told)
    return say(f"bounds_and_gain.{mode}", **told, expected=say.number(100 * expected))


def _totals_line(found: Backtest, mode: str) -> str:
    """The same for a yard weighed by hand: totals from weighing to weighing."""
    say = found.record.yard.say
    ours = found.forecasts.query("forecaster == @OURS and weather == @mode and target == 'total'")
    known = ours[ours["observed"].notna()]
    if not len(known):
        return say(f"no_totals.{mode}")
    held = (known["observed"] >= known["q10"]) & (known["observed"] <= known["q90"])
    off = (known["q50"] - known["observed"]).abs().median()
    return say(f"totals.{mode}", n=len(known), held=int(held.sum()), off=say.weight(off))


def _against_lines(found: Backtest, mode: str) -> list[str]:
    """The loss against the better of the simple forecasters, early and for the month."""
    lines, say = [], found.record.yard.say
    for group, key in GROUPS.items():
        ours = _of(found, OURS, mode)["loss"].get(group, math.nan)
        others = {n: _of(found, n, "none")["loss"].get(group, math.nan) for n in BASELINES}
        others = {n: loss for n, loss in others.items() if loss > 0}
        if not others or not math.isfinite(ours):
            continue
        best = min(others, key=others.get)
        ratio = ours / others[best]
        than = "better" if ratio < 0.97 else "worse" if ratio > 1.03 else "level"
        told = {"best": say(f"forecasters.{best}"), "ratio": say.number(ratio, 2)}
        lines.append(say(f"trust.{key}_{than}", **told))
    return lines


def _chance_line(found: Backtest, mode: str) -> str:
    """What came when a flow day was given an open chance."""
    table, say = found.verdict.reliability, found.record.yard.say
    if mode not in table.index.get_level_values("weather"):
        return ""
    table = table.loc[mode]
    told = table[(table["said"] >= 0.1) & (table["said"] <= 0.9) & (table["cases"] >= FEW_CASES)]
    if not len(told):
        return say("trust.no_open_chance")
    parts = [
        say(
            "trust.chance_came",
            chance=say.chance(row["said"]),
            came=say.number(100 * row["came"]),
            n=round(row["cases"]),
        )
        for _, row in told.iterrows()
    ]
    return say("trust.chances_came", each=say.listed(parts, "semicolon_of"))


def _window_line(found: Backtest, mode: str) -> str:
    if mode not in found.verdict.windows.index:
        return ""
    row, say = found.verdict.windows.loc[mode], found.record.yard.say
    names = ("came", "hits", "misses", "false_alarms")
    told = {name: say.number(row[name]) for name in names} | {"n": round(row["issued"])}
    off = row["start_error_d"]
    if not math.isfinite(off):
        return say("trust.windows", **told)
    return say("trust.windows_and_start", **told, off=say.number(off))


def _of(found: Backtest, forecaster: str, weather: str) -> pd.DataFrame:
    scores = found.verdict.scores
    at = (scores.index.get_level_values(0) == forecaster) & (
        scores.index.get_level_values(1) == weather
    )
    return scores[at].droplevel(["forecaster", "weather"])


def _pooled(rows: pd.DataFrame, column: str) -> float:
    cases = rows["cases"].sum()
    return float((rows[column] * rows["cases"]).sum() / cases) if cases else math.nan


def _records(table: pd.DataFrame) -> list[dict]:
    return [
        {k: v if isinstance(v, str) else _number(v) for k, v in row.items()}
        for row in table.reset_index().to_dict("records")
    ]


def _date(date: pd.Timestamp) -> str:
    return date.date().isoformat()


def _number(value) -> float | None:
    return round(float(value), 4) + 0.0 if math.isfinite(value) else None
