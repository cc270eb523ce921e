"""Measure the kilograms of `flowcast explain` against worlds run again under other weather.

    python scripts/measure_explain.py --yards 12 --seed 31 [--seasons 1,2,5] [--out DIR] [--maker second]

Trial yards are made anew (make_trial_yards.py) and their last year is explained. The truth of each
driver comes from the simulator itself: the same flowers, colonies and chance with this driver's
course taken from another year's same dates, its Shapley value, mean over the other years. It is what
the hives would have gained with room at all times: a full hive belongs to the rest, and what its keeper
did for it and when would else turn signs about. The same as weighed is told beside it.
Cold, heat, rain, wind and light act on flight; rain and evaporation on the flowers are the soil's, and
warmth on the flowers is the timing's. Reported: whether the sign is right where the truth is 2 kg or
more, whether the largest true loss is named first, and how often the 80 % interval holds the truth.
A loss of 8 kg and more by weather, or by one hive
against the others, is told apart or not. Swarms and new queens come in every replay on the days they came.
"""

import argparse
import copy
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

import make_trial_yards as trial
import numpy as np
import pandas as pd
from simulator import keeper
from simulator.colony import DayAir, DayGain
from simulator.makers import FIRST, MAKERS, Maker
from simulator.weather import Site
from simulator.yards import World, make_world

from flowcast import pipeline
from flowcast.reasons.kilograms import IN_ALL, likely_loss
from flowcast.reasons.shapley import coalitions, shapley
from flowcast.reasons.swaps import DRIVERS
from flowcast.results import YardSeason

SEASON = trial.LAST_YEAR
FLOWERS = {"soil": ["precip_mm", "et_mm"], "timing": ["temp_max_c", "temp_min_c", "temp_mean_c"]}
SWARM_QUEENLESS_D, REQUEENED_D = 24, 8
CLEAR_KG, CLEAR_LOSS_KG = 2.0, 8.0
TRUTHS = ["truth", "weighed"]  # gain with room at all times, and as it was


class Told(keeper.Care):
    """A keeper's care in which swarms and new queens come on the days they came."""

    def __init__(self, care: keeper.Care, run: keeper.HiveRun):
        self.__dict__.update(copy.deepcopy(care.__dict__))
        self.swarms = {e.day: -e.kg for e in run.events if e.kind == "swarm"}
        self.queens = {e.day for e in run.events if e.kind == "requeened"}

    def _swarm(self, day: int, air: DayAir) -> None:
        if day in self.swarms:
            leaving = self.swarms[day] / keeper.BEE_KG
            self.colony.adults -= min(leaving, 0.6 * self.colony.adults)
            self.colony.queenless_d = SWARM_QUEENLESS_D

    def _requeen(self, day: int, hour: int) -> None:
        if day in self.queens:
            self.colony.queenless_d = max(self.colony.queenless_d, REQUEENED_D)


