"""Many different invented yards with their truth, for calibrating and testing the forecaster.

    python scripts/make_trial_yards.py --out DIR --yards 24 --seasons 1,2,5 --seed 7

Each yard has a climate, a mechanism of flowers and plants of its own, ten years of hourly weather
(2015 to 2024) and three hives whose scales stand there for the stated number of seasons and one
more, the year 2024, on which forecasts can be tried. Equal seeds give equal bytes.

    python scripts/make_trial_yards.py --out DIR --pairs 8 --seed 7 [--unrelated]

makes pairs of yards of one keeper some kilometres apart: `pair-001-a` with five seasons of log, and
`pair-001-b` with two, which is told to learn from it.

    python scripts/make_trial_yards.py --out DIR --maker second --yards 24 --seasons 1,2,5 --seed 7

makes yards of a world with other laws of flowers, flight and bees, and partly other climates
(simulator/second): the same keeper, scales and files.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
from simulator.afar import from_afar
from simulator.climates import CLIMATES, Climate
from simulator.makers import FIRST, MAKERS, Maker
from simulator.notes import bloom_notes
from simulator.pairs import make_pair
from simulator.weather import Site
from simulator.yards import World, make_world, write_csv, write_yard

SPAN = ("2015-01-01", "2024-12-31")
LAST_YEAR = 2024
HIVES = ["H1", "H2", "H3"]
PAIR_SEASONS = {"a": 5, "b": 2}


def main(arguments: list[str] | None = None) -> int:
    """Make the yards that the command line asks for."""
    asked = _parse(arguments)
    if asked.pairs:
        for number, kind in enumerate(order(asked.pairs, asked.seed), start=1):
            make_trial_pair(asked.out, number, *kind, asked.seed, unrelated=asked.unrelated)
            print(f"pair-{number:03d}", flush=True)
        return 0
    given = {"noise_kg": asked.noise, "drift_kg_per_c": asked.drift}
    scale = {name: value for name, value in given.items() if value is not None}
    maker = MAKERS[asked.maker]
    combinations = order(asked.yards, asked.seed, maker)
    for number, (climate, mechanism) in enumerate(combinations, start=1):
        seasons = asked.seasons[(number - 1) % len(asked.seasons)]
        folder = asked.out / f"yard-{number:03d}-{seasons}-seasons"
        make_trial_yard(
            folder,
            number,
            climate,
            mechanism,
            seasons,
            asked.seed,
            by_hand=asked.by_hand,
            rough=asked.rough,
            notes=asked.notes,
            afar=asked.far_weather,
            full_hives=asked.full_hives,
            scale=scale,
            maker=maker,
        )
        print(f"{folder.name}", flush=True)
    return 0


def _parse(arguments: list[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(description="Make invented yards with known truth.")
    parser.add_argument("--out", type=Path, required=True, help="folder for the yards")
    parser.add_argument("--yards", type=int, default=24, help="how many (default 24)")
    parser.add_argument(
        "--seasons",
        type=lambda text: [int(part) for part in text.split(",")],
        default=[1, 2, 5],
        help="seasons of log before the last year, in turn (default 1,2,5)",
    )
    parser.add_argument("--seed", type=int, default=7, help="whole number (default 7)")
    parser.add_argument("--maker", choices=list(MAKERS), default="first", help="whose laws hold")
    parser.add_argument("--pairs", type=int, default=0, help="pairs of one keeper's yards instead")
    parser.add_argument("--unrelated", action="store_true", help="pairs with no plant in common")
    parser.add_argument("--by-hand", action="store_true", help="hand weighings, no hourly scales")
    parser.add_argument("--rough", action="store_true", help="swarms, thefts, lifts in no notes")
    parser.add_argument("--notes", action="store_true", help="with bloom.csv, kept as keepers do")
    parser.add_argument(
        "--far-weather", action="store_true", help="weather.csv of a place tens of kilometres off"
    )
    parser.add_argument(
        "--full-hives",
        action="store_true",
        help="too little comb: hives stand full in flows; the truth is the gain of hives with room",
    )
    parser.add_argument("--noise", type=float, help="noise of every scale, kg; drawn when absent")
    parser.add_argument(
        "--drift", type=float, help="drift of every scale, kg/°C; drawn when absent"
    )
    asked = parser.parse_args(arguments)
    if asked.pairs and asked.maker != "first":
        parser.error(
            "pairs of yards are made by the first maker only; leave --maker or --pairs out"
        )
    return asked


def order(yards: int, seed: int, maker: Maker = FIRST) -> list[tuple[str, str]]:
    """Climate and mechanism of each yard: all pairs in shuffled order, again when used up."""
    pairs = maker.pairs
    rng = np.random.default_rng([seed, 0])
    rounds = -(-yards // len(pairs))
    shuffled = [pairs[i] for _ in range(rounds) for i in rng.permutation(len(pairs))]
    return (in_turn(shuffled) if maker.in_turn else shuffled)[:yards]


def in_turn(pairs: list[tuple[str, str]]) -> list[tuple[str, str]]:
    """The same pairs such that every mechanism has its turn before one of them comes again."""
    turns, had = [], Counter()
    for _, mechanism in pairs:
        turns.append(had[mechanism])
        had[mechanism] += 1
    return [pairs[i] for i in np.argsort(turns, kind="stable")]


def make_trial_yard(
    folder: Path,
    number: int,
    climate: str,
    mechanism: str,
    seasons: int,
    seed: int,
    *,
    by_hand: bool = False,
    rough: bool = False,
    notes: bool = False,
    afar: bool = False,
    full_hives: bool = False,
    scale: dict[str, float] | None = None,
    hives: list[str] = HIVES,
    maker: Maker = FIRST,
) -> None:
    """One trial yard; its whole course follows from the seed and its number."""
    world, rng = trial_world(number, climate, mechanism, seed, hives, short=full_hives, maker=maker)
    about = [
        f"climate: {climate}",
        f"mechanism: {mechanism}",
        f"plants: {', '.join(world.flora.bloom.columns)}",
        f"seed: {seed}, number: {number}, seasons before the last year: {seasons}",
    ]
    since = f"{LAST_YEAR - seasons}-01-01"
    name = f"Trial yard {number} (invented)"
    write_yard(
        folder,
        world,
        name,
        since,
        rng,
        about=about,
        by_hand=by_hand,
        rough=rough,
        scale=scale,
        seen_before=fullest(world) if full_hives else None,
    )
    if afar:  # as bloom.csv below with a chance of its own: all else stays as it is
        elsewhere = from_afar(world.hourly, np.random.default_rng([seed, number, 3]))
        write_csv(folder / "weather.csv.gz", elsewhere)
    if notes:
        chance = np.random.default_rng([seed, number, 1])  # of its own: notes change nothing else
        write_csv(folder / "bloom.csv", noted(world, since, chance), index=False)


def make_trial_pair(
    out: Path,
    number: int,
    climate: str,
    mechanism: str,
    seed: int,
    *,
    unrelated: bool = False,
    hives: list[str] = HIVES,
) -> None:
    """Two yards of one keeper; their whole course follows from the seed and the number."""
    rng = np.random.default_rng([seed, number, 2])
    own = vary(CLIMATES[climate], rng)
    site = Site(round(float(rng.uniform(*own.latitude)), 1), 0.0)
    pair = make_pair(own, site, mechanism, hives, SPAN, rng, unrelated=unrelated)
    for letter, world in zip("ab", (pair.first, pair.second), strict=True):
        seasons = PAIR_SEASONS[letter]
        about = [
            f"climate: {climate}",
            f"mechanism: {mechanism}",
            f"plants: {', '.join(world.flora.bloom.columns)}",
            f"apart: {pair.distance_km:.1f} km, second higher by {pair.height_m:.0f} m",
            f"seed: {seed}, pair: {number}, unrelated: {unrelated}",
        ]
        write_yard(
            out / f"pair-{number:03d}-{letter}",
            world,
            f"Trial pair {number} {letter} (invented)",
            f"{LAST_YEAR - seasons}-01-01",
            rng,
            about=about,
            learn_from=[f"../pair-{number:03d}-a"] if letter == "b" else None,
        )


def fullest(world: World) -> str:
    """The day after the 30 days with the least free comb in the season before the last year.

    So late that the boxes of the last visit before it tell of the flow in which comb ran out.
    """
    free = pd.concat([pd.Series(run.free_kg, world.days.index) for run in world.runs], axis=1)
    month = free.mean(axis=1).rolling(30).mean()[str(LAST_YEAR - 1)]
    return f"{month.idxmin() + pd.Timedelta(days=1):%Y-%m-%d}"


def noted(world: World, since: str, rng: np.random.Generator) -> pd.DataFrame:
    """bloom.csv of a keeper who notes all plants with a name, and the buds of those that follow rain."""
    grown = world.flora
    named = replace(grown, bloom=grown.bloom.drop(columns="wild flowers", errors="ignore"))
    buds = [name for name, clock in grown.follows.items() if clock == "rain"]
    return bloom_notes(named, since, buds, rng)


def trial_world(
    number: int,
    climate: str,
    mechanism: str,
    seed: int,
    hives: list[str] = HIVES,
    *,
    short: bool = False,
    maker: Maker = FIRST,
) -> tuple[World, np.random.Generator]:
    """The world of a trial yard, and its generator as the world leaves it."""
    rng = np.random.default_rng([seed, number])
    own = vary(maker.climates[climate], rng)
    site = Site(round(float(rng.uniform(*own.latitude)), 1), 0.0)
    plant = maker.planter(mechanism)
    return make_world(own, site, plant, hives, SPAN, rng, short=short, maker=maker), rng


def vary(climate: Climate, rng: np.random.Generator) -> Climate:
    """A place of this climate: a little warmer, wetter or windier than the middle of it."""
    wet = np.exp(rng.normal(0, 0.10))
    return replace(
        climate,
        temp_mean_c=climate.temp_mean_c + rng.normal(0, 0.8),
        temp_swing_c=climate.temp_swing_c * np.exp(rng.normal(0, 0.06)),
        wet_share=tuple(min(share * wet, 0.8) for share in climate.wet_share),
        wind_ms=tuple(v * np.exp(rng.normal(0, 0.12)) for v in climate.wind_ms),
    )


if __name__ == "__main__":
    sys.exit(main())
