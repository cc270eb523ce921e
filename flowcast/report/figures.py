"""The page's pictures: drawn, described in a sentence, and with their data as a small table."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import islice

import pandas as pd

from flowcast.plots import beetles as beetle_plots
from flowcast.plots import explain as explain_plots
from flowcast.plots import log as log_plots
from flowcast.plots import season as season_plots
from flowcast.plots import trust as trust_plots
from flowcast.plots.bloom import Lanes, bloom_data, pack_lanes
from flowcast.plots.canvas import draw_svg
from flowcast.report import beetles as beetle_words
from flowcast.report import explain as explain_words
from flowcast.report import kilograms as kilogram_words
from flowcast.report import units, words
from flowcast.results import Backtest, YardBeetles, YardOutlook, YardSeason
from flowcast.scale_log import CleanLog

DAYS_ON_A_PHONE = 120
NARROW_IN = 3.9  # a picture of this width keeps its letters readable on a phone [inch]


@dataclass(frozen=True)
class Figure:
    """One picture: inline SVG, the finding in a sentence, a caption, and its data as text cells."""

    name: str
    svg: str
    alt: str
    caption: str
    header: list[str]
    rows: list[list[str]]


@dataclass(frozen=True)
class Shape:
    """One of the two forms of the ribbon: for a wide page, or for a phone.

    days_back: how much of the past it holds; past_share: the past's share of its width; letters:
    how many letters its width holds; columns: of its legend.
    """

    name: str
    width_in: float
    days_back: int
    past_share: float
    letters: float
    columns: int


SHAPES = (
    Shape("broad", 9.6, season_plots.DAYS_BACK, 0.77, 138, 7),
    Shape("slim", NARROW_IN, DAYS_ON_A_PHONE, 0.62, 52, 2),
)


def ribbon(found: YardOutlook) -> Figure:
    """The year behind and the month ahead, drawn once for a wide page and once for a phone."""
    frame = season_plots.ribbon_data(found)
    svg = "".join(_ribbon_svg(found, shape) for shape in SHAPES)
    alt = f"{_past_words(frame, found)} {_chance_words(frame)}"
    header = ["days", "gain", "flow days", "foraging hours a day", "usual"]
    rows = _past_rows(frame, found) + _ahead_rows(frame, found)
    return Figure("ribbon", svg, alt, _ribbon_caption(frame, found), header, rows)


def _ribbon_svg(found: YardOutlook, shape: Shape) -> str:
    frame = season_plots.ribbon_data(found, shape.days_back)
    lanes = _lanes(found, frame.index, shape)
    unit = _units(found)

    def draw(figure):
        season_plots.plot_ribbon(
            frame,
            lanes,
            figure=figure,
            scale=units.scale_of(unit),
            unit=unit,
            columns=shape.columns,
        )

    height = sum(season_plots.ribbon_heights(frame, lanes)) + 1.1
    svg = draw_svg(shape.name, draw, (shape.width_in, height))
    return svg.replace("<svg", f'<svg class="{shape.name}"', 1)


def _lanes(found: YardOutlook, dates: pd.DatetimeIndex, shape: Shape) -> Lanes:
    return pack_lanes(
        bloom_data(found, dates),
        dates,
        found.outlook.issue_date,
        past_share=shape.past_share,
        letters=shape.letters,
    )


def _ribbon_caption(frame: pd.DataFrame, found: YardOutlook) -> str:
    parts = ["Left of the broken line what was, right of it what may be, with more room for a day."]
    if frame["usual_h"].notna().any():
        parts.append("The thin line is the usual course of foraging hours.")
    if found.record.yard.forage:
        dashed = any(plant.irregular for plant in found.record.yard.forage)
        parts.append(
            f"Bars: bloom as stated{', broken where it fails some years' if dashed else ''}."
        )
    return " ".join(parts)


def _past_words(frame: pd.DataFrame, found: YardOutlook) -> str:
    past, unit = frame[frame["p_flow_day"].isna()], _units(found)
    span = f"the {len(past)} days up to {words.full_day(past.index[-1])}"
    gain, weighed = past["gain_kg"].dropna(), past["span_kg"].dropna()
    if len(gain):
        flow = int((gain >= found.outlook.threshold_kg).sum())
        best = f"{words.weight(gain.max(), unit)}, on {words.full_day(gain.idxmax())}"
        return (
            f"Of {span}, {len(gain)} have a known gain; {_counted(flow, 'flow day')} among them, "
            f"and the best gain was {best}."
        )
    if len(weighed):
        best = (
            f"{words.weight(weighed.max(), unit)} a day, about {words.full_day(weighed.idxmax())}"
        )
        return f"By the weighings of {span}, the best mean gain was {best}."
    good = int((past["foraging_h"] >= found.record.yard.numbers["foraging.day_h"]).sum())
    return f"Of {span}, {good} were foraging days."


def _chance_words(frame: pd.DataFrame) -> str:
    ahead = frame["p_flow_day"].dropna()
    if ahead.max() < 0.05:
        return "Ahead, the chance of a flow day stays less than 1 in 20."
    best = ahead.idxmax()
    return f"Ahead, the chance of a flow day is highest on {words.full_day(best)}: {words.chance(ahead.max())}."


def _past_rows(frame: pd.DataFrame, found: YardOutlook) -> list[list[str]]:
    past = frame[frame["p_flow_day"].isna()]
    return [
        [
            _month_words(month.index),
            _gain_cell(month, _units(found)),
            _flow_days_cell(month["gain_kg"].dropna(), found.outlook.threshold_kg),
            *_hours_cells(month),
        ]
        for _, month in past.groupby(pd.Grouper(freq="MS"))
    ]


def _month_words(days: pd.DatetimeIndex) -> str:
    first, last = days[0], days[-1]
    if len(days) == first.days_in_month:
        return f"{first:%B %Y}"
    return f"{words.from_to(first, last)} {last.year}"


def _gain_cell(month: pd.DataFrame, unit: str) -> str:
    gain, spans = month["gain_kg"].dropna(), month["span_kg"].dropna()
    if len(gain):
        return f"{words.weight(gain.sum(), unit)} on {_counted(len(gain), 'day')}"
    if len(spans):
        return f"{words.weight(spans.sum(), unit)} by weighings, {_counted(len(spans), 'day')}"
    return "not known"


def _flow_days_cell(gain: pd.Series, threshold_kg: float) -> str:
    return f"{(gain >= threshold_kg).sum()} of {len(gain)}" if len(gain) else "not known"


def _hours_cells(days: pd.DataFrame) -> list[str]:
    means = days[["foraging_h", "usual_h"]].mean()
    return ["not known" if pd.isna(mean) else f"{mean:.1f}" for mean in means]


def _ahead_rows(frame: pd.DataFrame, found: YardOutlook) -> list[list[str]]:
    rows = []
    for first, week in found.outlook.weekly.iterrows():
        last = first + pd.Timedelta(days=int(week["days"]) - 1)
        rows.append(
            [
                f"ahead: {words.from_to(first, last)}",
                words.weight_range(week["q10"], week["q90"], _units(found)),
                f"{week['flow_days']:.1f} of {week['days']:.0f}",
                *_hours_cells(frame[first:last]),
            ]
        )
    return rows


def fan(found: YardOutlook) -> Figure:
    """The running total ahead."""
    frame, unit = season_plots.fan_data(found), _units(found)

    def draw(figure):
        season_plots.plot_fan(frame, ax=figure.subplots(), scale=units.scale_of(unit), unit=unit)

    last = frame.iloc[-1]
    alt = (
        f"By the end of {words.full_day(frame.index[-1])} the middle of the running total is "
        f"{words.weight(last['q50'], unit)}; 8 times in 10 it lies from "
        f"{words.weight_range(last['q10'], last['q90'], unit)}."
    )
    years = season_plots.year_columns(frame)
    caption = "The darker the band, the more often the total ends in it."
    if years:
        after = " after the weather forecast" if found.record.forecast else ""
        alt += _years_words(last[years], unit, after)
        caption += (
            f" A thin line is the middle with one past year's weather{after}: how far they lie apart "
            "is what the weather does."
        )
    ends = [d for d in range(6, len(frame), 7) if d < len(frame) - 1] + [len(frame) - 1]
    rows = [
        [words.day(date), *(words.weight(row[q], unit) for q in ("q10", "q50", "q90"))]
        for date, row in frame.iloc[ends].iterrows()
    ]
    header = ["to the end of", "1 in 10 below", "middle", "1 in 10 above"]
    return Figure("fan", draw_svg("fan", draw, (NARROW_IN, 3.0)), alt, caption, header, rows)


def _years_words(middles: pd.Series, unit: str, after: str) -> str:
    low, high = middles.idxmin(), middles.idxmax()
    return (
        f" With the weather of {low}{after} the middle would be {words.weight(middles[low], unit)}, with that of "
        f"{high} {words.weight(middles[high], unit)}."
    )


def standing_figures(found: YardOutlook) -> list[Figure]:
    """Soil water and foraging hours of the last year against their normal, where one is known."""
    record, standing = found.record, found.standing
    soil = season_plots.standing_data(record, "soil_water_frac")
    hours = season_plots.standing_data(record, "foraging_h", mean_days=30)
    shown = [
        (
            "soil",
            soil,
            "Soil water, % of what plants can draw",
            100.0,
            words.soil(standing),
        ),
        (
            "hours",
            hours,
            "Foraging hours a day, mean of 30 days",
            1.0,
            words.foraging(standing),
        ),
    ]
    return [_standing(*one) for one in shown if one[1].notna().all(axis=1).any()]


def _standing(name: str, frame: pd.DataFrame, title: str, scale: float, finding: str) -> Figure:
    def draw(figure):
        season_plots.plot_standing(frame, ax=figure.subplots(), title=title, scale=scale)

    digits = 0 if scale > 1 else 1
    monthly = frame.dropna().resample("MS").mean().dropna()
    rows = [
        [f"{date:%B %Y}", *(f"{row[k] * scale:.{digits}f}" for k in ("now", "mean", "q10", "q90"))]
        for date, row in monthly.iterrows()
    ]
    header = ["month", "was", "usual", "1 year in 10 below", "1 year in 10 above"]
    svg = draw_svg(name, draw, (NARROW_IN, 2.4))
    return Figure(name, svg, finding, _departures(frame, title), header, rows)


def _departures(frame: pd.DataFrame, title: str) -> str:
    known = frame.dropna()
    below = int((known["now"] < known["q10"]).sum())
    above = int((known["now"] > known["q90"]).sum())
    return (
        f"{title.split(',')[0]} over the last year: {_counted(below, 'day')} below the range of "
        f"8 years in 10, {above} above it."
    )


def beetle_figure(found: YardBeetles) -> Figure:
    """Beetle breeding weather and standing beetles, behind and ahead."""
    frame, numbers = beetle_plots.beetle_data(found), found.record.yard.numbers
    edges = numbers["beetle.moderate_from"], numbers["beetle.high_from"]

    def draw(figure):
        beetle_plots.plot_beetles(
            frame, figure=figure, issue_date=found.record.issue_date, edges=edges
        )

    monthly = frame.resample("MS").mean()
    rows = [
        [f"{date:%B %Y}", *(_of_hundred(row[name]) for name in BEETLE_COLUMNS)]
        for date, row in monthly.iterrows()
    ]
    header = ["month", "breeding weather of 100", "1 in 10 below", "1 in 10 above", "usual"]
    caption = (
        "Left of the broken line what was, right of it what may be. Standing beetles lag the breeding "
        "weather, since they live for months."
    )
    svg = draw_svg("beetles", draw, (NARROW_IN, 3.7))
    return Figure("beetles", svg, beetle_words.answer(found), caption, header, rows)


BEETLE_COLUMNS = ("pressure_q50", "pressure_q10", "pressure_q90", "usual")


def _of_hundred(share: float) -> str:
    return "not known" if pd.isna(share) else f"{100 * share:.0f}"


def weeks_figure(found: YardSeason) -> Figure:
    """Hours of flight of each week of a season beside the yard's other years."""
    frame = explain_plots.weeks_data(found)

    def draw(figure):
        explain_plots.plot_weeks(frame, ax=figure.subplots())

    months = explain_words.month_rows(found.season, units.of(found.record.yard))
    caption = (
        "A bar runs from the usual hours of a week to those it had: down where the bees had fewer, up "
        "where they had more."
    )
    alt = explain_words.weeks_finding(found.season)
    return Figure(
        "weeks",
        draw_svg("weeks", draw, (NARROW_IN, 2.4)),
        alt,
        caption,
        list(months[0]),
        months[1:],
    )


