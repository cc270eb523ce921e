"""How far to trust the outlook of a yard: its past outlooks against what came, in words and data."""

from __future__ import annotations

import math
from pathlib import Path

import pandas as pd

from flowcast.errors import InputError
from flowcast.report import units, words
from flowcast.results import Backtest
from flowcast.tables import QUANTILE_NAMES
from flowcast.verification import BASELINES
from flowcast.verification.summary import OURS

CSV_COLUMNS = [
    "issue_date", "lead_day", "target", "weather", *QUANTILE_NAMES, "p_flow_day", "observed",
]  # fmt: skip
MODE_WORDS = {
    "past-years": "with past years' weather ahead",
    "observed": "with the weather as it came, which no forecast knows",
}
FEW_CASES = 10


def trust_lines(found: Backtest) -> list[str]:
    """What the backtest says, in sentences."""
    lines = [_issued(found)]
    for mode in found.forecasts.query("forecaster == @OURS")["weather"].unique():
        lines += [_interval_line(found, mode), *_against_lines(found, mode)]
        lines += [_chance_line(found, mode), _window_line(found, mode)]
    lines.append(
        "Outlooks a few weeks apart look at much the same days, so together they tell less than "
        "their number says: one year judges a forecaster only roughly."
    )
    return [line for line in lines if line]


def trust_table(found: Backtest) -> list[tuple[str, ...]]:
    """Loss and coverage by forecaster, weather and lead, as cells; the head first."""
    unit = units.of(found.record.yard)
    scale = units.scale_of(unit)
    loss, error, bias = (f"{name}, {unit}" for name in ("loss", "error", "bias"))
    rows = [("weather ahead", "forecaster", "lead", loss, "80 % held", error, bias)]
    for (forecaster, weather, group), row in found.verdict.scores.iterrows():
        rows.append(
            (
                weather.replace("-", " "),
                forecaster,
                group,
                f"{scale * row['loss']:.2f}",
                f"{100 * row['cover80']:.0f} %",
                f"{scale * row['mae']:.2f}",
                f"{scale * row['bias']:+.2f}".replace("-", "−"),
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
    first, last = (words.full_day(d) for d in (found.origins[0], found.origins[-1]))
    n = len(found.origins)
    return (
        f"{n:,} outlook{'' if n == 1 else 's'} of {found.horizon} days, issued from {first} to {last}, "
        "each from what was known that morning, against the yard's own log."
    )


def _interval_line(found: Backtest, mode: str) -> str:
    """How often the interval that should hold 8 times in 10 did."""
    scores = _of(found, OURS, mode)
    days = scores[scores.index.str.startswith("days")]
    if not len(days):
        return _totals_line(found, mode)
    held = _pooled(days, "cover80")
    expected = _pooled(days.dropna(subset="cover80_expected"), "cover80_expected")
    said = f"{_capital(MODE_WORDS[mode])}: bounds that should hold 80 days of 100 held {100 * held:.0f}"
    if math.isfinite(expected):
        said += f", {100 * expected:.0f} where gain was expected"
    return said + "."


def _totals_line(found: Backtest, mode: str) -> str:
    """The same for a yard weighed by hand: totals from weighing to weighing."""
    ours = found.forecasts.query("forecaster == @OURS and weather == @mode and target == 'total'")
    known = ours[ours["observed"].notna()]
    if not len(known):
        return f"{_capital(MODE_WORDS[mode])}: no total is known that could be compared."
    held = (known["observed"] >= known["q10"]) & (known["observed"] <= known["q90"])
    off = (known["q50"] - known["observed"]).abs().median()
    return (
        f"{_capital(MODE_WORDS[mode])}: of {len(known):,} totals from weighing to weighing {held.sum():,} "
        f"lay inside the bounds that should hold 8 of 10; the middle was {words.weight(off, units.of(found.record.yard))} off, half of the "
        "time by more."
    )


def _against_lines(found: Backtest, mode: str) -> list[str]:
    """The loss against the better of the simple forecasters, early and for the month."""
    lines = []
    for group, what in (
        ("days 1-7", "On the first week's days"),
        ("total 30 d", "On 30-day totals"),
    ):
        ours = _of(found, OURS, mode)["loss"].get(group, math.nan)
        others = {n: _of(found, n, "none")["loss"].get(group, math.nan) for n in BASELINES}
        others = {n: loss for n, loss in others.items() if loss > 0}
        if not others or not math.isfinite(ours):
            continue
        best = min(others, key=others.get)
        ratio = ours / others[best]
        than = "better than" if ratio < 0.97 else "worse than" if ratio > 1.03 else "level with"
        lines.append(
            f"{what} it is {than} the best simple forecaster here ({best}): loss {ratio:.2f} of it."
        )
    return lines


def _chance_line(found: Backtest, mode: str) -> str:
    """What came when a flow day was given an open chance."""
    table = found.verdict.reliability
    if mode not in table.index.get_level_values("weather"):
        return ""
    table = table.loc[mode]
    told = table[(table["said"] >= 0.1) & (table["said"] <= 0.9) & (table["cases"] >= FEW_CASES)]
    if not len(told):
        return (
            "Hardly a day had an open chance of being a flow day, so those chances are not judged."
        )
    parts = [
        f"about {words.chance(row['said'])}, it was one on {100 * row['came']:.0f} of 100 "
        f"({row['cases']:.0f} days)"
        for _, row in told.iterrows()
    ]
    return f"When it gave a day a chance of flow of {'; of '.join(parts)}."


def _window_line(found: Backtest, mode: str) -> str:
    if mode not in found.verdict.windows.index:
        return ""
    row = found.verdict.windows.loc[mode]
    said = (
        f"A flow window came within the days ahead of {row['came']:.0f} of {row['issued']:.0f} outlooks: "
        f"called likely {row['hits']:.0f}, not called {row['misses']:.0f}, called in vain "
        f"{row['false_alarms']:.0f}"
    )
    if math.isfinite(row["start_error_d"]):
        said += f"; the start was {row['start_error_d']:.0f} days off in the middle"
    return said + "."


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


def _capital(text: str) -> str:
    return text[0].upper() + text[1:]


def _date(date: pd.Timestamp) -> str:
    return date.date().isoformat()


def _number(value) -> float | None:
    return round(float(value), 4) + 0.0 if math.isfinite(value) else None
