"""Hourly weather with holes as complete hourly weather, every filled value counted.

Short holes are bridged between their neighbours, quantities that no source gives are computed
from those it does give, and what cannot be told stays missing. An hour that is bridged knows the
next measured one, at most `weather.max_gap_h` away; apart from that nothing looks ahead.
"""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from flowcast.messages import Amount, Note
from flowcast.tables import WEATHER, require_columns
from flowcast.weather.daily import daily_weather
from flowcast.weather.days import day_starts, local_dates
from flowcast.weather.hours import dewpoint_from_minimum
from flowcast.weather.humidity import dewpoint, relative_humidity
from flowcast.weather.sun import (
    clear_sky_ghi,
    extraterrestrial_radiation,
    ghi_from_cloud,
    ghi_from_range,
)

LINEAR = ("temp_c", "rh_pct", "dewpoint_c", "wind_ms", "cloud_pct", "pressure_hpa")
LINEAR_SOIL = ("soil_temp_c", "soil_moisture_m3m3")


@dataclass(frozen=True)
class Weather:
    """Complete weather of a yard.

    Attributes
    ----------
    hourly : pandas.DataFrame
        Columns of `flowcast.tables.WEATHER` and clear_ghi_wm2, every hour from first to last;
        UTC stamps at the END of each hour.
    daily : pandas.DataFrame
        As `daily_weather` gives it: one row a local day.
    notes : list of Note
        What was computed or filled, and how much.
    missing_days : pandas.DatetimeIndex
        Local days between the first and the last whole one that could not be completed.
    """

    hourly: pd.DataFrame
    daily: pd.DataFrame
    notes: list[Note]
    missing_days: pd.DatetimeIndex


def complete_weather(hourly, place, numbers):
    """Weather on every hour, completed by stated rules.

    Parameters
    ----------
    hourly : pandas.DataFrame
        Any of the columns of `flowcast.tables.WEATHER`, temp_c and precip_mm among them; UTC
        stamps at the END of each hour, in order, none twice. Rows and values may be missing.
    place : flowcast.tables.Place
        The yard.
    numbers : flowcast.numbers.Numbers
        Groups weather and soil.

    Returns
    -------
    Weather

    Raises
    ------
    MissingColumnError
        When temp_c or precip_mm is not there.

    Notes
    -----
    - Holes of up to weather.max_gap_h hours with a value on either side are bridged in a line,
      radiation as a share of the clear sky. Rain is never made up: such a hole counts as dry
      when both its neighbours are dry, otherwise its day is missing.
    - Humidity and dew point come from each other; where neither is given, from the lowest
      temperature of the local day (`dewpoint_from_minimum`).
    - Radiation comes from cloud cover (`ghi_from_cloud`), where that is missing from the day's
      temperature range (`ghi_from_range`).
    - Wind is the mean of the yard's wind up to then, without any weather.wind_default_ms.
    """
    require_columns(hourly, ["temp_c", "precip_mm"], where="weather")
    draft = _on_the_grid(hourly, place, numbers)
    if len(draft.index):
        _derive_humidity(draft)
        _bridge(draft)
        _derive_humidity(draft)
        _fill_humidity(draft)
        _fill_radiation(draft)
        _fill_wind(draft)
        _say_what_is_missing(draft)
    table = pd.DataFrame(draft.values, index=draft.index)
    daily = daily_weather(table, place, numbers)
    missing = daily.index[daily["temp_mean_c"].isna()]
    if len(missing):
        draft.tell("days_missing", n=len(missing))
    return Weather(table, daily, draft.notes, missing)


@dataclass
class _Draft:
    """The table in the making: plain arrays, which hours stood in no row, and the notes so far."""

    index: pd.DatetimeIndex
    values: dict[str, np.ndarray]
    place: object
    numbers: object
    given: set[str]
    absent: np.ndarray
    notes: list[Note] = field(default_factory=list)

    def tell(self, key, **fields):
        """Add a note."""
        self.notes.append(Note.of(f"completed.{key}", **fields))

    def fill(self, name, where, values):
        """Put values where they are wanted and can be had; how many there were."""
        where = where & ~np.isnan(values)
        self.values[name] = np.where(where, values, self.values[name])
        return int(where.sum())

    def missing(self, name):
        """Where a quantity is still missing."""
        return np.isnan(self.values[name])

    def day_extremes(self):
        """Lowest and highest temperature of each local day, and the day of each hour."""
        starts, days = day_starts(local_dates(self.index, self.place.timezone))
        temp = self.values["temp_c"]
        day = np.repeat(np.arange(len(days)), np.diff(np.r_[starts, len(temp)]))
        low, high = np.fmin.reduceat(temp, starts), np.fmax.reduceat(temp, starts)
        return pd.Series(low, days), pd.Series(high, days), day


