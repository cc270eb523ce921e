"""The three invented yards that come with the project, from one seed.

    python scripts/make_sample_yards.py [--out sample_yards] [--seed 54] [--only NAME]

subtropical-coast  warm humid coast of the south, three hives on hourly scales, beetles
inland-winter      long winters of the north, four hives weighed by hand, a last season without honey
new-garden         a new yard in a land of dry summers: weather and stated bloom, no weights at all

No place, person, hive or flow in them is real. Equal seeds give equal bytes.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd
from simulator import beetles, flora, notes, scales
from simulator.climates import CLIMATES, HALF_YEAR_D, Climate
from simulator.keeper import HIVE_WOOD_KG, SUPER_WOOD_KG, Habits, HiveRun
from simulator.weather import Site, Tale
from simulator.yards import (
    GAP,
    World,
    make_world,
    toml_text,
    work_table,
    write_csv,
    write_text,
)

SEED = 54  # chosen so that the last inland season fails and the coast has flows of either size
LB_PER_KG = 1 / 0.45359237  # international pound, exact by definition
LABEL = (
    "Invented for trying flowcast: no such yard, keeper, hive or flow ever was, and the weather",
    "is made up as well. Made by scripts/make_sample_yards.py.",
)


def main(arguments: list[str] | None = None) -> int:
    """Make the sample yards that the command line asks for."""
    parser = argparse.ArgumentParser(description="Make the invented sample yards.")
    parser.add_argument("--out", type=Path, default=Path("sample_yards"))
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--only", choices=list(YARDS), default=None)
    asked = parser.parse_args(arguments)
    for number, (name, make) in enumerate(YARDS.items()):
        if asked.only in (None, name):
            make(asked.out / name, np.random.default_rng([asked.seed, number]))
            print(name, flush=True)
    return 0


# ---- plants --------------------------------------------------------------------------------


def _season_day(month_day: str, latitude: float) -> float:
    """Day of the northern year with the season of this local date."""
    day = pd.Timestamp(f"2023-{month_day}").dayofyear
    return day if latitude >= 0 else (day + HALF_YEAR_D) % 365.25


Plant = tuple[str, Callable[..., flora.Crop], str, float]  # name, kind, middle of bloom, size


def planter(
    plants: tuple[Plant, ...], kg_a_year: float, latitude: float
) -> Callable[[Climate, pd.DataFrame, np.random.Generator], flora.Flora]:
    """A flora of named plants with stated middles of bloom; sizes are nectar in a mean year."""

    def plant(climate: Climate, days: pd.DataFrame, rng: np.random.Generator) -> flora.Flora:
        crops = [
            grow(name, _season_day(middle, latitude), climate, days, rng)
            for name, grow, middle, _ in plants
        ]
        sizes = [
            size / max(c.nectar.mean(), 1e-9) for c, (*_, size) in zip(crops, plants, strict=True)
        ]
        return flora.blend(crops, np.array(sizes), kg_a_year, days, rng)

    return plant


# ---- subtropical coast ---------------------------------------------------------------------

COAST = Site(-28.63, 153.36, 140.0, clock_h=10.0)
COAST_PLANTS: tuple[Plant, ...] = (
    ("paperbark", partial(flora.pulse_crop, ready_d=55.0), "04-25", 3.0),
    ("spotted gum", flora.pulse_crop, "06-25", 1.3),
    ("macadamia", flora.thermal_crop, "09-05", 2.0),
    ("white clover", flora.thermal_crop, "10-20", 1.0),
    ("brush box", flora.daylength_crop, "12-15", 2.2),
    ("pink bloodwood", flora.pulse_crop, "02-15", 2.0),
)
COAST_FORAGE = (
    flora.Forage("paperbark", "03-20", "06-05", "heavy", "rain", False),
    flora.Forage("spotted gum", "05-20", "08-10", "heavy", "rain", True),
    flora.Forage("macadamia", "08-20", "09-25", "fair", "warmth", False),
    flora.Forage("white clover", "10-01", "11-15", "light", "warmth", False),
    flora.Forage("brush box", "11-25", "01-05", "fair", "day length", False),
    flora.Forage("pink bloodwood", "01-20", "03-15", "fair", "rain", True),
)
COAST_HIVES = ("Fig", "Lilly", "Quandong")


def make_coast(folder: Path, rng: np.random.Generator) -> None:
    """Three hives on hourly scales for two seasons of the south, beetles in the trays."""
    climate = replace(CLIMATES["subtropical-coast"], latitude=(COAST.latitude, COAST.latitude))
    world = make_world(
        climate, COAST, planter(COAST_PLANTS, 540.0, COAST.latitude), list(COAST_HIVES),
        ("2012-07-01", "2026-10-15"), rng, habits=Habits(reserve_kg=14.0, most_supers=3),
    )  # fmt: skip
    since = pd.Timestamp("2024-07-01", tz="Australia/Sydney").tz_convert("UTC")
    for run in world.runs:
        own = rng.spawn(1)[0]
        log = scales.hourly_log(
            run, world.hourly, world.fitness, scales.draw_faults(own), own, since=since + GAP
        )
        write_csv(folder / f"scale-{run.name.lower()}.csv.gz", _coast_log(run.name, log))
    _common_files(folder, world, since, "Australia/Sydney", rng)
    seen = notes.bloom_notes(world.flora, "2024-07-01", ["spotted gum", "paperbark"], rng)
    write_csv(folder / "bloom.csv", seen, index=False)
    counts = beetles.tray_counts(world.days["2024-07-01":], list(COAST_HIVES), rng)
    write_csv(folder / "beetles.csv", counts, index=False)
    write_text(folder / "yard.toml", _coast_toml(world))


def _coast_log(hive: str, log: pd.Series) -> pd.DataFrame:
    """One hive's logger writes a fixed clock instead of UTC, as many do."""
    if hive != "Lilly":
        return log.rename("weight_kg").rename_axis("time_utc").to_frame()
    local = log.index.tz_convert("UTC").tz_localize(None) + pd.Timedelta(hours=10)
    return pd.DataFrame({"weight_kg": log.to_numpy()}, local.rename("time"))


