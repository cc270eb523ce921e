"""The same outlooks through general-purpose forecasters that a user might reach for: one table.

    python scripts/measure_peers.py YARD [YARD ...] [--every 28] [--days 337]

Yards with truth/gain-<hive>.csv, as for measure_outlook.py. Every forecaster but the last learns from the same
cleaned log, knows the same weather as it came over the days ahead (an upper bound for all alike),
and is scored against the same truth: twice the mean pinball loss. Beside flowcast: a seasonal
regression with ARIMA errors and weather (statsmodels) and gradient-boosted quantile regression
(scikit-learn), whose totals join the days by a rank correlation of 0.95 a day; and such a regression
that learns once, from the true gains of the log before the last year, with the gains up to each
issue date as features: a season left out is then left out of the learning altogether.
"""

from __future__ import annotations

import argparse
import sys
import warnings
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
import pandas as pd
from measure_outlook import HORIZON, _scores, truth_of

from flowcast import pipeline
from flowcast.tables import QUANTILE_NAMES, QUANTILES

WEATHER = ["foraging_h", "temp_mean_c", "soil_water_frac", "precip_mm"]
RANK_A_DAY = 0.95
DRAWS = 400
LEADS = range(1, HORIZON + 1)
RECENT = {
    "week": (7, 3),
    "fortnight": (14, 5),
    "month": (30, 8),
}  # days, and how many known at least


def features(daily: pd.DataFrame) -> pd.DataFrame:
    """Weather and season of each day, as a general-purpose forecaster would take them."""
    angle = 2 * np.pi * daily.index.dayofyear.to_numpy() / 365.25
    return daily[WEATHER].assign(
        sin=np.sin(angle),
        cos=np.cos(angle),
        sin2=np.sin(2 * angle),
        cos2=np.cos(2 * angle),
        reach=daily["foraging_h"] * np.sqrt(daily["soil_water_frac"].clip(lower=0)),
    )


def arima(gains: pd.Series, past: pd.DataFrame, ahead: pd.DataFrame):
    """Regression on weather and season with ARIMA(1,0,1) errors: normal quantiles of days and totals."""
    from statsmodels.tsa.statespace.sarimax import SARIMAX

    x = past.reindex(gains.index)
    middle, spread = x.mean(), x.std() + 1e-9
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # its own words on convergence; the scores judge it
        model = SARIMAX(
            gains.to_numpy(float),
            exog=((x - middle) / spread).fillna(0).to_numpy(),
            order=(1, 0, 1),
            trend="c",
        )
        fitted = model.fit(disp=False, maxiter=50)
        future = ((ahead - middle) / spread).fillna(0).to_numpy()
        runs = fitted.simulate(
            len(ahead), anchor="end", repetitions=DRAWS, exog=future, rng=1
        ).reshape(len(ahead), -1)
    return np.quantile(runs, QUANTILES, axis=1).T, np.quantile(runs.cumsum(0), QUANTILES, axis=1).T


def boosted(gains: pd.Series, past: pd.DataFrame, ahead: pd.DataFrame):
    """Gradient-boosted quantile regression on weather, season, the last week's gain and the lead."""
    from sklearn.ensemble import HistGradientBoostingRegressor

    week = gains.rolling(7, min_periods=3).mean()
    rows = []
    for lead in (1, 3, 7, 14, 28):
        frame = past.reindex(gains.index).assign(
            week=week.shift(lead).to_numpy(), lead=lead, gain=gains.to_numpy()
        )
        rows.append(frame.dropna(subset=["gain"]))
    table = pd.concat(rows)
    asked = ahead.assign(week=week.dropna().iloc[-1], lead=np.arange(1, len(ahead) + 1))
    x = table.drop(columns="gain")
    daily = []
    for q in QUANTILES:
        model = HistGradientBoostingRegressor(
            loss="quantile", quantile=q, max_iter=120, max_leaf_nodes=15, min_samples_leaf=60,
            learning_rate=0.08, random_state=1,
        )  # fmt: skip
        daily.append(model.fit(x, table["gain"]).predict(asked[x.columns]))
    daily = np.sort(np.array(daily).T, axis=1)
    return daily, _totals(daily)