def parts_figure(found: YardSeason) -> Figure | None:
    """What each driver cost or brought; None where kilograms are not reckoned."""
    if found.kilograms is None:
        return None
    unit = units.of(found.record.yard)
    frame = explain_plots.parts_data(found) * units.scale_of(unit)

    def draw(figure):
        explain_plots.plot_parts(frame, ax=figure.subplots(), unit=unit)

    head, *rows = kilogram_words.rows(found)
    alt = (
        "; ".join(said for _, said in kilogram_words.clauses(found))
        or "No driver's part is clear of 0"
    )
    caption = (
        "A bar to the left is a cost, to the right a gift, against the usual; the line through it holds "
        "the true figure 8 times in 10."
    )
    return Figure(
        "parts", draw_svg("parts", draw, (NARROW_IN, 2.6)), f"{alt}.", caption, list(head), rows
    )


def hours_calendar_figure(found: YardSeason) -> Figure:
    """Each day of the season: more or fewer hours of flight than usual."""
    frame = explain_plots.calendar_data(found)

    def draw(figure):
        explain_plots.plot_calendar(frame, ax=figure.subplots())

    months = explain_words.month_rows(found.season, units.of(found.record.yard))
    caption = (
        "A filled square is a day with more hours of flight than usual, an open one a day with fewer; "
        "the larger, the more hours."
    )
    alt = explain_words.weeks_finding(found.season)
    size = (NARROW_IN, 0.8 + 0.21 * len(months[1:]))
    return Figure(
        "calendar", draw_svg("calendar", draw, size), alt, caption, list(months[0]), months[1:]
    )


