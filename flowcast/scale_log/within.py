"""What a day looks like from inside: foragers leaving, nectar coming in, weight lost by night."""

from collections.abc import Iterator

import numpy as np
import pandas as pd
from scipy.special import ndtri

from flowcast.numbers import Numbers
from flowcast.scale_log.log import CleanLog, dates_of, hours_of, wall_hours_of

COLUMNS = [
    "departure_kg", "departure_sd_kg", "lowest_h", "intake_kg", "intake_sd_kg",
    "night_loss_kg", "night_loss_sd_kg",
]  # fmt: skip


def within_days(log: CleanLog, timezone: str, numbers: Numbers) -> pd.DataFrame:
    """Departure dip, day intake and night loss of each day that was read often enough.

    Parameters
    ----------
    log : CleanLog
        Of a scale; hand weighings give an empty table.
    timezone : str
        The yard's.
    numbers : Numbers
        Group scale_log: a night lasts from `evening_start_h` to `night_end_h`.

    Returns
    -------
    DataFrame
        Index: local date. NaN where a night or morning has too few readings.

        ============== ====== ===============================================================
        column         unit   meaning
        ============== ====== ===============================================================
        departure_kg   kg     how far the weight falls in the morning below where the night
                              was heading: foragers in the air, less what the first bring home
        lowest_h       h      local hour of that lowest weight
        intake_kg      kg     weight at the evening's start less that at the end of the night
                              before: nectar, pollen and water in, food and vapour out
        night_loss_kg  kg     weight lost from the evening's start to the end of the night after
                              this day: water drying off, and respiration
        ..._sd_kg      kg     standard error of each
        ============== ====== ===============================================================

        Intake less night loss is the day's net gain, from the end of one night to the end of
        the next.

    Notes
    -----
    A straight line through each night (piecewise regression, Meikle et al. 2018, PLoS ONE
    13:e0197589, READ) gives the weight at its two ends and its slope. The error of a line is that
    of its residuals and of all nights' residuals, each counted as one of `within_block_h`, since finer readings err together. The
    lowest of several noisy mornings' weights lies below the true lowest; what m weights of that
    noise would fall by is taken off the dip.
    """
    if log.kind != "scale":
        return pd.DataFrame(columns=COLUMNS, index=pd.DatetimeIndex([], name="date"))
    readings = log.readings[(log.readings["mark"] == "good").to_numpy()]
    wall, kg = wall_hours_of(readings.index, timezone), readings["net_kg"].to_numpy()
    hours = hours_of(readings.index)
    block = numbers["scale_log.within_block_h"]
    wall, kg = _means(hours, wall, kg, block)
    nights = _night_lines(wall, kg, block, numbers)
    days = pd.RangeIndex(nights.index.min(), nights.index.max() + 1) if len(nights) else []
    before, after = nights.reindex(days), nights.reindex(pd.Index(days) + 1).set_axis(days)
    table = _mornings(wall, kg, before, numbers)
    table["intake_kg"] = after["dusk_kg"] - before["dawn_kg"]
    table["intake_sd_kg"] = np.hypot(after["dusk_sd_kg"], before["dawn_sd_kg"])
    table["night_loss_kg"] = after["dusk_kg"] - after["dawn_kg"]
    table["night_loss_sd_kg"] = after["loss_sd_kg"]
    table = table.dropna(how="all", subset=["departure_kg", "intake_kg", "night_loss_kg"])
    return table[COLUMNS].set_axis(dates_of(table.index.to_numpy()))


def _means(
    hours: np.ndarray, wall: np.ndarray, kg: np.ndarray, block_h: float
) -> tuple[np.ndarray, np.ndarray]:
    """Means over blocks of time; readings further apart stay as they are."""
    if not len(hours):
        return wall, kg
    key = np.floor(hours / block_h + 1e-9)
    first = np.flatnonzero(np.diff(key, prepend=key[0] - 1))
    count = np.diff(np.append(first, len(key)))
    return np.add.reduceat(wall, first) / count, np.add.reduceat(kg, first) / count


