"""The page's pictures: drawn, described in a sentence, and with their data as a small table."""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import islice

import pandas as pd

from flowcast.messages import Say
from flowcast.plots import beetles as beetle_plots
from flowcast.plots import explain as explain_plots
from flowcast.plots import log as log_plots
from flowcast.plots import season as season_plots
from flowcast.plots import trust as trust_plots
from flowcast.plots.bloom import Lanes, bloom_data, pack_lanes
from flowcast.plots.canvas import draw_svg
from flowcast.plots.style import PARAMETERS, width_of
from flowcast.report import beetles as beetle_words
from flowcast.report import explain as explain_words
from flowcast.report import kilograms as kilogram_words
from flowcast.report import words
from flowcast.results import Backtest, YardBeetles, YardOutlook, YardSeason
from flowcast.scale_log import CleanLog
from flowcast.scale_log.words import cause_note

DAYS_ON_A_PHONE = 120
MARGIN_PT = 40  # figures at the left of a ribbon, and what is left free at its sides [point]
NARROW_IN = 3.9  # a picture of this width keeps its letters readable on a phone [inch]


@dataclass(frozen=True)
class Figure:
    """One picture: inline SVG, the finding in a sentence, a caption, and its data as text cells.

    days: what the picture shows of each of its days, date by date without a gap, where it shows days.
    """

    name: str
    svg: str
    alt: str
    caption: str
    header: list[str]
    rows: list[list[str]]
    days: dict[pd.Timestamp, str] = field(default_factory=dict)

    @property
    def first_day(self) -> int:
        """The first of `days`, in days since 1970."""
        return (next(iter(self.days)) - pd.Timestamp(0)).days


@dataclass(frozen=True)
class Shape:
    """One of the two forms of the ribbon: for a wide page, or for a phone.

    days_back: how much of the past it holds; past_share: the past's share of its days' width;
    columns: of its legend.
    """

    name: str
    width_in: float
    days_back: int
    past_share: float
    columns: int


SHAPES = (
    Shape("broad", 9.6, season_plots.DAYS_BACK, 0.77, 7),
    Shape("slim", NARROW_IN, DAYS_ON_A_PHONE, 0.62, 2),
)


def ribbon(found: YardOutlook) -> Figure:
    """The year behind and the month ahead, drawn once for a wide page and once for a phone."""
    frame, say = season_plots.ribbon_data(found), _say(found)
    svg = "".join(_ribbon_svg(found, frame, shape) for shape in SHAPES)
    alt = f"{_past_words(frame, found)} {_chance_words(frame, say)}"
    header = [say(f"ribbon.{key}") for key in ("days", "gain", "flow_days", "hours", "usual")]
    rows = _past_rows(frame, found) + _ahead_rows(frame, found)
    days = {row.Index: _ribbon_day(row, say) for row in frame.itertuples()}
    return Figure("ribbon", svg, alt, _ribbon_caption(frame, found), header, rows, days)


def _ribbon_day(row, say: Say) -> str:
    """What the ribbon shows of one day, in a line."""
    hours, usual = _hours(row.foraging_h, say), _hours(row.usual_h, say)
    told = {"date": say.full_day(row.Index), "hours": hours, "usual": usual}
    if not pd.isna(row.p_flow_day):
        return say("ribbon.day_ahead", chance=say.chance(row.p_flow_day), **told)
    if not pd.isna(row.gain_kg):
        return say(
            "ribbon.day_gain", kg=say.weight(row.gain_kg, 2), kind=say(f"kinds.{row.kind}"), **told
        )
    if not pd.isna(row.span_kg):
        return say("ribbon.day_weighings", kg=say.weight(row.span_kg), **told)
    return say("ribbon.day_hours", **told)


