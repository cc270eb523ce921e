"""A beetle tray read for what it is: larvae first, then the colony, and only then the number."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import betainc

from flowcast.beetle.outlook import BANDS
from flowcast.beetle.traits import Traits
from flowcast.numbers import Numbers

NODES, WEIGHTS = np.polynomial.hermite_e.hermegauss(9)  # to take means over a normal doubt
DAY = pd.Timedelta(days=1)


@dataclass(frozen=True)
class Count:
    """One line of beetles.csv, with what else is known of the colony on that date.

    kind: "honey" or "nucleus". unsettled: "swarmed", "split" or "new" when work.csv or yard.toml say so
    of the weeks before or after, else empty. frames_of_bees is NaN and queenright "unknown" where the line does not say.
    """

    date: pd.Timestamp
    hive: str
    beetles: float
    days: float
    larvae: bool
    trap: str
    frames_of_bees: float
    queenright: str
    kind: str = "honey"
    unsettled: str = ""


@dataclass(frozen=True)
class Reading:
    """What a count means.

    verdict: "larvae" (act whatever the number), "colony" (weak, unsettled or not known: no comfort),
    "period" (too short or long to compare), "no weather" (too little of it behind the count),
    "ordinary", "high" for the season, "unusual". why: for "colony", what is amiss. per_14_d: beetles in
    14 days, NaN when not rescaled. expected: quantiles 10, 50, 90 % of counts in strong colonies here
    at that time, by the yard's own record where it has one. share: how many of such counts lie at or
    below this one, by the stricter of record and prior. Both None without a number to compare.
    """

    count: Count
    verdict: str
    why: tuple[str, ...]
    per_14_d: float
    expected: tuple[float, ...] | None
    share: float | None


def read_counts(
    counts: list[Count],
    showing: np.ndarray,
    dates: pd.DatetimeIndex,
    traits: Traits,
    numbers: Numbers,
) -> list[Reading]:
    """Read each count against the beetles that stood at its time and the yard's earlier counts.

    Parameters
    ----------
    counts : list of Count
        In order of date; a reading uses earlier ones of the same trap only.
    showing : array, shape (draws, days)
        `Course.showing` on `dates`.

    Notes
    -----
    Counts are negative binomial, with the spread of colony numbers published by Mustafa et al.;
    means by band of the standing stock are mostly our assumption. The yard's own record may bring
    the means down, never up, and no count above beetle.ceiling in 14 days is ordinary.
    """
    read: list[Reading] = []
    for count in counts:
        bands = _bands(count, showing, dates, traits, numbers)
        earlier = [r for r in read if r.count.trap == count.trap and r.count.date < count.date]
        read.append(_read(count, bands, earlier, showing, dates, traits, numbers))
    return read


def amiss(count: Count, numbers: Numbers) -> tuple[str, ...]:
    """What stands against calling any count of this colony ordinary; empty for a strong one."""
    reasons = ["nucleus"] if count.kind == "nucleus" else []
    if np.isnan(count.frames_of_bees):
        reasons.append("frames not known")
    elif count.frames_of_bees < numbers["beetle.frames_least"]:
        reasons.append("few frames")
    if count.queenright != "yes":
        reasons.append("queenless" if count.queenright == "no" else "queen not known")
    return (*reasons, *([count.unsettled] if count.unsettled else []))


def per_14_days(count: Count, numbers: Numbers) -> float:
    """The count rescaled to beetle.period_d; NaN when it lay too short or too long for that."""
    least, most = numbers["beetle.period_least_d"], numbers["beetle.period_most_d"]
    if not least <= count.days <= most:
        return np.nan
    return count.beetles * numbers["beetle.period_d"] / count.days


def count_size(numbers: Numbers) -> float:
    """Size of the negative binomial with the published mean and standard deviation. [1]"""
    mean, sd = numbers["beetle.count_mean"], numbers["beetle.count_sd"]
    return mean**2 / (sd**2 - mean)


@dataclass(frozen=True)
class CountModel:
    """How counts of two weeks fall in strong colonies: negative binomial about a mean for each band.

    means, size: of the negative binomial, shape (3,), for a stock that is low, moderate, high.
    spread: doubt about each mean, a standard deviation in logarithms, shape (3,).
    """

    means: np.ndarray
    size: np.ndarray
    spread: np.ndarray

    def share_below(self, number: float, bands: np.ndarray) -> float:
        """Share of counts at or below this number, when the bands have these chances."""
        mean = self.means[:, None] * np.exp(self.spread[:, None] * NODES)
        size = self.size[:, None]
        below = betainc(size, np.floor(number) + 1.0, size / (size + mean))  # negative binomial
        return float(bands @ below @ WEIGHTS / WEIGHTS.sum())

    def quantile(self, share: float, bands: np.ndarray) -> float:
        """The smallest number with at least this share of counts at or below it."""
        low, high = 0, int(100 * self.means.max())
        while low < high:
            middle = (low + high) // 2
            enough = self.share_below(middle, bands) >= share
            low, high = (low, middle) if enough else (middle + 1, high)
        return float(low)


def prior_model(trap: str, numbers: Numbers) -> CountModel:
    """Counts of this kind of trap before the yard has any of its own."""
    means = np.array([numbers[f"beetle.count_{band}"] for band in BANDS], float)
    size = np.full(len(BANDS), count_size(numbers))
    if trap == "oil tray":
        return CountModel(means, size, np.zeros(len(BANDS)))
    level = numbers["beetle.trap_dry" if trap == "dry tray" else "beetle.trap_between"]
    spread = np.full(len(BANDS), numbers["beetle.trap_log_sd"])
    return CountModel(means * level, size, spread)


def own_model(own: list[tuple[int, float]], prior: CountModel, numbers: Numbers) -> CountModel:
    """Counts as the yard's own record has them.

    Parameters
    ----------
    own : list of (band, beetles in 14 days)
        Earlier counts of strong colonies in the same kind of trap.

    Notes
    -----
    Each band's mean is drawn towards the prior's as if that were beetle.prior_counts counts; from
    beetle.own_fit_counts counts in a band on, its mean and size are fitted instead.
    """
    weight, enough = numbers["beetle.prior_counts"], numbers["beetle.own_fit_counts"]
    means, size, doubt = prior.means.copy(), prior.size.copy(), prior.spread**2
    for band in range(len(BANDS)):
        seen = [y for b, y in own if b == band]
        means[band] = (weight * means[band] + sum(seen)) / (weight + len(seen))
        if len(seen) >= enough and sum(seen) >= enough:
            means[band], size[band] = _fitted(seen, means[band], size[band], numbers)
        # What the level of the trap and the few counts leave open, against a prior that is taken as it is.
        doubt[band] *= weight / (weight + len(seen))
        if seen:
            doubt[band] += (1 / means[band] + 1 / size[band]) / (weight + len(seen))
    return CountModel(means, size, np.sqrt(doubt))


def _fitted(seen: list[float], mean: float, size: float, numbers: Numbers) -> tuple[float, float]:
    """Mean and size by maximum likelihood; those given where the counts do not settle them."""
    import warnings

    from statsmodels.discrete.discrete_model import NegativeBinomial

    counts, bounds = np.round(seen), (numbers["beetle.size_least"], numbers["beetle.size_most"])
    if counts.var() <= counts.mean():  # no more scatter than chance alone has
        return float(counts.mean()), bounds[1]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # what it warns of is asked for below
        model = NegativeBinomial(counts, np.ones((len(counts), 1)))
        fit = model.fit(start_params=[np.log(max(mean, 0.1)), 1.0 / size], disp=0, maxiter=200)
    level, alpha = fit.params
    if not (fit.mle_retvals["converged"] and np.isfinite([level, alpha]).all()):
        return mean, size
    return float(np.exp(level)), float(np.clip(1.0 / max(alpha, 1e-6), *bounds))


def _read(count, bands, earlier, showing, dates, traits, numbers) -> Reading:
    number, reasons = per_14_days(count, numbers), amiss(count, numbers)
    expected = share = None
    if bands is not None and np.isfinite(number):
        models = _models(count.trap, earlier, showing, dates, traits, numbers)
        share = max(model.share_below(round(number), bands) for model in models)
        expected = _expected(models, bands)
    verdict = _verdict(count, reasons, number, share, numbers)
    return Reading(count, verdict, reasons, number, expected, share)


def expected_counts(
    trap: str,
    readings: list[Reading],
    showing: np.ndarray,
    dates: pd.DatetimeIndex,
    traits: Traits,
    numbers: Numbers,
) -> tuple[float, ...]:
    """Quantiles 10, 50, 90 % of counts over the last 14 of `dates`, in strong colonies here."""
    stock = showing[:, -int(numbers["beetle.period_d"]) :].mean(axis=1)
    bands = band_chances(stock, traits, numbers)
    models = _models(
        trap, [r for r in readings if r.count.trap == trap], showing, dates, traits, numbers
    )
    return _expected(models, bands)


def _models(trap, earlier: list[Reading], showing, dates, traits, numbers) -> list[CountModel]:
    """The prior, and the yard's own record where there is one.

    The stricter of the two judges, so that a record may tighten what is ordinary and never loosen it.
    """
    prior = prior_model(trap, numbers)
    own = _own(earlier, showing, dates, traits, numbers)
    return [prior, own_model(own, prior, numbers)] if own else [prior]


def _expected(models: list[CountModel], bands: np.ndarray) -> tuple[float, ...]:
    """What is expected by the yard's own record, where there is one, else by the prior."""
    return tuple(models[-1].quantile(q, bands) for q in (0.1, 0.5, 0.9))


