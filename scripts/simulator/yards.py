"""A whole invented yard: its world from one seed, and the folder its keeper would have."""

from __future__ import annotations

import gzip
import json
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from simulator import flora, keeper, mishaps, notes, scales, weather
from simulator.climates import Climate
from simulator.keeper import Event, HiveRun
from simulator.makers import FIRST, Maker, Planter
from simulator.weather import Site, Tale

WORK_WORDS = {
    "super_on": "super on",
    "super_off": "super off",
    "harvest": "honey off",
    "feed": "feed",
    "swarm": "swarmed",
    "requeened": "requeened",
    "united": "united",
    "inspected": "inspected",
}
GAP = pd.Timedelta(hours=1)


@dataclass(frozen=True)
class World:
    """Everything that is true of one invented yard."""

    climate: Climate
    site: Site
    hourly: pd.DataFrame
    fitness: np.ndarray
    days: pd.DataFrame
    flora: flora.Flora
    runs: list[HiveRun]

    def when(self, event: Event) -> pd.Timestamp:
        """UTC time of an event."""
        local = self.days.index[event.day] + pd.Timedelta(hours=event.hour)
        return (local - pd.Timedelta(hours=self.site.clock_h)).tz_localize("UTC")


def make_world(
    climate: Climate,
    site: Site,
    plant: Planter,
    hives: list[str],
    span: tuple[str, str],
    rng: np.random.Generator,
    *,
    tales: tuple[Tale, ...] = (),
    habits: keeper.Habits | None = None,
    short: bool = False,
    maker: Maker = FIRST,
) -> World:
    """Weather, flowers and colonies of one yard from one generator.

    Parameters
    ----------
    climate, site
        What the weather is like, and where.
    plant : callable
        (climate, days, rng) -> Flora, for example ``partial(flora.grow, "pulse")``.
    hives : list of str
        Names of the hives.
    span : pair of str
        First and last local day.
    rng : numpy.random.Generator
        Split into streams of their own, so that another hive leaves the weather as it was.
    tales : tuple of Tale, optional
        As for `weather.make_weather`.
    habits : Habits, optional
        The keeper's; drawn for the climate when absent.
    short : bool, optional
        The keeper has too little comb, so that hives stand full in part of the flow.
    maker : Maker, optional
        Whose laws of flight and of bees hold; `plant` should be of the same.
    """
    sky, soil, bees = rng.spawn(3)
    hourly = weather.make_weather(climate, site, *span, sky, tales=tales)
    fitness = maker.hour_fitness(hourly)
    days = maker.days_of(hourly, site)
    days["flight_h"] = fitness.reshape(-1, 24).sum(axis=1)
    grown = plant(climate, days, soil)
    habits = habits or keeper.habits_for(climate, bees)
    habits = keeper.short_of_comb(habits) if short else habits
    runs = keeper.run_yard(hives, days, grown.nectar_kg, habits, bees, maker.bees)
    return World(climate, site, hourly, fitness, days, grown, runs)


# ---- text files ----------------------------------------------------------------------------


def write_text(path: Path, text: str) -> None:
    """UTF-8 with plain line ends; a name in .gz is packed without a date, so bytes stay equal."""
    path.parent.mkdir(parents=True, exist_ok=True)
    raw = text.encode()
    path.write_bytes(gzip.compress(raw, 9, mtime=0) if path.suffix == ".gz" else raw)


def write_csv(path: Path, table: pd.DataFrame, **options: Any) -> None:
    """A table as CSV with its index as the first column."""
    write_text(path, table.to_csv(lineterminator="\n", **options))


def toml_text(comments: list[str], sections: list[tuple[str, dict[str, Any]]]) -> str:
    """A yard.toml: comment lines, then each (header, keys) in order."""
    lines = [f"# {comment}" for comment in comments]
    for header, keys in sections:
        lines += ["", header, *(f"{key} = {_toml_value(value)}" for key, value in keys.items())]
    return "\n".join(lines) + "\n"


def _toml_value(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{k} = {_toml_value(v)}" for k, v in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(map(_toml_value, value)) + "]"
    if isinstance(value, pd.Timestamp):
        return f"{value:%Y-%m-%d}"
    return json.dumps(value, ensure_ascii=False)


# ---- what the keeper wrote down -------------------------------------------------------------