def trust_figure(found: Backtest) -> Figure | None:
    """Chances of a flow day as said, against what came; None where no day can be judged."""
    table = trust_plots.reliability_data(found)
    told = table[table["cases"] > 0] if len(table) else table
    if not len(told):
        return None
    rows = [
        [
            MODE_NAMES[mode],
            words.chance(row["said"]),
            f"{100 * row['came']:.0f} of 100",
            f"{row['cases']:.0f}",
        ]
        for (mode, _), row in told.iterrows()
    ]
    each = "; ".join(f"{said}, {came}" for _, said, came, _ in rows)
    alt = f"Chance of a flow day as said, and how many of those days were flow days: {each}."
    caption = (
        "Chances as they were said, and how many of those days were flow days. On the line a chance "
        "came true as often as it said; above it flows came more often. Larger dots: more days."
    )
    header = ["weather ahead", "chance as said", "were flow days", "days"]
    svg = draw_svg(
        "trust", lambda figure: trust_plots.draw_reliability(figure, found), (NARROW_IN, 3.9)
    )
    return Figure("trust", svg, alt, caption, header, rows)


MODE_NAMES = {"past-years": "past years", "observed": "as it came"}


MOST_HIVES = 24  # drawn on a page: some 25 kB each


@dataclass(frozen=True)
class LogPart:
    """What the page says of one hive's log: its picture, and its steps from the newest on."""

    hive: str
    figure: Figure
    header: list[str]
    steps: list[list[str]]


