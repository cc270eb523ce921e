"""The days a flow model looks at: one set of columns for the past, for scenarios, for tests."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
import pandas as pd

from flowcast.numbers import Numbers
from flowcast.tables import Place
from flowcast.weather import (
    Normals,
    pheno_day,
    phenological_lead,
    season_day,
    season_start_year,
)

EPOCH = pd.Timestamp("2000-01-01")


@dataclass(frozen=True)
class Days:
    """Arrays of one shape, (days,) for a record or (scenarios, days) for futures.

    time: days since 2000-01-01. season: the year in which the day's season began.
    season_day: whole days since the season's start. pheno_day: the season day on which this much
    warmth is normally reached. foraging_h: foraging hours. temp_c: daily mean temperature.
    month_temp_c: its mean over the 30 days up to then. soil_frac: soil water, 0 to 1. washed: how far
    the rain of the day before washed the flowers out, 0 to 1 (0 when not given). showered: the same of
    the day's own rain. yard: 0 for the yard itself (also when not given), 1 and on for the other yards it
    learns from.
    """

    time: np.ndarray
    season: np.ndarray
    season_day: np.ndarray
    pheno_day: np.ndarray
    foraging_h: np.ndarray
    temp_c: np.ndarray
    month_temp_c: np.ndarray
    soil_frac: np.ndarray
    washed: np.ndarray | None = None
    showered: np.ndarray | None = None
    yard: np.ndarray | None = None

    def __post_init__(self):
        for name, kind in (("washed", float), ("showered", float), ("yard", int)):
            if getattr(self, name) is None:
                object.__setattr__(self, name, np.zeros(np.shape(self.time), kind))

    def __len__(self) -> int:
        return self.time.shape[-1]

    @property
    def whole(self) -> np.ndarray:
        """True on days whose weather is known as far as the season asks for it."""
        return np.isfinite(self.soil_frac + self.temp_c)

    def take(self, keep) -> Days:
        """The days for which `keep` (a mask or index of the last axis) holds."""
        return Days(*(getattr(self, f.name)[..., keep] for f in fields(self)))

    def of_yard(self, yard: int) -> Days:
        """The same days as those of another yard."""
        return replace(self, yard=np.full(np.shape(self.time), yard))

    def flat(self) -> Days:
        """Every day of every scenario in one row."""
        return Days(*(getattr(self, f.name).ravel() for f in fields(self)))


def joined(parts: Sequence[Days]) -> Days:
    """The days of all parts in one row."""
    if len(parts) == 1:
        return parts[0]
    return Days(*(np.concatenate([getattr(p, f.name) for p in parts]) for f in fields(Days)))


def day_number(dates: pd.DatetimeIndex) -> np.ndarray:
    """Whole days since 2000-01-01."""
    return ((dates - EPOCH) / pd.Timedelta(days=1)).to_numpy(float)


def dates_of(numbers: np.ndarray) -> pd.DatetimeIndex:
    """Local dates of such day numbers."""
    return pd.DatetimeIndex(EPOCH + pd.to_timedelta(numbers, unit="D"))


def month_mean(temp_c: np.ndarray, days: int = 30) -> np.ndarray:
    """Mean of the last `days` values up to each day, fewer at the start; NaN is passed over."""
    rolled = pd.DataFrame(np.atleast_2d(temp_c).T).rolling(days, min_periods=1).mean()
    return rolled.to_numpy().T.reshape(np.shape(temp_c))


def washed_by(rain_mm: np.ndarray, numbers: Numbers) -> np.ndarray:
    """How far a day's rain washes flowers out, for the day itself and the next, 0 to 1; unknown rain not
    at all."""
    rain_mm = np.nan_to_num(rain_mm)
    return rain_mm / (rain_mm + numbers["flow.wash_half_mm"])


def calendar(dates: pd.DatetimeIndex, place: Place) -> tuple[np.ndarray, np.ndarray]:
    """(season, season_day) of local dates."""
    return (
        np.asarray(season_start_year(dates, place.season_start)),
        np.asarray(season_day(dates, place.season_start), dtype=float),
    )


def days_of(daily: pd.DataFrame, normals: Normals, place: Place, numbers: Numbers) -> Days:
    """A record's days from the daily table (columns of `tables.SEASON_DAY` but pheno_lead_d).

    The lead is taken against `normals`, so it knows no more than they do.
    """
    season, day = calendar(daily.index, place)
    lead = phenological_lead(daily.index, daily["warmth_cd"].to_numpy(), normals, numbers)
    return Days(
        time=day_number(daily.index),
        season=season,
        season_day=day,
        pheno_day=np.asarray(pheno_day(daily.index, lead, place.season_start, place, numbers)),
        foraging_h=daily["foraging_h"].to_numpy(float),
        temp_c=daily["temp_mean_c"].to_numpy(float),
        month_temp_c=month_mean(daily["temp_mean_c"].to_numpy(float)),
        soil_frac=daily["soil_water_frac"].to_numpy(float),
        washed=washed_by(daily["precip_mm"].shift(1).to_numpy(float), numbers),
        showered=washed_by(daily["precip_mm"].to_numpy(float), numbers),
    )