def _night_lines(
    wall: np.ndarray, kg: np.ndarray, block_h: float, numbers: Numbers
) -> pd.DataFrame:
    """A line through each night, by the date on which it ends: ends, slope and their errors."""
    dusk = numbers["scale_log.evening_start_h"] - 24.0
    dawn = numbers["scale_log.night_end_h"]
    night = np.floor((wall - dusk) / 24).astype(np.int64)
    hour = wall - 24.0 * night
    inside = hour <= dawn
    lines = {
        date: _line(hours, weights, dusk, dawn)
        for date, hours, weights in _by_day(night[inside], hour[inside], kg[inside])
    }
    rows = {date: line for date, line in lines.items() if line}
    names = [
        "dusk_kg",
        "dawn_kg",
        "slope",
        "dusk_sd_kg",
        "dawn_sd_kg",
        "loss_sd_kg",
        "slope_sd",
        "noise_kg",
    ]
    nights = pd.DataFrame.from_dict(rows, orient="index", columns=names)
    return _with_common_noise(nights)


def _by_day(
    day: np.ndarray, hour: np.ndarray, kg: np.ndarray
) -> Iterator[tuple[int, np.ndarray, np.ndarray]]:
    """Each day with its hours and weights; days in order."""
    days, first = np.unique(day, return_index=True)
    parts = (np.split(values, first[1:]) for values in (hour, kg))
    return zip(days.tolist(), *parts, strict=True) if len(days) else iter(())


def _with_common_noise(nights: pd.DataFrame) -> pd.DataFrame:
    """Errors by the noise of a night and, ten times as weighty, that of all nights: few points each."""
    noise = nights["noise_kg"]
    common = np.sqrt((noise**2).mean())
    steady = np.sqrt((noise**2 + 10 * common**2) / 11)
    share = (steady / noise.where(noise > 0)).fillna(1.0)
    errors = ["dusk_sd_kg", "dawn_sd_kg", "loss_sd_kg", "slope_sd"]
    scaled = nights[errors].mul(share, axis=0)
    return nights.assign(noise_kg=steady, **{name: scaled[name] for name in errors})


def _line(hour: np.ndarray, kg: np.ndarray, dusk: float, dawn: float) -> list[float] | None:
    """Ends and slope of a least-squares line; None for too few readings or a part of the night."""
    if len(hour) < 5 or hour[0] > dusk + 2.0 or hour[-1] < dawn - 2.0:
        return None
    middle = hour.mean()
    square = ((hour - middle) ** 2).sum()
    slope = ((hour - middle) @ kg) / square
    noise = np.sqrt(((kg - kg.mean() - slope * (hour - middle)) ** 2).sum() / (len(hour) - 2))
    ends = np.array([dusk, dawn]) - middle
    error = noise * np.sqrt(1 / len(hour) + ends**2 / square)
    slope_sd = noise / np.sqrt(square)
    return [*(kg.mean() + slope * ends), slope, *error, slope_sd * (dawn - dusk), slope_sd, noise]


def _mornings(
    wall: np.ndarray, kg: np.ndarray, nights: pd.DataFrame, numbers: Numbers
) -> pd.DataFrame:
    """How far and when each morning's weight falls below where the night was heading."""
    dawn, noon = numbers["scale_log.night_end_h"], numbers["scale_log.morning_end_h"]
    day = np.floor(wall / 24).astype(np.int64)
    hour = wall - 24.0 * day
    inside = (hour >= dawn) & (hour <= noon)
    known = nights[nights["slope"].notna()].to_dict("index")
    rows = {
        date: _dip(hours, weights, known[date], dawn)
        for date, hours, weights in _by_day(day[inside], hour[inside], kg[inside])
        if date in known and len(hours) >= 5
    }
    names = ["departure_kg", "departure_sd_kg", "lowest_h"]
    return pd.DataFrame.from_dict(rows, orient="index", columns=names).reindex(nights.index)


def _dip(hour: np.ndarray, kg: np.ndarray, night: dict[str, float], dawn: float) -> list[float]:
    below = night["dawn_kg"] + night["slope"] * (hour - dawn) - kg
    lowest = int(np.argmax(below))
    # Of several weights near the lowest one was it by chance: their largest error is expected off.
    near = int((below > below[lowest] - 2 * night["noise_kg"]).sum())
    by_chance = ndtri(0.5264 ** (1 / near)) * night["noise_kg"] if near > 1 else 0.0
    # The night's line is drawn on into the morning, and its slope errs with it.
    drawn = night["slope_sd"] * (hour[lowest] - dawn)
    parts = (night["noise_kg"], night["dawn_sd_kg"], drawn, by_chance)
    sd = float(np.sqrt(np.square(parts).sum()))
    return [max(float(below[lowest] - by_chance), 0.0), sd, float(hour[lowest])]