def _on_the_grid(hourly, place, numbers):
    """The table on every full UTC hour from its first stamp to its last."""
    notes = []
    hourly = hourly[[name for name in WEATHER if name in hourly]]
    given = {name for name in hourly if hourly[name].notna().any()}
    stamps = hourly.index.ceil("h")
    if not stamps.equals(hourly.index):
        hourly = _gathered(hourly, stamps)
        notes.append(Note.of("completed.gathered"))
    full = hourly.index[:0]
    if len(hourly):
        full = pd.date_range(hourly.index[0], hourly.index[-1], freq="h")
    if len(full) > len(hourly):
        absent = len(full) - len(hourly)
        notes.append(Note.of("completed.hours_absent", n=absent, all=Amount(len(full))))
    table = hourly.reindex(index=full.rename("time"), columns=list(WEATHER)).astype(float)
    values = {name: table[name].to_numpy(copy=True) for name in WEATHER}
    values["rh_pct"] = np.minimum(values["rh_pct"], 100)
    values["clear_ghi_wm2"] = (
        clear_sky_ghi(table.index, place).to_numpy() if len(full) else np.array([])
    )
    absent = ~full.isin(hourly.index)
    return _Draft(table.index, values, place, numbers, given, absent, notes)


def _gathered(hourly, stamps):
    hours = hourly.groupby(stamps)
    table = hours.mean()
    table["precip_mm"] = hours["precip_mm"].sum(min_count=1)
    return table


def _derive_humidity(draft):
    """Humidity and dew point from each other wherever one of them is given."""
    temp, humidity, dew = (draft.values[n] for n in ("temp_c", "rh_pct", "dewpoint_c"))
    made = draft.fill("rh_pct", np.isnan(humidity), relative_humidity(temp, dew))
    draft.fill("dewpoint_c", np.isnan(dew), dewpoint(temp, humidity))
    if made and "rh_pct" not in draft.given:
        draft.tell("humidity_from_dew_point")
        draft.given.add("rh_pct")
    elif made:
        draft.tell("some_humidity_from_dew_point", n=made)


def _bridge(draft):
    """Short holes bridged between their neighbours."""
    longest = int(draft.numbers["weather.max_gap_h"])
    filled = {}
    for name in (*LINEAR, *LINEAR_SOIL):
        values = draft.values[name]
        filled[name] = draft.fill(name, short_holes(values, longest), _in_a_line(values))
    filled["ghi_wm2"] = _bridge_radiation(draft, longest)
    filled["precip_mm"] = _bridge_rain(draft, longest)
    told = tuple(
        Note.of("completed.quantity_of_hours", quantity=_name(name), n=n)
        for name, n in filled.items()
        if n
    )
    if told:
        draft.tell("bridged", hours=str(longest), what=told)


def short_holes(values, longest):
    """Where an array is missing for at most so many values, with a known one on either side.

    Parameters
    ----------
    values : numpy.ndarray, shape (n,)
        NaN where missing.
    longest : int
        Most values in a row that still make a short hole.

    Returns
    -------
    numpy.ndarray of bool, shape (n,)
    """
    edges = np.diff(np.r_[False, np.isnan(values), False].astype(np.int8))
    begins, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    short = (ends - begins <= longest) & (begins > 0) & (ends < len(values))
    marks = np.zeros(len(values) + 1, np.int8)
    marks[begins[short]], marks[ends[short]] = 1, -1
    return np.cumsum(marks[:-1]).astype(bool)


def _in_a_line(values):
    known = np.flatnonzero(~np.isnan(values))
    if not len(known):
        return values
    return np.interp(np.arange(len(values)), known, values[known])