def _coast_toml(world: World) -> str:
    place = {
        "name": "Saltmarsh Lane (invented)",
        "latitude": COAST.latitude,
        "longitude": COAST.longitude,
        "elevation_m": COAST.elevation_m,
        "flow_day_kg": 0.5,
        "season_start": "07-01",
    }
    own = {"Lilly": {"time": "time", "clock": "+10:00"}}
    hives = [
        _hive(run, f"scale-{run.name.lower()}.csv.gz",
              own.get(run.name, {"time": "time_utc", "clock": "utc"}), frames=10)
        for run in world.runs
    ]  # fmt: skip
    weather = {"file": "weather.csv.gz", "shelter": 0.65}
    beetle = {"present": True, "soil": "clay loam", "irrigated": False}
    return toml_text(
        list(LABEL),
        [("[yard]", place), *notes.forage_sections(COAST_FORAGE), *hives,
         ("[beetle]", beetle), ("[weather]", weather)],
    )  # fmt: skip


def _box(kind: str, frames: int, drawn: int, full: float) -> dict[str, object]:
    return {"kind": kind, "frames": frames, "drawn": drawn, "full": full}


def _hive(run: HiveRun, file: str, scale: dict[str, str], *, frames: int) -> tuple[str, dict]:
    """A [[hive]] as it stands on the last day: bees, boxes and what is in them.

    A full deep frame is taken as 3 kg, a full medium frame as 1.6 kg, a frame of bees as 2,400.
    """
    stores = float(run.stores_kg[-1])
    low = min(stores, 20.0)
    boxes = [_box("deep", frames, frames, round(low / 3 * part, 1)) for part in (0.4, 0.6)]
    for _ in range(run.supers_left):
        full = min((stores - low) / run.supers_left / 1.6, frames)
        boxes.append(_box("medium", frames, frames, round(full, 1)))
    columns = {"file": file, "weight": "weight_kg", "unit": "kg", **scale}
    keys = {
        "name": run.name,
        "kind": "honey",
        "frames_of_bees": round(float(run.adults[-1]) / 2_400),
        "queenright": True,
        "scale": columns,
        "boxes": boxes,
        "wood_kg": round(HIVE_WOOD_KG + SUPER_WOOD_KG * run.supers_left, 1),
    }
    return "[[hive]]", keys


