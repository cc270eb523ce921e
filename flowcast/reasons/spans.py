"""The same dates of every year, and a figure of one of them against the others."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from flowcast.numbers import Numbers

STRANGEST = 9.0


@dataclass(frozen=True)
class Against:
    """A figure of the span asked about, beside the same dates of the yard's other years.

    usual: their mean; low, high: the range of 8 in 10; all NaN without another year. rank: 1 when no
    other year has more, 0 when it is not known. years: how many there are, this one counted.
    """

    now: float
    usual: float
    low: float
    high: float
    rank: int
    years: int

    @property
    def more(self) -> float:
        """Beyond the usual; below it negative."""
        return self.now - self.usual

    @property
    def side(self) -> int:
        """+1 above the range of 8 years in 10, -1 below it, 0 within it or without one."""
        return int(self.now > self.high) - int(self.now < self.low)

    @property
    def strangeness(self) -> float:
        """How far off the usual, against the end of that range on its side; 0 without one. [1]

        Where all other years are alike, what is not like them is as strange as can be.
        """
        half = self.high - self.usual if self.more > 0 else self.usual - self.low
        if not np.isfinite(half) or not self.more:
            return 0.0
        return float(self.more / half) if half > 0 else float(np.sign(self.more) * STRANGEST)


def same_dates(
    daily: pd.DataFrame, first: pd.Timestamp, last: pd.Timestamp, numbers: Numbers
) -> dict[int, pd.DataFrame]:
    """As many days from the same date on in each year that has them, by the year they begin in.

    A year with more than reasons.missing_share of its days missing is left out, the year asked
    about is not.
    """
    whole = daily["foraging_h"].notna()
    spans, length = {}, (last - first).days + 1
    for year in range(daily.index[0].year - 1, daily.index[-1].year + 1):
        days = pd.date_range(first + pd.DateOffset(years=year - first.year), periods=length)
        part = daily.reindex(days)
        known = whole.reindex(days, fill_value=False).mean()
        if year == first.year or known >= 1 - numbers["reasons.missing_share"]:
            spans[year] = part
    return spans


def known_sum(values: pd.Series | np.ndarray, numbers: Numbers) -> float:
    """Sum over days as if all were known; NaN where more than reasons.missing_share are not."""
    values = np.asarray(values, float)
    known = np.isfinite(values)
    share = known.mean() if len(values) else 0.0
    if share < 1 - numbers["reasons.missing_share"]:
        return np.nan
    return float(np.where(known, values, 0.0).sum() / share)


def against(values: dict[int, float], year: int) -> Against:
    """One year's figure against the others'."""
    now = values[year]
    if not np.isfinite(now):
        return Against(np.nan, np.nan, np.nan, np.nan, 0, 1)
    others = np.array([v for y, v in values.items() if y != year and np.isfinite(v)])
    rank = 1 + int((others > now).sum())
    if not len(others):
        return Against(now, np.nan, np.nan, np.nan, 1, 1)
    low, high = np.quantile(others, [0.1, 0.9])
    return Against(now, float(others.mean()), float(low), float(high), rank, len(others) + 1)