def _ribbon_svg(found: YardOutlook, frame: pd.DataFrame, shape: Shape) -> str:
    say = _say(found)
    frame = frame.loc[found.outlook.issue_date - pd.Timedelta(days=shape.days_back) :]
    lanes = _lanes(found, frame.index, shape)

    def draw(figure):
        """The ribbon over all of the picture."""
        season_plots.plot_ribbon(frame, lanes, figure=figure, say=say, columns=shape.columns)

    height = sum(season_plots.ribbon_heights(frame, lanes)) + 1.1
    svg = draw_svg(shape.name, draw, (shape.width_in, height), say, day_axes=2)
    return svg.replace("<svg", f'<svg class="{shape.name}"', 1)


def _lanes(found: YardOutlook, dates: pd.DatetimeIndex, shape: Shape) -> Lanes:
    beside = width_of(_say(found)("chance.in_ten", times=10), PARAMETERS["font.size"])
    return pack_lanes(
        bloom_data(found, dates),
        dates,
        found.outlook.issue_date,
        past_share=shape.past_share,
        width=72 * shape.width_in - MARGIN_PT - beside,
    )


def _ribbon_caption(frame: pd.DataFrame, found: YardOutlook) -> str:
    keys, plants = ["ribbon.caption"], found.record.yard.forage
    if frame["usual_h"].notna().any():
        keys.append("ribbon.caption_usual")
    if plants:
        dashed = any(plant.irregular for plant in plants)
        keys.append("ribbon.caption_bloom_irregular" if dashed else "ribbon.caption_bloom")
    return " ".join(map(_say(found), keys))


def _past_words(frame: pd.DataFrame, found: YardOutlook) -> str:
    past, say = frame[frame["p_flow_day"].isna()], _say(found)
    span = {"n": len(past), "last": say.full_day(past.index[-1])}
    gain, weighed = past["gain_kg"].dropna(), past["span_kg"].dropna()
    if len(gain):
        flow = int((gain >= found.outlook.threshold_kg).sum())
        best = {"best": say.weight(gain.max()), "date": say.full_day(gain.idxmax())}
        days = say("counts.flow_days", n=flow)
        return say("ribbon.past", **span, known=len(gain), flow_days=days, **best)
    if len(weighed):
        best = {"best": say.weight(weighed.max()), "date": say.full_day(weighed.idxmax())}
        return say("ribbon.past_weighed", **span, **best)
    good = int((past["foraging_h"] >= found.record.yard.numbers["foraging.day_h"]).sum())
    return say("ribbon.past_unweighed", **span, good=good)


def _chance_words(frame: pd.DataFrame, say: Say) -> str:
    ahead = frame["p_flow_day"].dropna()
    if ahead.max() < 0.05:
        return say("ribbon.no_chance")
    best = say.full_day(ahead.idxmax())
    return say("ribbon.best_chance", date=best, chance=say.chance(ahead.max()))


def _past_rows(frame: pd.DataFrame, found: YardOutlook) -> list[list[str]]:
    past, say = frame[frame["p_flow_day"].isna()], _say(found)
    return [
        [
            say.month(month.index[0], month.index[-1]),
            _gain_cell(month, say),
            _flow_days_cell(month["gain_kg"].dropna(), found.outlook.threshold_kg, say),
            *_hours_cells(month, say),
        ]
        for _, month in past.groupby(pd.Grouper(freq="MS"))
    ]


def _gain_cell(month: pd.DataFrame, say: Say) -> str:
    gain, spans = month["gain_kg"].dropna(), month["span_kg"].dropna()
    if len(gain):
        return say("ribbon.gain_on_days", kg=say.weight(gain.sum()), n=len(gain))
    if len(spans):
        return say("ribbon.gain_by_weighings", kg=say.weight(spans.sum()), n=len(spans))
    return say("numbers.not_known")


def _flow_days_cell(gain: pd.Series, threshold_kg: float, say: Say) -> str:
    if not len(gain):
        return say("numbers.not_known")
    return say("weeks.of_days", some=int((gain >= threshold_kg).sum()), all=len(gain))