def log_parts(found: YardOutlook, most: int = MOST_HIVES) -> list[LogPart]:
    """One part a hive with weights that can be trusted, not more than `most`: a page is to be sent on."""
    parts = (_log_part(found, log, k) for k, log in enumerate(found.record.logs))
    return list(islice(filter(None, parts), most))


def _log_part(found: YardOutlook, log: CleanLog, k: int) -> LogPart | None:
    zone, unit = found.record.yard.place.timezone, _units(found)
    frame, steps = log_plots.log_data(log, zone), log_plots.step_data(log, zone)
    if len(frame.dropna()) < 2:
        return None
    recent = int((steps["time"] >= frame.index[0]).sum())
    rows = [_step_row(step, log.kind, unit) for step in steps.itertuples()]
    header = ["when", "change", "what", "how known"]
    figure = _log_figure(log, frame, steps.head(recent), f"log{k}", unit)
    return LogPart(log.hive, figure, header, rows)


def _log_figure(log: CleanLog, frame, steps: pd.DataFrame, name: str, unit: str) -> Figure:
    def draw(figure):
        log_plots.plot_log(
            frame, steps, ax=figure.subplots(), scale=units.scale_of(unit), unit=unit
        )

    known = frame.dropna()
    first, last = known.index[0], known.index[-1]
    change = _gained(known["net_kg"].iloc[-1] - known["net_kg"].iloc[0], unit)
    span = f"from {words.full_day(first)} to {words.full_day(last)}"
    alt = f"{log.hive}: {span} it {change} with all work taken out{_step_words(steps, unit)}."
    caption = f"{words.full_day(first)} to {words.full_day(last)}. The thick line takes all work out: it begins at the first weight and moves with the bees alone."
    weekly = known.resample("7D").last().dropna() if log.kind == "scale" else known
    rows = [
        [words.full_day(time), *(words.weight(kg, unit) for kg in row)]
        for time, row in zip(weekly.index, weekly.to_numpy(), strict=True)
    ]
    header = ["week from" if log.kind == "scale" else "weighed", "as weighed", "work taken out"]
    return Figure(name, draw_svg(name, draw, (NARROW_IN, 2.4)), alt, caption, header, rows)


def _step_words(steps: pd.DataFrame, unit: str) -> str:
    if steps.empty:
        return ""
    newest = steps.iloc[0]
    return (
        f"; the weight jumped {_counted(len(steps), 'time')}, the last on "
        f"{words.full_day(newest['time'])} by {_signed(newest['kg'], unit)} ({newest['cause']})"
    )


def _step_row(step, kind: str, unit: str) -> list[str]:
    clock = f", {step.time:%H:%M}" if kind == "scale" else ""
    when = f"{words.full_day(step.time)}{clock}"
    return [when, _signed(step.kg, unit), step.cause, units.told(step.note, unit)]


def _units(found: YardOutlook) -> str:
    return units.of(found.record.yard)


def _counted(n: int, noun: str) -> str:
    return f"{n:,} {noun}{'' if n == 1 else 's'}"


def _signed(kg: float, unit: str) -> str:
    text = words.weight(kg, unit).replace(" ", "\N{NO-BREAK SPACE}")
    return text if text[0] in "−0" else f"+{text}"


def _gained(kg: float, unit: str) -> str:
    return f"{'gained' if kg >= 0 else 'lost'} {words.weight(abs(kg), unit)}"
