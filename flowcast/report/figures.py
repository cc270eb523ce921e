"""The page's pictures: drawn, described in a sentence, and with their data as a small table."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from flowcast.plots import log as log_plots
from flowcast.plots import season as season_plots
from flowcast.plots.style import paper
from flowcast.report import words
from flowcast.results import YardOutlook
from flowcast.scale_log import CleanLog
from flowcast.yard.settings import ForageSection


@dataclass(frozen=True)
class Figure:
    """One picture: inline SVG, the finding in a sentence, a caption, and its data as text cells."""

    name: str
    svg: str
    alt: str
    caption: str
    header: list[str]
    rows: list[list[str]]


def season_figures(found: YardOutlook) -> list[Figure]:
    """The ribbon and the fan."""
    return [ribbon(found), fan(found)]


def ribbon(found: YardOutlook) -> Figure:
    """The year behind and the month ahead on one ribbon."""
    frame = season_plots.ribbon_data(found)
    scale, unit = words.scale_of(_units(found)), _units(found)
    blooms = [(f.name, _bloom_dates(f, frame.index)) for f in found.record.yard.forage]

    weighed = bool(frame[["gain_kg", "span_kg"]].notna().any(axis=None))
    heights = [3.0, 1.1, 1.7][0 if weighed else 1 :]

    def draw(figure):
        axes = figure.subplots(len(heights), 1, sharex=True, height_ratios=heights)
        season_plots.plot_ribbon(
            frame, found.outlook.issue_date, blooms, axes=axes, scale=scale, unit=unit
        )

    ahead = frame["p_flow_day"].dropna()
    best = ahead.idxmax()
    alt = (
        f"{_past_words(frame, unit)} Ahead, the chance of a flow day is highest about {words.day(best)}, "
        f"{words.chance(ahead.max())}."
    )
    caption = (
        f"The year behind and the month ahead. {'First the daily gain by kind of day, and what may come. ' if weighed else ''}"
        "Foraging hours, with the usual course as a line. Last, bloom as stated and the chance of a flow day."
    )
    svg = _svg("ribbon", draw, (11, 0.9 * sum(heights)))
    return Figure("ribbon", svg, alt, caption, *_ribbon_table(frame, unit))


def fan(found: YardOutlook) -> Figure:
    """The running total ahead."""
    frame = season_plots.fan_data(found)
    unit = _units(found)

    def draw(figure):
        season_plots.plot_fan(frame, ax=figure.subplots(), scale=words.scale_of(unit), unit=unit)

    last = frame.iloc[-1]
    alt = (
        f"By {words.day(frame.index[-1])} the middle of the running total is {words.weight(last['q50'], unit)}; "
        f"8 times in 10 it lies from {words.weight_range(last['q10'], last['q90'], unit)}."
    )
    caption = "What the hive may gain from today on. Thin lines: the middle with each past year's weather."
    weekly = frame.iloc[[d for d in (6, 13, 20, 27, len(frame) - 1) if d < len(frame)]]
    rows = [
        [words.day(date), *(words.weight(row[q], unit) for q in ("q10", "q50", "q90"))]
        for date, row in weekly.iterrows()
    ]
    header = ["until", "low (1 in 10 below)", "middle", "high (1 in 10 above)"]
    return Figure("fan", _svg("fan", draw, (7.4, 3.6)), alt, caption, header, rows)


def standing_figures(found: YardOutlook) -> list[Figure]:
    """Soil water and foraging hours of the last year against their normal, where one is known."""
    if not found.record.normals.seasons:
        return []
    soil = season_plots.standing_data(found.record, "soil_water_frac")
    hours = season_plots.standing_data(found.record, "foraging_h", mean_days=30)
    return [
        _standing("soil", soil, "Water in the soil, share of what plants can draw", 100.0, "%"),
        _standing("hours", hours, "Foraging hours a day, mean of 30 days", 1.0, "h"),
    ]


def _standing(name: str, frame: pd.DataFrame, title: str, scale: float, unit: str) -> Figure:
    def draw(figure):
        season_plots.plot_standing(frame, ax=figure.subplots(), unit=unit, scale=scale)

    digits = 0 if scale > 1 else 1
    above = (frame["now"] > frame["q90"]).mean()
    below = (frame["now"] < frame["q10"]).mean()
    alt = (
        f"{title}: over the last year {round(10 * below)} days in 10 lay below the usual range and "
        f"{round(10 * above)} in 10 above it."
    )
    monthly = frame.resample("MS").mean()
    rows = [
        [
            f"{date:%B %Y}",
            *(f"{row[k] * scale:.{digits}f} {unit}" for k in ("now", "mean", "q10", "q90")),
        ]
        for date, row in monthly.iterrows()
        if np.isfinite(row).all()
    ]
    header = ["month", "this year", "usual", "low", "high"]
    return Figure(name, _svg(name, draw, (5.4, 2.7)), alt, title, header, rows)


def log_figures(found: YardOutlook) -> list[tuple[Figure, CleanLog]]:
    """One picture a hive with a log."""
    return [(_log(found, log, k), log) for k, log in enumerate(found.record.logs)]


def _log(found: YardOutlook, log: CleanLog, k: int) -> Figure:
    zone, unit = found.record.yard.place.timezone, _units(found)
    frame = log_plots.log_data(log, zone)
    steps = log_plots.recent_steps(log, zone, frame.index[0])

    def draw(figure):
        log_plots.plot_log(
            frame, steps, ax=figure.subplots(), scale=words.scale_of(unit), unit=unit
        )

    shown = frame.dropna()
    if shown.empty:
        alt = f"{log.hive}: no weight that could be trusted in these days."
    else:
        change = shown["net_kg"].iloc[-1] - shown["net_kg"].iloc[0]
        alt = (
            f"{log.hive}: from {words.full_day(shown.index[0])} to {words.full_day(shown.index[-1])} it "
            f"{'gained' if change >= 0 else 'lost'} {words.weight(abs(change), unit)} with work taken out."
        )
    rows = [
        [
            f"{step.time:%Y-%m-%d %H:%M}" if log.kind == "scale" else f"{step.time:%Y-%m-%d}",
            words.weight(step.kg, unit),
            step.cause,
            step.note,
        ]
        for step in steps.itertuples()
    ]
    header = ["when", "taken out", "what", "how known"]
    return Figure(f"log{k}", _svg(f"log{k}", draw, (7.4, 2.6)), alt, alt, header, rows)


def _svg(name: str, draw: Callable, size: tuple[float, float]) -> str:
    """Draw into inline SVG whose ids no other picture on the page has."""
    from matplotlib.figure import Figure as Canvas

    with paper():
        canvas = Canvas(figsize=size, layout="constrained")
        draw(canvas)
        out = io.StringIO()
        canvas.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    text = out.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r'(id="|href="#|url\(#)', rf"\g<1>{name}-", text)
    width, height = size[0] * 72, size[1] * 72
    head = f'<svg viewBox="0 0 {width:g} {height:g}" role="presentation" aria-hidden="true" focusable="false"'
    return re.sub(r"<svg[^>]*", head, text, count=1)


def _units(found: YardOutlook) -> str:
    return found.record.yard.settings.yard.units


def _bloom_dates(forage: ForageSection, dates: pd.DatetimeIndex):
    """Stated bloom as dates, for each year the ribbon touches."""
    spans = []
    for year in range(dates[0].year - 1, dates[-1].year + 1):
        first = _in_year(year, forage.from_)
        last = _in_year(year, forage.to)
        if last < first:
            last = _in_year(year + 1, forage.to)
        if last >= dates[0] and first <= dates[-1]:
            spans.append((first, last))
    return spans


def _in_year(year: int, month_day: str) -> pd.Timestamp:
    # 29 February is 28 February in other years.
    text = month_day if month_day != "02-29" else "02-28"
    return pd.Timestamp(f"{year}-{text}")


def _past_words(frame: pd.DataFrame, unit: str) -> str:
    past = frame[frame["p_flow_day"].isna()]
    known = past["gain_kg"].dropna()
    if len(known) >= 30:
        strong = int((past["kind"].isin(["moderate", "strong", "exceptional"])).sum())
        return (
            f"In the last {len(past)} days {len(known)} daily gains are known; {strong} were moderate or better "
            f"and the best brought {words.weight(known.max(), unit)} on {words.day(known.idxmax())}."
        )
    good = int((past["foraging_h"] >= 4).sum())
    return f"In the last {len(past)} days {good} had four foraging hours or more."


def _ribbon_table(frame: pd.DataFrame, unit: str) -> tuple[list[str], list[list[str]]]:
    header = ["month", "gain known", "foraging hours a day", "usual", "flow days"]
    rows = []
    for month, part in frame[frame["p_flow_day"].isna()].groupby(pd.Grouper(freq="MS")):
        gain = part["gain_kg"]
        rows.append(
            [
                f"{month:%B %Y}",
                f"{words.weight(gain.sum(), unit)} on {gain.notna().sum()} days"
                if gain.notna().any()
                else "none",
                f"{part['foraging_h'].mean():.1f}",
                f"{part['usual_h'].mean():.1f}" if part["usual_h"].notna().any() else "not known",
                str(int(part["kind"].isin(["moderate", "strong", "exceptional"]).sum())),
            ]
        )
    return header, rows