def _own(earlier: list[Reading], showing, dates, traits, numbers) -> list[tuple[int, float]]:
    """(likeliest band, beetles in 14 days) of earlier counts that can be compared."""
    return [
        (int(np.argmax(_bands(r.count, showing, dates, traits, numbers))), r.per_14_d)
        for r in earlier
        if r.share is not None and not r.why and not r.count.larvae
    ]


def _verdict(count: Count, reasons, number: float, share: float | None, numbers: Numbers) -> str:
    if count.larvae:
        return "larvae"
    if reasons:
        return "colony"
    if np.isnan(number):
        return "period"
    if share is None:
        return "no weather"
    if number <= numbers["beetle.few"]:
        return "ordinary"
    if share > numbers["beetle.unusual_share"]:
        return "unusual"
    over = number > numbers["beetle.ceiling"]
    return "high" if over or share > numbers["beetle.usual_share"] else "ordinary"


def _bands(count: Count, showing, dates, traits: Traits, numbers: Numbers) -> np.ndarray | None:
    """Chances of a low, moderate, high stock while the tray lay; None where it is not known."""
    first = count.date - max(count.days, 1) * DAY
    inside = (dates >= first) & (dates < count.date)
    behind = dates[0] + numbers["beetle.behind_d"] * DAY
    if count.date < behind or inside.sum() < int(count.days):
        return None
    stock = showing[:, inside].mean(axis=1)
    return band_chances(stock, traits, numbers)


def band_chances(stock: np.ndarray, traits: Traits, numbers: Numbers) -> np.ndarray:
    """Share of the draws in which the stock (or the pressure) is low, moderate, high."""
    edges = numbers["beetle.moderate_from"], numbers["beetle.high_from"]
    above = [(stock >= edge + traits.edge_shift).mean() for edge in edges]
    return np.array([1 - above[0], above[0] - above[1], above[1]])
