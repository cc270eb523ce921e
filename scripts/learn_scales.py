"""Learn the flow model's scales over many simulated yards, by the likelihood of their logs.

    python scripts/learn_scales.py YARD [YARD ...] [--rounds 2]

For each yard the log's transformed intakes are taken as they stand in the fit; then one scale
after another is moved up and down by a factor as long as the summed log marginal likelihood of
all yards rises (with a log-normal pull towards where it stands in numbers.toml). The keepers of
simulated yards know their bloom better than real ones, so a third of the plants stated is
forgotten first and the dates of the rest are moved by about a week. Prints the values to put
there. Trial yards with published scores are never among the yards given.
"""

import argparse
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.linalg import cho_factor, cho_solve

from flowcast import pipeline
from flowcast.flow import fit
from flowcast.flow.kernel import Scales
from flowcast.numbers import load_numbers

SCALES = [
    "sd_noise", "sd_days", "span_days_d", "sd_weeks", "span_weeks_d", "sd_year", "sd_bloom", "span_bloom_d",
    "sd_date", "span_date_d", "sd_soil", "span_soil_frac", "sd_flight", "span_flight_frac", "span_flight_c",
]  # fmt: skip
MOST_DAYS = 800
FORGOTTEN, DATES_OFF_D = 1 / 3, 7.0
PULL_SD = 0.5  # of the log-normal pull, in natural logarithms


def yard_log(folder: Path):
    """The yard's latent days, their transformed intakes and the errors of those."""
    sources = pipeline.read_sources(folder)
    record = pipeline.known_before(sources, pipeline.default_issue_date(sources))
    record = _forgetful(record, np.random.default_rng(len(record.yard.name)))
    model = pipeline.fit_record(record)
    days = model.days.take(slice(-MOST_DAYS, None))
    # The model's own views, seen again without their noise share, so that noise can be learned.
    log = record.spans[record.spans["days"] == 1]
    intake, _ = fit.intake_of(_on_days(log["gain_kg"], record), record.days, model.household)
    error = _on_days(log["gain_sd_kg"], record)
    at = np.searchsorted(record.days.time, days.time)
    seen, sd = intake[at], error[at]
    known = np.isfinite(seen)
    days = days.take(known)
    sd = np.hypot(sd[known], record.yard.numbers["flow.wood_sd_kg"])
    var = (sd * fit.slope(np.maximum(np.abs(seen[known]), sd))) ** 2
    return model.prior.ensemble, days, fit.seen_on_scale(seen[known]), var


def _forgetful(record, rng: np.random.Generator):
    """The record of a keeper who names two plants of three, a week off."""
    settings = record.yard.settings
    kept = [f for f in settings.forage if rng.random() > FORGOTTEN]
    moved = [f.model_copy(update=_moved(f, rng.normal(0, DATES_OFF_D))) for f in kept]
    return replace(
        record, yard=replace(record.yard, settings=settings.model_copy(update={"forage": moved}))
    )


def _moved(forage, days: float) -> dict:
    off = pd.Timedelta(days=round(days))
    return {
        key: (pd.Timestamp(f"2024-{getattr(forage, key)}") + off).strftime("%m-%d")
        for key in ("from_", "to")
    }


def _on_days(values: pd.Series, record) -> np.ndarray:
    return values.reindex(record.daily.index).to_numpy(float)


def likelihood(logs, overrides: dict) -> float:
    """Summed log marginal likelihood of all yards, each day weighing the same."""
    numbers = load_numbers(overrides)
    return sum(_one(log, numbers) for log in logs)


def _one(log, numbers) -> float:
    ensemble, days, z, var = log
    prior = fit.Prior(ensemble, Scales.general(numbers), numbers)
    members = prior.members(days)
    cov = prior.between(days, members, days, members)
    cov[np.diag_indices_from(cov)] += var + numbers["flow.sd_noise"] ** 2
    factor = cho_factor(cov, lower=True)
    residual = z - members.mean
    return -0.5 * residual @ cho_solve(factor, residual) - np.log(np.diag(factor[0])).sum()


def climb(logs, rounds: int) -> dict:
    """Move each scale while the likelihood rises."""
    start = {f"flow.{name}": load_numbers()[f"flow.{name}"] for name in SCALES}
    at, best = dict(start), _goal(logs, start, start)
    for factor in [1.5, 1.25, 1.1][: rounds + 1]:
        for key in at:
            for way in (factor, 1 / factor):
                while True:
                    trial = at | {key: _within(key, at[key] * way)}
                    value = _goal(logs, trial, start)
                    if value <= best + 0.5:
                        break
                    at, best = trial, value
            print(f"{key} {at[key]:.3g}   log likelihood {best:.1f}", flush=True)
    return at


def _goal(logs, at: dict, start: dict) -> float:
    pull = sum((np.log(at[k] / start[k]) / PULL_SD) ** 2 for k in at) / 2
    return likelihood(logs, at) - pull


def _within(key: str, value: float) -> float:
    number = load_numbers().entry(key)
    return float(np.clip(value, number.low, number.high))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("yards", nargs="+", type=Path)
    parser.add_argument("--rounds", type=int, default=1)
    parser.add_argument("--processes", type=int, default=2)
    options = parser.parse_args()
    with ProcessPoolExecutor(options.processes) as pool:
        logs = list(pool.map(yard_log, options.yards))
    logs = [log for log in logs if len(log[2]) > 20]
    print(f"{len(logs)} yards, {sum(len(log[2]) for log in logs)} days")
    for key, value in climb(logs, options.rounds).items():
        print(f"{key.removeprefix('flow.')} = {{ value = {value:.3g}")


if __name__ == "__main__":
    main()
