"""Simple forecasters of daily gain that a real one must beat: the named baselines of every skill.

Each takes the yard's daily gains up to the day before the issue date (Series by local date, NaN
where unknown) and gives quantiles of the daily gain and of the running total, shape (days, levels).
"""

import numpy as np
import pandas as pd


def climatology(
    gains: pd.Series, dates: pd.DatetimeIndex, quantiles
) -> tuple[np.ndarray, np.ndarray]:
    """Past gains within 10 days of the calendar date; totals from the same stretch of past years."""
    daily = np.array([np.quantile(_near(gains, d), quantiles) for d in dates])
    runs = [_run(gains, dates, years) for years in range(1, 12)]
    runs = [r for r in runs if r is not None]
    if not runs:
        return daily, np.cumsum(daily, axis=0)
    return daily, np.quantile(np.cumsum(runs, axis=1), quantiles, axis=0).T


def persistence(
    gains: pd.Series, dates: pd.DatetimeIndex, quantiles
) -> tuple[np.ndarray, np.ndarray]:
    """The spread of the last 7 days, for ever; totals grow with it."""
    recent = gains.dropna().iloc[-7:]
    recent = recent if len(recent) else pd.Series([0.0])
    level = np.quantile(recent, quantiles)
    days = np.arange(1, len(dates) + 1)[:, None]
    return np.tile(level, (len(dates), 1)), level[None, :] * days


def damped_blend(
    gains: pd.Series, dates: pd.DatetimeIndex, quantiles
) -> tuple[np.ndarray, np.ndarray]:
    """Climatology moved by last week's departure from it, fading over 10 days."""
    daily, total = climatology(gains, dates, quantiles)
    week = gains.dropna().iloc[-7:]
    usual = [np.median(_near(gains[gains.index < week.index[0]], d)) for d in week.index]
    fade = np.exp(-np.arange(len(dates)) / 10.0)[:, None] * (week.mean() - np.mean(usual))
    return daily + fade, total + np.cumsum(fade, axis=0)


BASELINES = {"climatology": climatology, "persistence": persistence, "damped blend": damped_blend}


def _near(gains: pd.Series, date: pd.Timestamp, width: int = 10) -> np.ndarray:
    """Gains within `width` days of this calendar date in the years before; all of them if none."""
    away = (gains.index.dayofyear - date.dayofyear + 183) % 366 - 183
    values = gains[np.abs(away) <= width].dropna().to_numpy()
    if not len(values):
        values = gains.dropna().to_numpy()
    return values if len(values) else np.zeros(1)


def _run(gains: pd.Series, dates: pd.DatetimeIndex, years: int) -> np.ndarray | None:
    then = dates - pd.DateOffset(years=years)
    values = gains.reindex(then)
    if values.notna().mean() < 0.8:
        return None
    return values.fillna(values.mean()).to_numpy()