# ---- inland winter -------------------------------------------------------------------------

INLAND = Site(49.32, 16.41, 560.0, clock_h=1.0)
INLAND_PLANTS: tuple[Plant, ...] = (
    ("willow and fruit trees", flora.thermal_crop, "05-02", 1.0),
    ("rape", flora.thermal_crop, "05-20", 2.0),
    ("raspberry", flora.thermal_crop, "06-15", 2.0),
    ("lime trees", flora.thermal_crop, "07-05", 2.2),
    ("white clover", flora.daylength_crop, "07-15", 0.6),
)
INLAND_FORAGE = (
    flora.Forage("willow and fruit trees", "04-20", "05-15", "light", "warmth", False),
    flora.Forage("rape", "05-10", "06-05", "fair", "warmth", False),
    flora.Forage("raspberry", "06-05", "07-01", "fair", "warmth", False),
    flora.Forage("lime trees", "06-25", "07-20", "heavy", "warmth", True),
    flora.Forage("white clover", "06-25", "08-10", "light", "dates", False),
)
INLAND_HIVES = ("Alder", "Birch", "Cherry", "Damson")


def make_inland(folder: Path, rng: np.random.Generator) -> None:
    """Four hives weighed by hand in the warm half of six seasons, the last wet and without honey."""
    world = make_world(
        CLIMATES["inland-winter"], INLAND, planter(INLAND_PLANTS, 440.0, INLAND.latitude),
        list(INLAND_HIVES), ("2012-01-01", "2026-10-10"), rng,
        tales=(Tale("2026-04-20", "2026-09-05", wetter=3.0, warmer_c=-3.5),),
        habits=Habits(reserve_kg=20.0, most_supers=3, visit_every_d=(7, 14)),
    )  # fmt: skip
    since = pd.Timestamp("2021-01-01", tz="Europe/Prague").tz_convert("UTC")
    for run in world.runs:
        own = rng.spawn(1)[0]
        log = scales.hand_weighings(
            run, world.hourly, world.fitness, own, months=(4, 10), clock_h=1.0,
            error_kg=float(own.uniform(0.1, 0.3)),
        )[since:]  # fmt: skip
        write_text(folder / f"scale-{run.name.lower()}.csv", _hand_text(run.name, log))
    _common_files(folder, world, since, "Europe/Prague", rng, careful=True)
    seen = notes.bloom_notes(world.flora, "2024-01-01", ["rape", "lime trees"], rng)
    write_csv(folder / "bloom.csv", seen, index=False)
    write_text(folder / "yard.toml", _inland_toml(world))


def _hand_text(hive: str, log: pd.Series) -> str:
    """A keeper's list: one in pounds, one with decimal commas and semicolons."""
    local = log.index.tz_convert("Europe/Prague")
    if hive == "Birch":
        rows = [f"{t:%Y-%m-%d %H:%M},{w * LB_PER_KG:.0f}" for t, w in zip(local, log, strict=True)]
        return "\n".join(["time,weight_lb", *rows]) + "\n"
    if hive == "Cherry":
        commas = [f"{w:.1f}".replace(".", ",") for w in log]
        rows = [f"{t:%d.%m.%Y %H:%M};{w}" for t, w in zip(local, commas, strict=True)]
        return "\n".join(["when;weight", *rows]) + "\n"
    rows = [f"{t:%Y-%m-%d %H:%M},{w:.1f}" for t, w in zip(local, log, strict=True)]
    return "\n".join(["time,weight_kg", *rows]) + "\n"