def work_table(
    world: World,
    since: pd.Timestamp,
    rng: np.random.Generator,
    *,
    timezone: str = "UTC",
    careful: bool = False,
) -> pd.DataFrame:
    """work.csv: all feeding and about 70 % of the rest, in the yard's local time.

    Swarms are noted without a weight, some harvests too; one line in five has no hour. A careful
    keeper, who weighs by hand, notes nearly all and weighs what is lifted off: from weighings
    weeks apart nobody could find it again.
    """
    names = 0.97 if careful else 0.7
    rows = []
    for run in world.runs:
        for event in (e for e in run.events if e.kind not in mishaps.KINDS):
            at = world.when(event)
            if at >= since and rng.random() < _chance_of_note(event, names):
                rows.append(_work_row(run.name, event, at.tz_convert(timezone), careful, rng))
    table = pd.DataFrame(rows, columns=["date", "hive", "what", "kg", "note"])
    return table.sort_values(["date", "hive"], kind="stable").set_index("date")


def _chance_of_note(event: Event, names: float) -> float:
    return {"feed": 1.0, "inspected": 0.25}.get(event.kind, names)


def _work_row(
    hive: str, event: Event, at: pd.Timestamp, careful: bool, rng: np.random.Generator
) -> tuple:
    weighed = event.kind in ("feed", "super_on", "super_off", "united")
    weighed = weighed or (event.kind == "harvest" and (careful or rng.random() < 0.75))
    kg = f"{abs(event.kg):g}" if weighed else ""
    note = ""
    if event.kind == "feed":
        note = "syrup 2:1" if abs(event.kg) > 3 else "fondant"
    form = "%Y-%m-%d" if event.kind != "feed" and rng.random() < 0.2 else "%Y-%m-%d %H:%M"
    return at.strftime(form), hive, WORK_WORDS[event.kind], kg, note


def truth_tables(world: World, run: HiveRun) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Daily truth (date, gain_kg, nectar, population) and the steps (time, kind, kg, hive)."""
    gain = pd.DataFrame(
        {
            "gain_kg": run.gain_kg.round(4),
            "nectar": world.flora.nectar_kg.to_numpy().round(3),
            "population": run.adults.round(),
        },
        index=world.days.index,
    )
    steps = [e for e in run.events if e.kg]
    events = pd.DataFrame(
        {
            "time": [world.when(e) for e in steps],
            "kind": [e.kind for e in steps],
            "kg": [e.kg for e in steps],
            "hive": run.name,
        }
    )
    return gain, events.set_index("time").sort_index(kind="stable")


def roomy_tables(
    world: World, run: HiveRun, gain: pd.DataFrame
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The daily truth of a hive that may stand full, and the boxes as seen on each visit.

    gain_kg becomes what the hive would have gained with room; shown_kg is what it did, free_kg the
    comb that was free in the morning.
    """
    free = {"shown_kg": run.gain_kg.round(4), "free_kg": run.free_kg.round(3)}
    return gain.assign(gain_kg=run.roomy_kg.round(4), **free), looks_table(world, run)


def looks_table(world: World, run: HiveRun) -> pd.DataFrame:
    """The boxes as seen on each visit: date, hive, and one column a box of frames full."""
    rows = [(world.days.index[one.day], run.name, *frames_full(one)) for one in run.looks]
    names = ["date", "hive", "deep", *(f"super_{k}" for k in range(1, 7))]
    boxes = pd.DataFrame([row + (np.nan,) * (len(names) - len(row)) for row in rows], columns=names)
    return boxes.set_index("date")


def frames_full(look: keeper.Look) -> tuple[float, ...]:
    """Frames full of each box, to half a frame: the brood box first, two of its ten being brood."""
    holds = [keeper.BROOD_BOXES_HOLD_KG, *[keeper.SUPER_HOLDS_KG] * look.supers]
    full, left = [], look.filled_kg
    for k, kg in enumerate(holds):
        share = min(max(left / kg, 0.0), 1.0)
        left -= share * kg
        frames = 10 * share if k else 2 + 8 * share
        full.append(round(2 * frames) / 2)
    return tuple(full)


def boxes_toml(full: list[float]) -> list[dict[str, Any]]:
    """`boxes` of yard.toml from the frames full of a deep box and of the supers on it."""
    kinds = ["deep", *["medium"] * (len(full) - 1)]
    return [
        {"kind": kind, "frames": 10, "drawn": 10, "full": f}
        for kind, f in zip(kinds, full, strict=True)
    ]


# ---- the folder of a trial yard -------------------------------------------------------------


