"""Learn what two yards of one keeper share, by the likelihood of the second yard's log given the first's.

    python scripts/learn_shares.py PAIR-B [PAIR-B ...]

Each folder is a yard that learns from another (`make_trial_yards.py --pairs`). The log likelihood of its
transformed intakes given those of the other yard is summed over pairs; one share after another is moved
over a grid as long as the sum rises. Prints the shares on the spot itself, the fall with distance taken
as it stands in numbers.toml. Pairs with published scores are never among those given.
"""

import argparse
from dataclasses import replace
from pathlib import Path

import numpy as np
from scipy.linalg import cho_factor, cho_solve

from flowcast import pipeline
from flowcast.flow import fit
from flowcast.flow.days import joined
from flowcast.flow.kernel import parts
from flowcast.flow.kin import SHARED, Kin, nearness
from flowcast.numbers import load_numbers
from flowcast.pipeline.run import yard_logs

GRID = (0.0, 0.15, 0.3, 0.45, 0.6, 0.7, 0.8, 0.9, 0.97)
PLANT = ("plant", "plant_year")


class Pair:
    """One pair: the covariance of both yards' values by part, the other yard's first."""

    def __init__(self, folder: Path):
        sources = pipeline.read_sources(folder)
        self.record = pipeline.known_before(sources, pipeline.default_issue_date(sources))
        self.numbers = self.record.yard.numbers
        yards = yard_logs(self.record)
        self.near = nearness(yards[1].spot, (0.0, 0.0, 0.0), self.numbers)
        scales = fit.fit_yards(yards).prior.scales
        own, other = (fit._Log.of(yard, number) for number, yard in enumerate(yards))
        (other,) = fit._newest([other], int(self.numbers["flow.others_most"]))
        days = [log.days.take(log.latent()) for log in (other, own)]
        self.days = joined(days)
        mean = np.split(self._prior(yards).members(self.days).mean, [len(days[0])])
        views = [fit._views(log, z) for log, z in zip((other, own), mean, strict=True)]
        self.first, self.views = len(views[0].value), fit._side_by_side(views)
        self.parts = {
            name: (self.views.seen(part) * getattr(scales, name) ** 2).astype("f4")
            for name, part in parts(self.days, self.days, self.numbers)
        }
        self.error = self.views.var + self.views.own * scales.noise**2
        self.stated = {}

    def _prior(self, yards) -> fit.Prior:
        """Without shares: what the ensembles have in common is told apart later."""
        whole = Kin({"stated": np.ones((2, 2))})
        return fit.Prior(yards[0].ensemble, None, self.numbers, (yards[1].ensemble,), whole)

    def stated_with(self, plant: float, year: float) -> tuple[np.ndarray, np.ndarray]:
        """The ensembles' covariance of the values, and what they leave, with plants drawn so much alike."""
        if (plant, year) not in self.stated:
            given = {"flow.share_plant": plant, "flow.share_plant_year": year}
            yard = replace(self.record.yard, numbers=self.numbers.with_overrides(given))
            yards = yard_logs(replace(self.record, yard=yard))
            prior = self._prior(yards)
            z = prior.members(self.days)
            cov = self.views.seen(prior.stated(self.days, z, self.days, z)).astype("f4")
            if not yards[0].ensemble.drawn.keys() & yards[1].ensemble.drawn.keys():
                cov[: self.first, self.first :] = cov[self.first :, : self.first] = 0.0
            self.stated[plant, year] = cov, self.views.value - self.views.of(z.mean)
        return self.stated[plant, year]

    def likelihood(self, shares: dict) -> float:
        """Of the second yard's values given the first's."""
        cov, residual = self.stated_with(*(shares[n] for n in PLANT))
        n = self.first
        cross = np.array(cov[:n, n:], float)
        whole = np.array(cov, float)
        for name, part in self.parts.items():
            whole += part
            cross += shares[name] * self.near * part[:n, n:]
        whole[:n, n:], whole[n:, :n] = cross, cross.T
        whole[np.diag_indices_from(whole)] += self.error
        return _log_density(whole, residual) - _log_density(whole[:n, :n], residual[:n])


def _log_density(cov: np.ndarray, residual: np.ndarray) -> float:
    factor = cho_factor(cov, lower=True)
    return -0.5 * residual @ cho_solve(factor, residual) - np.log(np.diag(factor[0])).sum()


def climb(pairs: list[Pair], rounds: int = 2) -> dict:
    """Move each share over the grid while the likelihood rises."""
    at = {name: load_numbers()[f"flow.share_{name}"] for name in (*SHARED, *PLANT)}

    def goal(shares):
        return sum(pair.likelihood(shares) for pair in pairs)

    best = goal(at)
    nothing = goal(dict.fromkeys(at, 0.0))
    print(f"nothing shared {nothing:.1f}, at the start {best:.1f}", flush=True)
    for _ in range(rounds):
        for name in at:
            tried = {v: goal(at | {name: v}) for v in GRID}
            value = max(tried, key=tried.get)
            if tried[value] > best:
                best, at = tried[value], at | {name: value}
            line = " ".join(f"{v:g}:{t - best:.1f}" for v, t in tried.items())
            print(f"{name} {at[name]:g}   {line}", flush=True)
    gains = (p.likelihood(at) - p.likelihood(dict.fromkeys(at, 0.0)) for p in pairs)
    print("by pair", " ".join(f"{gain:.1f}" for gain in gains))
    return at


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("yards", nargs="+", type=Path)
    options = parser.parse_args()
    pairs = [Pair(folder) for folder in options.yards]
    for name, value in climb(pairs).items():
        print(f"share_{name} = {{ value = {value:.3g}")


if __name__ == "__main__":
    main()
