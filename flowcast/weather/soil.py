"""Soil temperature and soil water, day by day."""

import numpy as np


def ground_warmth(temp_mean_c, ghi_wm2, numbers):
    """The temperature that open ground would take on in this air and sun. [°C]

    Parameters
    ----------
    temp_mean_c : array-like
        Mean air temperature of the day. [°C]
    ghi_wm2 : array-like
        Global radiation, mean of 24 hours. [W/m²]
    numbers : flowcast.numbers.Numbers
        soil.sun_c.
    """
    return np.asarray(temp_mean_c, float) + numbers["soil.sun_c"] * np.asarray(ghi_wm2, float)


def soil_temperature(temp_mean_c, numbers, start_c=None, snow=None, known_c=None):
    """Soil temperature at 5 to 10 cm. [°C]

    Parameters
    ----------
    temp_mean_c : array-like, shape (days,)
        Mean air temperature of each day, or `ground_warmth`. [°C]
    numbers : flowcast.numbers.Numbers
        soil.temp_rate, soil.temp_rate_snow, soil.leaf_area, soil.leaf_shade_k and _floor.
    start_c : float, optional
        Soil temperature on the evening before; the first known air temperature when not given,
        which the soil forgets within a month. [°C]
    snow : array-like of bool, shape (days,), optional
        Whether snow lies; none when not given.
    known_c : array-like, shape (days,), optional
        Soil temperature that a service gives; it is taken where it is known. [°C]

    Returns
    -------
    numpy.ndarray, shape (days,)
        A day with no air temperature keeps the soil as it was; NaN until the first known day. [°C]

    Notes
    -----
    T(d) = T(d-1) + rate x shade x (air(d) - T(d-1)), with shade = exp(-k x leaf area) when the
    soil warms and 1 when it cools [1]_. Time constant of bare soil 3.5 days. The paper's own
    regression had a standard error of 1.5 to 2.9 °C; count with 2.2 °C here.

    References
    ----------
    .. [1] D. Zheng, E. R. Hunt, S. W. Running, "A daily soil temperature model based on air
       temperature and precipitation for continental applications", Climate Research 2:183-191,
       1993, in the form of an open ecosystem model that cites it.
    """
    air = np.asarray(temp_mean_c, float)
    known = np.full(len(air), np.nan) if known_c is None else np.asarray(known_c, float)
    lying = np.zeros(len(air), bool) if snow is None else np.asarray(snow, bool)
    rate = np.where(lying, numbers["soil.temp_rate_snow"], numbers["soil.temp_rate"])
    shade = max(
        np.exp(-numbers["soil.leaf_shade_k"] * numbers["soil.leaf_area"]),
        numbers["soil.leaf_shade_floor"],
    )
    soil = np.nan if start_c is None else float(start_c)
    course = []
    for day_air, day_rate, day_known in zip(
        air.tolist(), rate.tolist(), known.tolist(), strict=True
    ):
        soil = _soil_step(soil, day_air, day_rate, shade) if day_known != day_known else day_known
        course.append(soil)
    return np.array(course)


def _soil_step(soil, air, rate, shade):
    if air != air:  # NaN: plain floats are many times faster here than NumPy's
        return soil
    if soil != soil:
        return air
    return soil + rate * (shade if air > soil else 1.0) * (air - soil)


def antecedent_rain(precip_mm, numbers, start_mm=None):
    """Rain of the weeks before, fading: the antecedent precipitation index. [mm]

    Parameters
    ----------
    precip_mm : array-like, shape (days,) or (scenarios, days)
        Rain of each day. [mm]
    numbers : flowcast.numbers.Numbers
        soil.rain_fading.
    start_mm : float or array-like, shape (scenarios,), optional
        The index on the evening before; what the mean of the known rain would keep up when not
        given. [mm]

    Returns
    -------
    numpy.ndarray, same shape
        API(d) = k API(d-1) + rain(d). A day with missing rain leaves it as it was. [mm]
    """
    rain, k = np.asarray(precip_mm, float), numbers["soil.rain_fading"]
    if start_mm is None:
        known = np.isfinite(rain)
        start_mm = (np.where(known, rain, 0).sum(-1) / np.maximum(known.sum(-1), 1)) / (1 - k)
    now, course = np.asarray(start_mm, float), np.empty(rain.shape)
    for day in range(rain.shape[-1]):
        now = np.where(np.isnan(rain[..., day]), now, k * now + rain[..., day])
        course[..., day] = now
    return course


def soil_water(precip_mm, et0_mm, numbers, start_frac=None):
    """Water left in the root zone at the end of each day, as a share of what it can hold.

    Parameters
    ----------
    precip_mm, et0_mm : array-like, shape (days,) or (scenarios, days)
        Rain and reference evapotranspiration. [mm]
    numbers : flowcast.numbers.Numbers
        Group soil: water_capacity, root_depth_m, depletion_p, crop_coefficient, water_start_frac.
    start_frac : float or array-like, shape (scenarios,), optional
        Share on the evening before; soil.water_start_frac when not given. [1]

    Returns
    -------
    numpy.ndarray, same shape as the rain
        0 (wilting point) to 1 (field capacity); what rains beyond 1 drains. A day with missing
        rain or evaporation leaves the share unchanged. [1]

    Notes
    -----
    FAO-56 chapter 8: depletion grows by ET0 Kc Ks less rain, Ks from the water at the start of the
    day (`water_stress`).
    """
    rain, use = np.broadcast_arrays(np.asarray(precip_mm, float), np.asarray(et0_mm, float))
    total_mm = 1000 * numbers["soil.water_capacity"] * numbers["soil.root_depth_m"]
    missing = np.isnan(rain) | np.isnan(use)
    rain = np.where(missing, 0.0, rain) / total_mm
    use = np.where(missing, 0.0, use) * numbers["soil.crop_coefficient"] / total_mm
    start = numbers["soil.water_start_frac"] if start_frac is None else start_frac
    knee = 1 - numbers["soil.depletion_p"]
    if rain.ndim == 1:
        return np.array(_bucket(rain.tolist(), use.tolist(), float(start), knee, min, max))
    start = np.broadcast_to(np.asarray(start, float), rain.shape[:1])
    course = _bucket(rain.T, use.T, start, knee, np.minimum, np.maximum)
    return np.array(course).reshape(rain.T.shape).T


def _bucket(rain, use, frac, knee, least, most):
    """The same arithmetic on floats (one run of days) or on arrays (one value a scenario)."""
    course = []
    for day_rain, day_use in zip(rain, use, strict=True):
        frac = most(least(frac + day_rain - day_use * least(frac / knee, 1.0), 1.0), 0.0)
        course.append(frac)
    return course


def water_stress(water_frac, numbers):
    """Share of their full water use that plants reach in drying soil, Ks of FAO-56. [1]

    Parameters
    ----------
    water_frac : numeric
        Water left in the root zone, share of what it can hold. [1]
    numbers : flowcast.numbers.Numbers
        soil.depletion_p.

    Returns
    -------
    numeric
        1 until the readily available water is gone, then falling in a line to 0. [1]

    Notes
    -----
    FAO-56 eq. 84: Ks = (TAW - Dr) / ((1 - p) TAW), with TAW the water the zone can hold and Dr
    what is missing of it.
    """
    return np.minimum(np.maximum(water_frac, 0) / (1 - numbers["soil.depletion_p"]), 1)