class BoostedOnce:
    """Gradient-boosted quantile regression that has learned from true gains up to a date, and no later."""

    def __init__(self, truth: pd.Series, daily: pd.DataFrame, until: pd.Timestamp):
        """Learn from the gains before `until`; `daily` is the weather of the past and the days ahead."""
        from sklearn.ensemble import HistGradientBoostingRegressor

        self.truth, self.weather = truth, self._weather(daily)
        gains = truth[truth.index < until]
        lagged = self._recent(gains)
        rows = [
            self.weather.reindex(gains.index).assign(
                **{name: values.shift(lead) for name, values in lagged.items()},
                lead=lead,
                gain=gains,
            )
            for lead in LEADS
        ]
        table = pd.concat(rows).dropna(subset=["gain"])
        x = table.drop(columns="gain")
        self.models = [
            HistGradientBoostingRegressor(
                loss="quantile", quantile=q, max_iter=150, max_leaf_nodes=15, min_samples_leaf=400,
                random_state=1,
            ).fit(x, table["gain"])
            for q in QUANTILES
        ]  # fmt: skip

    def at(self, issue: pd.Timestamp):
        """Quantiles of days and totals from this date on, from the gains before it."""
        now = self._recent(self.truth[self.truth.index < issue])
        asked = self.weather.reindex(pd.date_range(issue, periods=HORIZON)).assign(
            **{name: values.iloc[-1] for name, values in now.items()}, lead=LEADS
        )
        daily = np.sort(np.array([model.predict(asked) for model in self.models]).T, axis=1)
        return daily, _totals(daily)

    @staticmethod
    def _weather(daily: pd.DataFrame) -> pd.DataFrame:
        warmth = (daily["temp_mean_c"] - 8.0).clip(lower=0)
        degree_days = warmth.groupby(daily.index.year).cumsum()
        more = ["temp_max_c", "rh_pct", "wind_ms", "ghi_wm2"]
        return daily[WEATHER + more].assign(day=daily.index.dayofyear, degree_days=degree_days)

    def _recent(self, gains: pd.Series) -> dict[str, pd.Series]:
        means = {
            name: gains.rolling(days, min_periods=least).mean()
            for name, (days, least) in RECENT.items()
        }
        return {"last": gains.ffill(limit=3)} | means


def _totals(daily: np.ndarray) -> np.ndarray:
    """Quantiles of running totals: days drawn from their quantiles, in step with their neighbours."""
    from scipy.signal import lfilter
    from scipy.stats import norm

    rng = np.random.default_rng(1)
    fresh = rng.standard_normal((DRAWS, len(daily)))
    fresh[:, 1:] *= np.sqrt(1 - RANK_A_DAY**2)
    ranks = norm.cdf(lfilter([1.0], [1.0, -RANK_A_DAY], fresh, axis=1))
    days = np.array([np.interp(ranks[:, t], QUANTILES, row) for t, row in enumerate(daily)])
    return np.quantile(days.cumsum(0), QUANTILES, axis=1).T


PEERS = {"arima with weather": arima, "boosted quantiles": boosted}
ONCE = "boosted, learned once"


def measure(folder: Path, every: int, days: int) -> pd.DataFrame:
    """One row a forecaster, issue date and lead group."""
    truth = truth_of(folder)
    sources = pipeline.read_sources(folder)
    whole = pipeline.known_before(sources, truth.index[-1] + pd.Timedelta(days=1)).daily
    last = truth.index[-1] - pd.Timedelta(days=HORIZON - 1)
    rows, begun = [], pipeline.known_before(sources, last).spans.index[0]
    left_out = truth.index[-1] - pd.Timedelta(days=365)
    once = BoostedOnce(truth[truth.index >= begun], whole, left_out) if begun < left_out else None
    for issue in pd.date_range(end=last, periods=days // every, freq=f"{every}D"):
        record = pipeline.known_before(sources, issue)
        dates = pd.date_range(issue, periods=HORIZON)
        obs, ahead = truth.reindex(dates).to_numpy(), whole.reindex(dates)
        gains = record.spans[record.spans["days"] == 1]["gain_kg"]
        gains = gains.reindex(pd.date_range(gains.index[0], issue - pd.Timedelta(days=1)))
        past, future = features(record.daily), features(ahead)
        found = {name: peer(gains, past, future) for name, peer in PEERS.items()}
        if once is not None:
            found[ONCE] = once.at(issue)
        read = pipeline.outlook_from(record, ahead=ahead, horizon=HORIZON).outlook
        found["flowcast"] = [t[list(QUANTILE_NAMES)].to_numpy() for t in (read.daily, read.total)]
        for name, (daily, total) in found.items():
            rows += [
                {"yard": folder.name, "forecaster": name} | row
                for row in _scores(daily, total, obs)
            ]
    return pd.DataFrame(rows)


def main() -> None:
    """Measure, and print losses by yard and flowcast's ratio to each peer."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("yards", nargs="+", type=Path)
    parser.add_argument("--every", type=int, default=28)
    parser.add_argument("--days", type=int, default=337)
    parser.add_argument("--processes", type=int, default=2)
    options = parser.parse_args()
    with ProcessPoolExecutor(options.processes) as pool:
        jobs = [pool.submit(measure, y, options.every, options.days) for y in options.yards]
        parts = []
        for job, yard in zip(jobs, options.yards, strict=True):
            parts.append(job.result())
            print(f"{yard.name}: done", file=sys.stderr, flush=True)
    rows = pd.concat(parts)
    pd.set_option("display.width", 160, "display.max_rows", 500, "display.max_columns", 20)
    loss = rows.groupby(["yard", "group", "forecaster"], sort=False)["loss"].mean().unstack()
    print(loss.round(3).to_string())
    peers = [name for name in (*PEERS, ONCE) if name in loss]
    ratio = np.log(loss[["flowcast"]].to_numpy() / loss[peers])
    print("\nloss of flowcast as a ratio, geometric mean over yards")
    print(np.exp(ratio.groupby("group", sort=False).mean()).round(3).to_string())
    print("\n10-90 % coverage, pooled")
    print(rows.groupby(["group", "forecaster"], sort=False)["inside"].mean().unstack().round(3))


if __name__ == "__main__":
    main()