def _hours_cells(days: pd.DataFrame, say: Say) -> list[str]:
    return [_hours(mean, say) for mean in days[["foraging_h", "usual_h"]].mean()]


def _hours(hours: float, say: Say) -> str:
    return say("numbers.not_known") if pd.isna(hours) else say.number(hours, 1)


def _ahead_rows(frame: pd.DataFrame, found: YardOutlook) -> list[list[str]]:
    say, rows = _say(found), []
    for first, week in found.outlook.weekly.iterrows():
        last = first + pd.Timedelta(days=int(week["days"]) - 1)
        days = say("ribbon.ahead", days=words.week_span(first, week, say))
        rows.append([days, *words.week_cells(week, say), *_hours_cells(frame[first:last], say)])
    return rows


def fan(found: YardOutlook) -> Figure:
    """The running total ahead."""
    frame, say = season_plots.fan_data(found), _say(found)

    def draw(figure):
        """The fan, in axes of its own."""
        season_plots.plot_fan(frame, ax=figure.subplots(), say=say)

    last, date = frame.iloc[-1], say.full_day(frame.index[-1])
    between = say.weights(last["q10"], last["q90"])
    alt = [say("fan.finding", date=date, middle=say.weight(last["q50"]), between=between)]
    caption = [say("fan.caption")]
    years = season_plots.year_columns(frame)
    if years:
        after = "_after_forecast" if found.record.forecast else ""
        alt.append(say(f"fan.finding_years{after}", **_ends_of(last[years], say)))
        caption.append(say(f"fan.caption_years{after}"))
    ends = [d for d in range(6, len(frame), 7) if d < len(frame) - 1] + [len(frame) - 1]
    rows = [
        [say.day(date), *(say.weight(row[q]) for q in ("q10", "q50", "q90"))]
        for date, row in frame.iloc[ends].iterrows()
    ]
    header = [say(f"fan.{key}") for key in ("to", "below", "middle", "above")]
    svg = draw_svg("fan", draw, (NARROW_IN, 3.0), say, day_axes=1)
    days = {
        date: say(
            "fan.day",
            date=say.full_day(date),
            middle=say.weight(row["q50"]),
            between=say.weights(row["q10"], row["q90"]),
        )
        for date, row in frame.iterrows()
    }
    return Figure("fan", svg, " ".join(alt), " ".join(caption), header, rows, days)


def _ends_of(middles: pd.Series, say: Say) -> dict[str, str]:
    """The past years with the lowest and the highest middle."""
    low, high = middles.idxmin(), middles.idxmax()
    told = {"low_year": low, "low": say.weight(middles[low])}
    return told | {"high_year": high, "high": say.weight(middles[high])}


def standing_figures(found: YardOutlook) -> list[Figure]:
    """Soil water and foraging hours of the last year against their normal, where one is known."""
    record, standing, say = found.record, found.standing, _say(found)
    few_h = record.yard.numbers["foraging.few_h"]
    soil = season_plots.standing_data(record, "soil_water_frac") * 100.0
    hours = season_plots.standing_data(record, "foraging_h", mean_days=30)
    shown = (
        ("soil", soil, 0, words.soil(standing, say)),
        ("hours", hours, 1, words.foraging(standing, few_h, say)),
    )
    return [_standing(*one, say) for one in shown if one[1].notna().all(axis=1).any()]


def _standing(name: str, frame: pd.DataFrame, digits: int, finding: str, say: Say) -> Figure:
    def draw(figure):
        """What stands against its normal, under its own title."""
        title = say(f"standing.{name}")
        season_plots.plot_standing(frame, ax=figure.subplots(), title=title, say=say)

    monthly = frame.dropna().resample("MS").mean().dropna()
    rows = [
        [say.month(date), *(say.number(row[k], digits) for k in ("now", "mean", "q10", "q90"))]
        for date, row in monthly.iterrows()
    ]
    header = [say(f"standing.{key}") for key in ("month", "was", "usual", "below", "above")]
    svg = draw_svg(name, draw, (NARROW_IN, 2.4), say)
    return Figure(name, svg, finding, _departures(name, frame, say), header, rows)