def _inland_toml(world: World) -> str:
    place = {
        "name": "Cold Hollow (invented)",
        "latitude": INLAND.latitude,
        "longitude": INLAND.longitude,
        "elevation_m": INLAND.elevation_m,
        "flow_day_kg": 0.5,
    }
    own = {
        "Birch": {"time": "time", "weight": "weight_lb", "unit": "lb"},
        "Cherry": {"time": "when", "weight": "weight", "decimal": ",", "separator": ";"},
    }
    hives = [
        _hive(run, f"scale-{run.name.lower()}.csv",
              {"time": "time", "clock": "local", **own.get(run.name, {})}, frames=11)
        for run in world.runs
    ]  # fmt: skip
    return toml_text(
        list(LABEL),
        [("[yard]", place), *notes.forage_sections(INLAND_FORAGE), *hives,
         ("[beetle]", {"present": False}),
         ("[weather]", {"file": "weather.csv.gz", "shelter": 0.7})],
    )  # fmt: skip


# ---- new garden ----------------------------------------------------------------------------

GARDEN = Site(39.62, -8.15, 90.0, clock_h=0.0)
GARDEN_PLANTS: tuple[Plant, ...] = (
    ("tree heath", flora.thermal_crop, "03-10", 1.0),
    ("orange", flora.thermal_crop, "04-20", 2.0),
    ("lavender", flora.daylength_crop, "06-01", 2.0),
    ("strawberry tree", flora.daylength_crop, "11-05", 1.0),
)
GARDEN_FORAGE = (
    flora.Forage("tree heath", "02-15", "04-05", "light", "warmth", False),
    flora.Forage("orange", "04-05", "05-05", "fair", "warmth", False),
    flora.Forage("lavender", "05-10", "06-25", "fair", "day length", False),
    flora.Forage("strawberry tree", "10-15", "11-30", "light", "day length", False),
)


def make_garden(folder: Path, rng: np.random.Generator) -> None:
    """A new yard: weather, stated bloom, one hive that stands on no scale."""
    world = make_world(
        CLIMATES["mediterranean"], GARDEN, planter(GARDEN_PLANTS, 440.0, GARDEN.latitude),
        ["Terrace"], ("2012-01-01", "2026-10-15"), rng,
    )  # fmt: skip
    write_csv(folder / "weather.csv.gz", world.hourly)
    seen = notes.bloom_notes(world.flora, "2026-02-01", ["orange", "lavender"], rng)
    write_csv(folder / "bloom.csv", seen, index=False)
    place = {
        "name": "Terrace Garden (invented)",
        "latitude": GARDEN.latitude,
        "longitude": GARDEN.longitude,
        "elevation_m": GARDEN.elevation_m,
    }
    hive = {
        "name": "Terrace", "kind": "honey", "from": "2026-04-18", "frames_of_bees": 7,
        "queenright": True, "boxes": [_box("deep", 10, 8, 4)], "wood_kg": 14.0,
    }  # fmt: skip
    text = toml_text(
        list(LABEL),
        [("[yard]", place), *notes.forage_sections(GARDEN_FORAGE), ("[[hive]]", hive),
         ("[beetle]", {"present": "unknown"}),
         ("[weather]", {"file": "weather.csv.gz", "shelter": 0.6})],
    )  # fmt: skip
    write_text(folder / "yard.toml", text)


def _common_files(
    folder: Path,
    world: World,
    since: pd.Timestamp,
    timezone: str,
    rng: np.random.Generator,
    *,
    careful: bool = False,
) -> None:
    write_csv(folder / "weather.csv.gz", world.hourly)
    work = work_table(world, since, rng, timezone=timezone, careful=careful)
    write_csv(folder / "work.csv", work)


YARDS: dict[str, Callable[[Path, np.random.Generator], None]] = {
    "subtropical-coast": make_coast,
    "inland-winter": make_inland,
    "new-garden": make_garden,
}

if __name__ == "__main__":
    sys.exit(main())