class Replay:
    """One trial yard's world, whose last season is lived again with drivers from other years.

    The plants, the shocks of their nectar, the swarms and new queens are those of the yard, so
    that two replays differ by the weather alone.
    """

    def __init__(self, seed: int, number: int, climate: str, mechanism: str, maker: Maker = FIRST):
        self.maker = maker
        own, site, rng = self._begin(seed, number, climate)
        plant = maker.planter(mechanism)
        self.world: World = make_world(own, site, plant, trial.HIVES, trial.SPAN, rng, maker=maker)
        self.factors = maker.drivers(self.world.hourly)
        self.years = range(int(trial.SPAN[0][:4]), SEASON)
        days = self.world.days
        self.here = days.index.get_loc(f"{SEASON}-01-01")
        self.length = min(365, len(days) - self.here)
        self.late = (days["season_day"].to_numpy() > 215).tolist()
        *_, bees = self._begin(seed, number, climate)[2].spawn(3)
        self.habits = keeper.habits_for(own, bees)
        self.visits = keeper.visit_days(days, self.habits, bees).tolist()
        self.airs = maker.bees.airs(days, self.world.flora.nectar_kg)
        self.hives = [
            self._until_season(run, own_rng)
            for run, own_rng in zip(self.world.runs, bees.spawn(len(trial.HIVES)), strict=True)
        ]

    def _begin(self, seed: int, number: int, climate: str):
        rng = np.random.default_rng([seed, number])
        own = trial.vary(self.maker.climates[climate], rng)
        return own, Site(round(float(rng.uniform(*own.latitude)), 1), 0.0), rng

    def _until_season(self, run: keeper.HiveRun, rng: np.random.Generator):
        """A hive on the morning of the season, its strength from then on, and what befell it."""
        strength = keeper.own_strength(len(self.airs), rng)
        care = keeper.begin(float(strength[0]), self.habits, rng, self.maker.bees)
        for day in range(self.here):
            self._live(care, day, self.airs[day], strength)
        return care, strength, run

    def _live(self, care: keeper.Care, day: int, air: DayAir, strength: np.ndarray) -> DayGain:
        care.colony.strength = float(strength[day])
        care.attend(day, air, self.visits[day], self.late[day])
        return self.maker.bees.live(care.colony, air)

    def gain(self, swapped: set[str], year: int) -> np.ndarray:
        """Gain of the middle hive over the season with these drivers from that year, `TRUTHS`. [kg]"""
        season = slice(self.here, self.here + self.length)
        lived = self._weather(swapped, year, season)
        nectar = self.world.flora.under(lived)[season]
        flight_h = lived["flight_h"].to_numpy()[season]
        airs = [
            replace(air, flight_h=float(h), nectar_kg=float(kg))
            for air, h, kg in zip(self.airs[season], flight_h, nectar, strict=True)
        ]
        return np.median([self._season(hive, airs) for hive in self.hives], axis=0)

    def _season(self, hive, airs: list[DayAir]) -> tuple[float, float]:
        care, strength, run = hive
        told = Told(care, run)
        lived = [self._live(told, day, air, strength) for day, air in enumerate(airs, self.here)]
        return sum(day.roomy_kg for day in lived), sum(day.gain_kg for day in lived)

    def _weather(self, swapped: set[str], year: int, season: slice) -> pd.DataFrame:
        """Days as the flowers and the bees live them."""
        days = self.world.days
        there = days.index.get_loc(f"{year}-01-01")
        other = slice(there, there + self.length)
        lived = days.copy()
        for driver, columns in (FLOWERS | self.maker.fetching).items():
            if driver in swapped:
                at = [days.columns.get_loc(c) for c in columns]
                lived.iloc[season, at] = days.iloc[other, at].to_numpy()
        factors = {}
        for name, values in self.factors.items():
            factors[name] = values.copy()
            if name in swapped:
                own, given = (slice(24 * s.start, 24 * s.stop) for s in (season, other))
                factors[name][own] = values[given]
        lived["flight_h"] = self.maker.fitness(factors).reshape(-1, 24).sum(axis=1)
        return lived

    def parts(self) -> pd.DataFrame:
        """What each driver truly brought against other years, in the mean; columns `TRUTHS`. [kg]"""
        sets = [set(np.array(DRIVERS)[taken]) for taken in coalitions(len(DRIVERS))]
        each = [shapley(np.array([self.gain(some, year) for some in sets])) for year in self.years]
        # Taken away by swapping: what it had brought.
        return pd.DataFrame(-np.mean(each, axis=0), list(DRIVERS), TRUTHS)


def explained(folder: Path) -> tuple[YardSeason, float]:
    """The last year explained, and the seconds it took; by dates, which a southern season crosses."""
    began = time.perf_counter()
    found = pipeline.explain(folder, first=f"{SEASON}-01-01", last=f"{SEASON}-12-31")
    return found, time.perf_counter() - began


def blamed(found: YardSeason, replay: Replay, truth: pd.Series) -> list[dict]:
    """Clear losses of a single hive and of the whole yard's weather, and whether each was told.

    A hive that truly gained CLEAR_LOSS_KG less than the middle of the others, under one sky, lost it
    by itself; a season whose drivers truly cost as much lost it by weather.
    """
    days = slice(replay.here, replay.here + replay.length)
    gains = pd.Series({run.name: run.gain_kg[days].sum() for run in replay.world.runs})
    low = {hive.season.hive for hive in found.season.low}
    cases = []
    for hive in gains.index:
        behind = gains.drop(hive).median() - gains[hive]
        cases.append({"what": "one hive", "loss": behind, "told": hive in low})
    told = found.kilograms.parts["kg"].sum() < 0
    return [*cases, {"what": "weather", "loss": -truth.sum(), "told": bool(told)}]


def measure(
    number: int, climate: str, mechanism: str, seasons: int, seed: int, out: Path, maker: str
):
    """Rows of one yard: truth and parts of each driver; maker: a name of MAKERS."""
    laws = MAKERS[maker]
    folder = out / f"yard-{number:03d}-{seasons}-seasons"
    if not folder.is_dir():
        trial.make_trial_yard(folder, number, climate, mechanism, seasons, seed, maker=laws)
    found, seconds = explained(folder)
    replay = Replay(seed, number, climate, mechanism, laws)
    truth = replay.parts()
    truth.loc[IN_ALL] = truth.drop(list(FLOWERS)).sum()
    parts = found.kilograms.parts[["kg", "q10", "q90"]].astype(float)
    parts.loc[IN_ALL] = found.kilograms.flight[list(parts)].astype(float)
    table = parts.join(truth).assign(yard=number, seasons=seasons, mechanism=mechanism)
    said = f"{folder.name} {climate} {mechanism}: {seconds:.1f} s\n"
    said += table[["kg", "q10", "q90", *TRUTHS]].round(1).T.to_string()
    cases = pd.DataFrame(blamed(found, replay, truth.loc[list(DRIVERS), "truth"])).assign(
        yard=number
    )
    return table.rename_axis("driver").reset_index(), cases, said