def _departures(name: str, frame: pd.DataFrame, say: Say) -> str:
    known = frame.dropna()
    below = int((known["now"] < known["q10"]).sum())
    above = int((known["now"] > known["q90"]).sum())
    return say(f"standing.{name}_departed", n=below, above=above)


def beetle_figure(found: YardBeetles) -> Figure:
    """Beetle breeding weather and standing beetles, behind and ahead."""
    frame, numbers = beetle_plots.beetle_data(found), found.record.yard.numbers
    edges, say = (numbers["beetle.moderate_from"], numbers["beetle.high_from"]), _say(found)
    issued = found.record.issue_date

    def draw(figure):
        """Weather for breeding, and the standing stock below it."""
        beetle_plots.plot_beetles(frame, figure=figure, issue_date=issued, edges=edges, say=say)

    monthly = frame.resample("MS").mean()
    rows = [
        [say.month(date), *(_of_hundred(row[name], say) for name in BEETLE_COLUMNS)]
        for date, row in monthly.iterrows()
    ]
    header = [say(f"beetle_figure.{key}") for key in ("month", "middle", "below", "above", "usual")]
    svg, finding = draw_svg("beetles", draw, (NARROW_IN, 3.7), say), beetle_words.answer(found)
    return Figure("beetles", svg, finding, say("beetle_figure.caption"), header, rows)


BEETLE_COLUMNS = ("pressure_q50", "pressure_q10", "pressure_q90", "usual")


def _of_hundred(share: float, say: Say) -> str:
    return say("numbers.not_known") if pd.isna(share) else say.number(100 * share)


def weeks_figure(found: YardSeason) -> Figure:
    """Hours of flight of each week of a season beside the yard's other years."""
    frame, say = explain_plots.weeks_data(found), _say(found)

    def draw(figure):
        """The weeks, in axes of their own."""
        explain_plots.plot_weeks(frame, ax=figure.subplots(), say=say)

    head, *months = explain_words.month_rows(found.season, say)
    alt, caption = explain_words.weeks_finding(found.season, say), say("weeks_figure.caption")
    svg = draw_svg("weeks", draw, (NARROW_IN, 2.4), say)
    return Figure("weeks", svg, alt, caption, list(head), months)


def parts_figure(found: YardSeason) -> Figure | None:
    """What each driver cost or brought; None where kilograms are not reckoned."""
    if found.kilograms is None:
        return None
    say = _say(found)
    frame = explain_plots.parts_data(found) * say.scale

    def draw(figure):
        """The parts, in axes of their own."""
        explain_plots.plot_parts(frame, ax=figure.subplots(), say=say)

    head, *rows = kilogram_words.rows(found)
    clauses = [said for _, said in kilogram_words.clauses(found)]
    clear = say.listed(clauses, "semicolon") or say("parts_figure.none_clear")
    alt = say("explain.sentence", clauses=clear)
    svg = draw_svg("parts", draw, (NARROW_IN, 2.6), say)
    return Figure("parts", svg, alt, say("parts_figure.caption"), list(head), rows)


def hours_calendar_figure(found: YardSeason) -> Figure:
    """Each day of the season: more or fewer hours of flight than usual."""
    frame, say = explain_plots.calendar_data(found), _say(found)

    def draw(figure):
        """The days of the season as a calendar."""
        explain_plots.plot_calendar(frame, ax=figure.subplots(), say=say)

    head, *months = explain_words.month_rows(found.season, say)
    alt, caption = explain_words.weeks_finding(found.season, say), say("hours_figure.caption")
    svg = draw_svg("calendar", draw, (NARROW_IN, 0.8 + 0.21 * len(months)), say)
    return Figure("calendar", svg, alt, caption, list(head), months)


