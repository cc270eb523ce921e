"""Measure how low the loss of any forecaster could be on simulated yards, the weather ahead being known.

    python scripts/measure_ceiling.py --yards 15 --seed 401 [--seasons 1,2,5] [--draws 80] [--every 28]
                                      [--maker second] [--csv FILE]

Trial yards are made anew (make_trial_yards.py), and the days of their last year are lived again and
again under the simulator's own laws, in the weather as it came, with other luck:

    days' luck      all is known up to the issue date, and of the days ahead all but what chance does to
                    them: the good and bad days that all hives share, from where they stand on the day
                    before, and the drift of each hive's strength. Years' luck of the plants is known, and
                    so are visits and swarms, whose draws are those of the yard.
    luck to come    the same, but the plants' luck of the year is drawn anew for blooms still to come:
                    those whose middle is ahead, and after rain those not begun that are not overdue;
                    as if the log up to the issue date were read perfectly, and no more
    no log of year  all is known up to the first day of the year, and nothing is seen of it afterwards:
                    the plants' luck, good and bad days and the hives' drift are drawn anew from there
                    on, and hives live the whole year with them

The last two are for yards of the first maker only. No forecaster can be expected below the first; one
that knew the laws and the plants and read the log up to the issue date would lie between the first and
the last, near the second. The draws make an ensemble, which is scored as
measure_outlook.py scores: over the best simple forecaster of each yard and lead group, with the cleaned
log of the yard's folder. Told are geometric means over yards with a 90 % bootstrap interval.
The truth is the gain as weighed, as the folders of such yards hold it.
"""

import argparse
import copy
import sys
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

import make_trial_yards as trial
import numpy as np
import pandas as pd
from measure_explain import Replay
from measure_outlook import HORIZON, _scores, issue_dates, simple, table, truth_of
from simulator import keeper
from simulator.makers import FIRST, MAKERS, Maker

from flowcast import pipeline
from flowcast.tables import QUANTILES
from flowcast.verification.simple import BASELINES

BOUNDS = DAYS_LUCK, TO_COME, NO_LOG = "days' luck", "luck to come", "no log of year"
ISSUED_D = 337  # days of the last year to issue in, as measure_outlook.py has it
ROUNDED_KG = 1e-4  # to which the folders hold gains


class Luck(Replay):
    """A trial yard's world on the morning of `day`, whose days from then on may have other luck."""

    def __init__(self, seed: int, number: int, climate: str, mechanism: str, maker: Maker = FIRST):
        super().__init__(seed, number, climate, mechanism, maker)
        self.day = self.here
        for care, *_ in self.hives:
            care.events.clear()  # nobody asks for them, and every draw would copy them

    def advance(self, day: int) -> None:
        """Let the hives live as they did until this morning."""
        for care, strength, _ in self.hives:
            for at in range(self.day, day):
                self._live(care, at, self.airs[at], strength)
        self.day = day

    def as_it_was(self, length: int) -> np.ndarray:
        """Gain of the middle hive on the next days. [kg]"""
        strengths = [strength for _, strength, _ in self.hives]
        return self._course(self.world.flora.nectar_kg.to_numpy(), strengths, length)

    def drawn(self, draws: int, length: int, rng: np.random.Generator, *, plants: bool):
        """The same with other luck: of the days, and of the plants' years if asked for.

        Returns
        -------
        ndarray, shape (draws, length)
        """
        return np.array([self._other(length, rng, plants) for _ in range(draws)])

    def _other(self, length: int, rng: np.random.Generator, plants: bool) -> np.ndarray:
        nectar = self.world.flora.anew(self.day, rng, plants)
        strengths = [keeper.strength_anew(own, self.day, rng) for _, own, _ in self.hives]
        return self._course(nectar, strengths, length)

    def _course(self, nectar: np.ndarray, strengths: list[np.ndarray], length: int) -> np.ndarray:
        days = range(self.day, self.day + length)
        airs = [replace(self.airs[day], nectar_kg=float(nectar[day])) for day in days]
        cares = [copy.deepcopy(care) for care, *_ in self.hives]
        gains = [
            [self._live(care, *lived, strength).gain_kg for lived in zip(days, airs, strict=True)]
            for care, strength in zip(cares, strengths, strict=True)
        ]
        return np.median(gains, axis=0)


def scored(runs: np.ndarray, obs: np.ndarray):
    """Scores of an ensemble of the daily gains of HORIZON days, shape (draws, days)."""
    both = (runs, runs.cumsum(axis=1))
    return _scores(*(np.quantile(part, QUANTILES, axis=0).T for part in both), obs)