def summary(table: pd.DataFrame) -> None:
    """Signs, order and intervals: over all drivers, those of flight, by mechanism, by seasons."""
    together, table = table[table["driver"] == IN_ALL], table[table["driver"] != IN_ALL]
    flight_only = table[~table["driver"].isin(FLOWERS)]
    groups = {"all drivers": table, "flight only": flight_only, "flight in one": together}
    groups |= {f"{d} only": table[table["driver"] == d] for d in FLOWERS}
    groups |= {str(name): part for name, part in table.groupby("mechanism")}
    groups |= {f"{n} seasons before": part for n, part in table.groupby("seasons")}
    print(pd.DataFrame({name: _shares(part) for name, part in groups.items()}).T.to_string())


def blame_summary(cases: pd.DataFrame) -> None:
    """How often a clear loss was laid to the right side, and a hive called low that was not."""
    clear = cases[cases["loss"] >= CLEAR_LOSS_KG]
    print(clear.groupby("what")["told"].agg(["mean", "size"]).round(3).to_string())
    fine = cases[(cases["what"] == "one hive") & (cases["loss"] < 0.5 * CLEAR_LOSS_KG)]
    print(f"hives called low that were not: {fine['told'].mean():.3f} of {len(fine)}")


def _shares(part: pd.DataFrame) -> dict[str, float]:
    clear = part[part["truth"].abs() >= CLEAR_KG]
    told = part[(part["q10"] > 0) | (part["q90"] < 0)]  # whatever their truth: so it is read
    inside = part["truth"].between(part["q10"], part["q90"])
    return {
        "clear parts": len(clear),
        "sign right": _right(clear),
        "told apart from 0": len(told),
        "their sign right": _right(told),
        **_named_first(part),
        "intervals hold": round(inside.mean(), 3),
        "of clear parts": round(inside[clear.index].mean(), 3),
        "error kg": round((part["kg"] - part["truth"]).abs().mean(), 2),
        "nothing said kg": round(part["truth"].abs().mean(), 2),
    }


def _right(part: pd.DataFrame) -> float:
    return round((np.sign(part["kg"]) == np.sign(part["truth"])).mean(), 3)


def _named_first(part: pd.DataFrame) -> dict[str, float]:
    """How often the driver of the largest true loss is the one of the largest likely loss.

    Beside it by the middle of its part alone, and how often it is the soil, which needs no reckoning.
    """
    worst = part.loc[part.groupby("yard")["truth"].idxmin()]
    worst = worst[worst["truth"] <= -CLEAR_KG].set_index("yard")["driver"]
    orders = {"largest loss first": likely_loss(part), "by its middle": -part["kg"]}
    orders |= {"were it the soil": (part["driver"] == "soil").astype(float)}
    found = {}
    for name, order in orders.items():
        named = part.loc[order.groupby(part["yard"]).idxmax()].set_index("yard")["driver"]
        found[name] = round((worst == named.reindex(worst.index)).mean(), 3)
    return found | {"of": len(worst)}


def main() -> None:
    """Make the yards, explain them, and compare."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--yards", type=int, default=12)
    parser.add_argument("--seed", type=int, default=31)
    parser.add_argument("--seasons", default="1,2,5")
    parser.add_argument("--out", type=Path)
    parser.add_argument("--csv", type=Path, help="write every part here")
    parser.add_argument("--maker", choices=list(MAKERS), default="first", help="whose laws hold")
    parser.add_argument("--processes", type=int, default=2)
    asked = parser.parse_args()
    seasons = [int(part) for part in asked.seasons.split(",")]
    order = trial.order(asked.yards, asked.seed, MAKERS[asked.maker])
    with TemporaryDirectory() as made, ProcessPoolExecutor(asked.processes) as pool:
        out, tables, blame = asked.out or Path(made), [], []
        jobs = [
            pool.submit(
                measure, k, *pair, seasons[(k - 1) % len(seasons)], asked.seed, out, asked.maker
            )
            for k, pair in enumerate(order, start=1)
        ]
        for job in jobs:
            table, cases, said = job.result()
            tables.append(table)
            blame.append(cases)
            print(said, flush=True)
    table = pd.concat(tables, ignore_index=True)
    if asked.csv:
        table.to_csv(asked.csv, index=False)
    for truth in TRUTHS:
        print(f"beside the gain {'with room' if truth == TRUTHS[0] else 'as weighed'}:")
        summary(table.assign(truth=table[truth]))
    blame_summary(pd.concat(blame, ignore_index=True))


if __name__ == "__main__":
    main()