def trust_figure(found: Backtest) -> Figure | None:
    """Chances of a flow day as said, against what came; None where no day can be judged."""
    table, say = trust_plots.reliability_data(found), _say(found)
    told = table[table["cases"] > 0] if len(table) else table
    if not len(told):
        return None
    rows = [
        [
            say(f"modes_short.{mode}"),
            say.chance(row["said"]),
            say("trust_figure.of_hundred", came=say.number(100 * row["came"])),
            say.number(row["cases"]),
        ]
        for (mode, _), row in told.iterrows()
    ]
    each = (say("trust_figure.each", said=said, came=came) for _, said, came, _ in rows)
    alt = say("trust_figure.finding", each=say.listed(each, "semicolon"))

    def draw(figure):
        """What was said against what came."""
        trust_plots.draw_reliability(figure, found)

    header = [say(f"trust_figure.{key}") for key in ("weather", "said", "came", "days")]
    svg = draw_svg("trust", draw, (NARROW_IN, 3.9), say)
    return Figure("trust", svg, alt, say("trust_figure.caption"), header, rows)


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
    zone, say = found.record.yard.place.timezone, _say(found)
    frame, steps = log_plots.log_data(log, zone), log_plots.step_data(log, zone)
    if len(frame.dropna()) < 2:
        return None
    recent = int((steps["time"] >= frame.index[0]).sum())
    rows = [_step_row(step, log.kind, say) for step in steps.itertuples()]
    header = [say(f"steps.{key}") for key in ("when", "change", "what", "how")]
    figure = _log_figure(log, frame, steps.head(recent), f"log{k}", say)
    return LogPart(log.hive, figure, header, rows)


def _log_figure(log: CleanLog, frame, steps: pd.DataFrame, name: str, say: Say) -> Figure:
    def draw(figure):
        """The log and its steps, in axes of their own."""
        log_plots.plot_log(frame, steps, ax=figure.subplots(), say=say)

    known, scale = frame.dropna(), log.kind == "scale"
    days = {"first": say.full_day(known.index[0]), "last": say.full_day(known.index[-1])}
    weekly = known.resample("7D").last().dropna() if scale else known
    rows = [
        [say.full_day(time), *map(say.weight, row)]
        for time, row in zip(weekly.index, weekly.to_numpy(), strict=True)
    ]
    header = [
        say(f"log.{key}") for key in ("week" if scale else "weighed", "as_weighed", "work_out")
    ]
    svg, caption = draw_svg(name, draw, (NARROW_IN, 2.4), say), say("log.caption", **days)
    return Figure(name, svg, _log_finding(log, known, steps, days, say), caption, header, rows)


def _log_finding(log: CleanLog, known, steps: pd.DataFrame, days: dict, say: Say) -> str:
    """What the weight came to with all work taken out, and the newest jump."""
    change = known["net_kg"].iloc[-1] - known["net_kg"].iloc[0]
    verb = "gained" if change >= 0 else "lost"
    told = {"hive": log.hive, "kg": say.weight(abs(change))} | days
    if steps.empty:
        return say(f"log.{verb}", **told)
    newest = steps.iloc[0]
    jump = {"date": say.full_day(newest["time"]), "by": say.weight(newest["kg"], sign="+")}
    return say(
        f"log.{verb}_with_jumps", **told, n=len(steps), **jump, cause=cause_note(newest["cause"])
    )


def _step_row(step, kind: str, say: Say) -> list[str]:
    when = say.moment(step.time) if kind == "scale" else say.full_day(step.time)
    by = say.weight(step.kg, sign="+").replace(" ", "\N{NO-BREAK SPACE}")
    return [when, by, say.note(cause_note(step.cause)), say.note(step.note)]


def _say(found) -> Say:
    return found.record.yard.say