def write_yard(
    folder: Path,
    world: World,
    name: str,
    since: str,
    rng: np.random.Generator,
    *,
    about: list[str],
    by_hand: bool = False,
    rough: bool = False,
    scale: dict[str, float] | None = None,
    learn_from: list[str] | None = None,
    seen_before: str | None = None,
) -> None:
    """A trial yard: scales, truth beside them, all on a UTC clock.

    Parameters
    ----------
    folder : Path
        Made when absent; its files are written over.
    world : World
        From `make_world` at longitude 0, whose local clock is UTC.
    name : str
        Of the yard; should say that it is invented.
    since : str
        Date from which the scales stand under the hives.
    rng : numpy.random.Generator
        For faults of scales and gaps of notebooks.
    about : list of str
        Lines of truth/about.txt: what made this yard, which nothing else in the folder tells.
    by_hand : bool, optional
        Weighed by hand every week or two, instead of every hour by a scale.
    rough : bool, optional
        Swarms, thefts and boxes taken away and brought back that nobody writes down.
    scale : dict, optional
        Fields of `scales.Faults` that all scales of the yard share, in place of drawn ones.
    learn_from : list of str, optional
        Folders of the keeper's other yards.
    seen_before : str, optional
        yard.toml holds the boxes as seen on the last visit before this date; the truth is then the
        gain of hives with room, with what was seen on every visit in truth/boxes.csv.
    """
    start, looks = pd.Timestamp(since, tz="UTC"), {}
    for run in world.runs:
        if rough:
            first = world.days.index.searchsorted(pd.Timestamp(since)) + 1
            mishaps.befall(run, world.days["flight_h"].to_numpy(), first, rng.spawn(1)[0])
        log = _trial_log(world, run, start, rng.spawn(1)[0], by_hand, scale or {})
        write_csv(folder / f"scale-{run.name}.csv.gz", log.rename("weight_kg").to_frame())
        gain, events = truth_tables(world, run)
        if seen_before:
            gain, looks[run.name] = roomy_tables(world, run, gain)
        write_csv(folder / "truth" / f"gain-{run.name}.csv", gain)
        write_csv(folder / "truth" / f"events-{run.name}.csv", events[events.index >= start])
    write_csv(folder / "weather.csv.gz", world.hourly)
    write_csv(folder / "work.csv", work_table(world, start, rng, careful=by_hand))
    if looks:
        write_csv(folder / "truth" / "boxes.csv", pd.concat(looks.values()).sort_index())
    seen = {hive: _last_look(table, seen_before) for hive, table in looks.items()}
    write_text(folder / "yard.toml", _trial_toml(world, name, rng, seen, learn_from))
    write_text(folder / "truth" / "about.txt", "\n".join(about) + "\n")


def _trial_log(
    world: World,
    run: HiveRun,
    start: pd.Timestamp,
    rng: np.random.Generator,
    by_hand: bool,
    scale: dict[str, float],
) -> pd.Series:
    """What the scale shows from the start on, or what the keeper weighed."""
    if by_hand:
        error = float(rng.uniform(0.1, 0.3))
        log = scales.hand_weighings(
            run, world.hourly, world.fitness, rng, months=(1, 12), clock_h=0.0, error_kg=error
        )
        return log[log.index > start].round(1).rename_axis("time_utc")
    faults = replace(scales.draw_faults(rng), **scale)
    return scales.hourly_log(run, world.hourly, world.fitness, faults, rng, since=start + GAP)


def _last_look(looks: pd.DataFrame, before: str) -> dict[str, Any]:
    """Boxes and the day they were seen, from the last visit before a date."""
    last = looks[looks.index < before].iloc[-1]
    boxes = last.drop("hive").dropna().astype(float).tolist()
    return {"boxes": boxes_toml(boxes), "seen": last.name}


def _trial_toml(
    world: World,
    name: str,
    rng: np.random.Generator,
    seen: dict[str, dict],
    learn_from: list[str] | None,
) -> str:
    site = world.site
    place = {
        "name": name,
        "latitude": site.latitude,
        "longitude": site.longitude,
        "elevation_m": site.elevation_m,
        "timezone": "UTC",
    }
    place |= {"learn_from": learn_from} if learn_from else {}
    hives = [
        (
            "[[hive]]",
            {"name": run.name, "kind": "honey", "scale": _scale(run.name)} | seen.get(run.name, {}),
        )
        for run in world.runs
    ]
    # The last year is the one to be forecast: nobody's typical dates may know it.
    last_year = pd.Timestamp(world.days.index[-1].year, 1, 1)
    said = notes.forage_sections(flora.keeper_says(world.flora, last_year, rng))
    comments = ["An invented yard: no such place, hive or flow ever was."]
    sections = [("[yard]", place), ("[weather]", {"file": "weather.csv.gz"}), *said, *hives]
    return toml_text(comments, sections)


def _scale(hive: str) -> dict[str, str]:
    return {
        "file": f"scale-{hive}.csv.gz",
        "time": "time_utc",
        "weight": "weight_kg",
        "unit": "kg",
        "clock": "utc",
    }