def _bridge_radiation(draft, longest):
    """Radiation bridged as a share of the clear sky: a line through the night would be light."""
    ghi, clear = draft.values["ghi_wm2"], draft.values["clear_ghi_wm2"]
    # At dawn both are near nothing and their ratio is wild: only light that counts tells the share.
    share = np.divide(ghi, clear, out=np.full_like(ghi, np.nan), where=clear > 1.0)
    share = np.minimum(share, 1)
    return draft.fill("ghi_wm2", short_holes(ghi, longest), clear * _in_a_line(share))


def _bridge_rain(draft, longest):
    rain = draft.values["precip_mm"]
    before = pd.Series(rain).ffill().to_numpy()
    after = pd.Series(rain).bfill().to_numpy()
    dry = short_holes(rain, longest) & (before == 0) & (after == 0)
    return draft.fill("precip_mm", dry, np.zeros_like(rain))


def _fill_humidity(draft):
    """Humidity from the lowest temperature of the day, where nothing tells it."""
    wanted = draft.missing("rh_pct")
    if not wanted.any():
        return
    low, high, day = draft.day_extremes()
    dew = np.minimum(
        dewpoint_from_minimum(low, high, draft.numbers).to_numpy()[day], draft.values["temp_c"]
    )
    draft.fill("dewpoint_c", wanted, dew)
    made = draft.fill("rh_pct", wanted, relative_humidity(draft.values["temp_c"], dew))
    _tell_computed(draft, "rh_pct", made, "humidity_from_lowest")


def _tell_computed(draft, name, made, how):
    if made and name not in draft.given:
        draft.tell(how)
    elif made:
        draft.tell(f"some_{how}", n=made)


def _name(column):
    return Note.of(f"weather_columns.{column}")


def _fill_radiation(draft):
    """Radiation from cloud cover, then from the day's temperature range."""
    clear, numbers = draft.values["clear_ghi_wm2"], draft.numbers
    from_cloud = ghi_from_cloud(clear, draft.values["cloud_pct"], numbers)
    made = draft.fill("ghi_wm2", draft.missing("ghi_wm2"), from_cloud)
    _tell_computed(draft, "ghi_wm2", made, "radiation_from_cloud")
    if not draft.missing("ghi_wm2").any():
        return
    made = draft.fill("ghi_wm2", draft.missing("ghi_wm2"), _ghi_from_range(draft))
    if "cloud_pct" in draft.given:
        draft.given.add("ghi_wm2")  # cloud told most of it: count what is left
    _tell_computed(draft, "ghi_wm2", made, "radiation_from_range")


def _ghi_from_range(draft):
    low, high, day = draft.day_extremes()
    above = extraterrestrial_radiation(low.index, draft.place.latitude)
    mean = ghi_from_range((high - low).to_numpy(), above, draft.numbers)
    clear = draft.values["clear_ghi_wm2"]
    clear_mean = np.bincount(day, clear) / np.bincount(day)
    share = np.divide(mean, clear_mean, out=np.zeros_like(mean), where=clear_mean > 0)
    ghi = clear * np.minimum(share, 1)[day]
    return np.where(np.isnan(draft.values["temp_c"]), np.nan, ghi)


def _fill_wind(draft):
    """Wind where the hour is known but for it: the yard's mean up to then, else the default."""
    default = draft.numbers["weather.wind_default_ms"]
    known = ~draft.missing("temp_c") & ~draft.missing("precip_mm")
    typical = pd.Series(draft.values["wind_ms"]).expanding().mean().fillna(default).to_numpy()
    made = draft.fill("wind_ms", draft.missing("wind_ms") & known, typical)
    if "wind_ms" in draft.given:
        _tell_computed(draft, "wind_ms", made, "wind_as_mean")
    elif made:
        draft.tell("wind_as_usual", speed=f"{default:g} m/s")


def _say_what_is_missing(draft):
    """What rows lack; the hours that have no row were told of already."""
    for name in ("temp_c", "precip_mm"):
        lost = int((draft.missing(name) & ~draft.absent).sum())
        if lost:
            draft.tell("not_filled", quantity=_name(name), n=lost)
