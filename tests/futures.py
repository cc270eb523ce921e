"""Futures of yards that exist nowhere, for the rooms of advice: made by hand or by the model's prior."""

import numpy as np
import pandas as pd

from flowcast.advice.ahead import HiveAhead
from flowcast.flow.days import Days, calendar, dates_of, day_number, month_mean
from flowcast.flow.fit import fit_flow
from flowcast.flow.plants import Plant
from flowcast.flow.prior import draw_ensemble
from flowcast.flow.scenarios import Future, simulate
from flowcast.numbers import load_numbers
from flowcast.tables import Place

NUMBERS = load_numbers()
NONE = pd.DataFrame({"days": [], "gain_kg": [], "gain_sd_kg": []}, index=dates_of(np.zeros(0)))


def plain_ahead(gain_kg, first="2025-05-01", rows=40, intake_kg=None):
    """The same course of gains in every future, with nothing unknown of today."""
    gain = np.tile(np.asarray(gain_kg, float), (rows, 1))
    intake = np.maximum(gain, 0.0) if intake_kg is None else np.tile(intake_kg, (rows, 1))
    dates = pd.date_range(first, periods=gain.shape[1])
    return HiveAhead(dates, gain, intake, np.zeros(rows))


def months_course(monthly, dates):
    """Monthly means as a daily course, in lines between the middles of the months."""
    middles = (np.arange(12) + 0.5) * 365.25 / 12
    return np.interp(dates.dayofyear, middles, monthly, period=365.25)


def temperatures(monthly, dates, rows, seed=5):
    """Daily means (rows, days) that stray from the course with a memory of some days."""
    rng = np.random.default_rng(seed)
    noise = rng.normal(0, 2.2, (rows, len(dates) + 30))
    strayed = np.array([np.convolve(row, 0.8 ** np.arange(20))[: len(row)] for row in noise])
    return months_course(monthly, dates) + 0.6 * strayed[:, 30:]


def prior_futures(first, days, monthly, plants, latitude, count=300):
    """Futures by the published prior, without any log; also their temperatures and brooding."""
    place = Place(latitude, 15.0, 300.0, "UTC", (1, 1) if latitude > 0 else (7, 1))
    dates = pd.date_range(first, periods=days)
    temp = temperatures(monthly, dates, 12)
    month = month_mean(np.hstack([np.tile(temp[:, :1], (1, 30)), temp]))[:, 30:]
    hours = np.clip((temp + 5.0 - 11.0) / 2.0, 0.0, 8.0)  # flight from a highest of 11 °C on
    season, day = calendar(dates, place)

    def over(values):
        return np.tile(values, (12, 1))

    all_days = Days(
        over(day_number(dates)), over(season), over(day), over(day), hours, temp, month,
        np.full(temp.shape, 0.6),
    )  # fmt: skip
    flight = np.clip(
        (months_course(monthly, pd.date_range("2024-01-01", periods=366)) - 6) / 2, 0, 8
    )
    if latitude < 0:
        flight = np.roll(flight, -182)
    ensemble = draw_ensemble(plants, flight, NUMBERS, np.random.default_rng(1))
    nothing = Days(*(getattr(all_days, name)[0, :0] for name in all_days.__dataclass_fields__))
    model = fit_flow(NONE, nothing, ensemble, NUMBERS)
    future = Future(all_days, temp * 0, tuple(str(y) for y in range(2013, 2025)), np.zeros(12, int))
    drawn = simulate(model, future, NUMBERS, np.random.default_rng(2), count, daily_d=45, copies=1)
    low, high = NUMBERS["flow.brood_from_c"], NUMBERS["flow.brood_full_c"]
    brooding = np.clip((month - low) / (high - low), 0, 1)
    return drawn, temp[drawn.weather], brooding[drawn.weather], hours[drawn.weather]


def plant(name, first, last, strength, latitude=48.0):
    """A plant whose bloom is given in calendar dates of the yard."""
    place = Place(latitude, 15.0, 300.0, "UTC", (1, 1) if latitude > 0 else (7, 1))
    day = calendar(pd.DatetimeIndex([f"2024-{first}", f"2024-{last}"]), place)[1]
    return Plant(name, float(day[0]), float(day[1]), strength, "dates")