def measure(folder: Path, luck: Luck, every: int, draws: int, rng: np.random.Generator):
    """One row a bound or simple forecaster, issue date and lead group."""
    truth = truth_of(folder)
    left = len(truth) - luck.here
    if not np.allclose(luck.as_it_was(left), truth.iloc[luck.here :], rtol=0, atol=ROUNDED_KG):
        sys.exit(f"{folder.name}: the world lived again is not the world of its folder")
    plants = luck.maker is FIRST  # whose luck can be drawn anew
    year = luck.drawn(draws, left, rng, plants=True) if plants else None
    sources, rows = pipeline.read_sources(folder), []
    for issue in issue_dates(truth, every, ISSUED_D):
        luck.advance(truth.index.get_loc(issue))
        dates = pd.date_range(issue, periods=HORIZON)
        obs, since = truth.reindex(dates).to_numpy(), luck.day - luck.here
        found = list(simple(pipeline.known_before(sources, issue), dates, obs))
        ensembles = {DAYS_LUCK: luck.drawn(draws, HORIZON, rng, plants=False)}
        if plants:
            ensembles[TO_COME] = luck.drawn(draws, HORIZON, rng, plants=True)
            ensembles[NO_LOG] = year[:, since : since + HORIZON]
        for name, runs in ensembles.items():
            beside = {"forecaster": name, "weather": "observed"}
            found += [beside | row for row in scored(runs, obs)]
        rows += [{"yard": folder.name, "issue": issue} | row for row in found]
    return pd.DataFrame(rows)


def ratios(rows: pd.DataFrame, seasons: pd.Series) -> pd.DataFrame:
    """Loss of each bound over the best simple forecaster: over all yards, and by seasons of log."""
    loss = table(rows)["loss"].droplevel("weather").unstack("forecaster")
    best = loss[list(BASELINES)].min(axis=1)
    bounds = [name for name in BOUNDS if name in loss]
    log = np.log(loss[bounds].div(best, axis=0)).unstack("yard").T
    log = log.reindex(columns=rows["group"].unique())
    return pd.concat({bound: _told(log.loc[bound], seasons) for bound in bounds})


def _told(log: pd.DataFrame, seasons: pd.Series) -> pd.DataFrame:
    """One row a lead group, from log ratios by yard and group."""
    drawn = np.random.default_rng(0).integers(len(log), size=(2000, len(log)))
    low, high = np.quantile(log.to_numpy()[drawn].mean(axis=1), [0.05, 0.95], axis=0)
    spread = pd.DataFrame({"low": low, "high": high}, index=log.columns)
    each = log.groupby(seasons.reindex(log.index)).mean().T.add_suffix(" seasons")
    ends = {"ratio": log.mean(), **spread, **each, "best": log.min(), "worst": log.max()}
    return np.exp(pd.DataFrame(ends))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--yards", type=int, default=15)
    parser.add_argument("--seed", type=int, default=401)
    parser.add_argument("--seasons", default="1,2,5", help="of log before the last year, in turn")
    parser.add_argument("--draws", type=int, default=80, help="of every ensemble")
    parser.add_argument("--every", type=int, default=28, help="days between issue dates")
    parser.add_argument("--maker", choices=list(MAKERS), default="first")
    parser.add_argument("--csv", type=Path, help="write every score here")
    options = parser.parse_args()
    maker, turns = MAKERS[options.maker], [int(part) for part in options.seasons.split(",")]
    found, seasons = [], {}
    for number, kind in enumerate(trial.order(options.yards, options.seed, maker), start=1):
        with TemporaryDirectory() as at:
            name = f"yard-{number:03d}"
            seasons[name] = turns[(number - 1) % len(turns)]
            made = number, *kind, seasons[name], options.seed
            trial.make_trial_yard(Path(at) / name, *made, maker=maker)
            luck = Luck(options.seed, number, *kind, maker)
            rng = np.random.default_rng([options.seed, number, 3])
            found.append(measure(Path(at) / name, luck, options.every, options.draws, rng))
        print(f"{name}: done", file=sys.stderr, flush=True)
    rows = pd.concat(found)
    if options.csv:
        rows.to_csv(options.csv, index=False)
    pd.set_option("display.width", 160)
    print("loss over the best simple forecaster of each yard, geometric mean over yards")
    print(ratios(rows, pd.Series(seasons)).round(3).to_string())
    pooled = rows[rows["weather"] == "observed"].groupby(["forecaster", "group"], sort=False)
    print("\n10-90 % coverage, pooled")
    print(pooled[["inside", "below", "above"]].mean().round(3).to_string())


if __name__ == "__main__":
    main()
