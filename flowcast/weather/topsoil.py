"""Water in the top of the soil, where beetles pupate: it wets and dries within days."""

import numpy as np

SOILS = ("sand", "loamy_sand", "sandy_loam", "loam", "silt_loam", "clay_loam", "clay")


def top_soil_water(
    precip_mm,
    et0_mm,
    soil,
    numbers,
    *,
    start=0.5,
    moisture=None,
    irrigated=False,
    draw_share=None,
):
    """Water in the top soil at the end of each day, as a share of what plants can draw.

    Parameters
    ----------
    precip_mm, et0_mm : array-like, shape (days,), or (runs, days)
        Rain and reference evapotranspiration. [mm]
    soil : str
        One of `SOILS`.
    numbers : flowcast.numbers.Numbers
        Group topsoil.
    start : float or array-like, shape (runs,)
        Share on the evening before. [1]
    moisture : array-like, shape (days,), optional
        Water that a service gives, volume of volume; it is taken where it is known. It belongs to
        the service's own soil (topsoil.service_field, service_wilting). [m³/m³]
    irrigated : bool
        The ground is watered: the share stays at topsoil.irrigated_frac or above.
    draw_share : float, optional
        Share of the evapotranspiration that comes from the top; topsoil.draw_share when not given.

    Returns
    -------
    numpy.ndarray, same shape as the rain
        (theta - wilting point) / (field capacity - wilting point): 0 is dry, 1 field capacity,
        above 1 wetter still; a bare top may dry below 0. A day with missing rain or evaporation
        leaves it unchanged. [1]

    Notes
    -----
    Bucket of topsoil.depth_m after FAO-56 chapter 7: what can evaporate is TEW = 1000 (field
    capacity - half the wilting point) depth, in full while more than topsoil.easy_share of it is
    left; only a share of the reference evapotranspiration comes from this layer. Water beyond saturation runs off; a share of what stands above field capacity drains each
    day.
    """
    ground = _Ground(soil, numbers)
    rain, use = np.broadcast_arrays(np.asarray(precip_mm, float), np.asarray(et0_mm, float))
    missing = np.isnan(rain) | np.isnan(use)
    rain, use = (np.where(missing, 0.0, v) / ground.depth_mm for v in (rain, use))
    use = use * (numbers["topsoil.draw_share"] if draw_share is None else draw_share)
    known = _share_of_service(moisture, rain.shape[-1], numbers)
    least = numbers["topsoil.irrigated_frac"] if irrigated else ground.share(ground.floor)
    if rain.ndim == 1:
        course = _course(rain.tolist(), use.tolist(), known, float(start), least, ground, min, max)
        return np.array(course)
    begin = np.broadcast_to(np.asarray(start, float), rain.shape[:1])
    course = _course(rain.T, use.T, known, begin, least, ground, np.minimum, np.maximum)
    return np.array(course).reshape(rain.T.shape).T


def evaporable_water(soil, numbers):
    """Water that can evaporate from the top of this soil, TEW of FAO-56 eq. 73. [mm]"""
    ground = _Ground(soil, numbers)
    return (ground.field - ground.floor) * ground.depth_mm


class _Ground:
    """The constants of one soil."""

    def __init__(self, soil, numbers):
        self.field = numbers[f"topsoil.field_{soil}"]
        self.wilting = numbers[f"topsoil.wilting_{soil}"]
        self.full = numbers[f"topsoil.full_{soil}"]
        self.floor = numbers["topsoil.floor_share"] * self.wilting
        self.depth_mm = 1000 * numbers["topsoil.depth_m"]
        self.easy = numbers["topsoil.easy_share"] * (self.field - self.floor)
        self.drain = numbers["topsoil.drain_clay" if soil == "clay" else "topsoil.drain"]

    def share(self, theta):
        """Water content as a share of what plants can draw. [1]"""
        return (theta - self.wilting) / (self.field - self.wilting)

    def theta(self, share):
        """The water content of such a share. [m3/m3]"""
        return self.wilting + share * (self.field - self.wilting)


def _course(rain, use, known, share, least, ground, lower, higher):
    """The same arithmetic on floats (one run of days) or on arrays (one value a run)."""
    theta, driest, course = ground.theta(share), ground.theta(least), []
    for day_rain, day_use, day_known in zip(rain, use, known, strict=True):
        eased = lower((theta - ground.floor) / ground.easy, 1.0)
        theta = higher(lower(theta + day_rain - day_use * eased, ground.full), driest)
        theta = theta - ground.drain * higher(theta - ground.field, 0.0)
        if day_known is not None:
            theta = higher(ground.theta(day_known), driest)
        course.append(ground.share(theta))
    return course


def _share_of_service(moisture, days, numbers):
    if moisture is None:
        return [None] * days
    field, wilting = numbers["topsoil.service_field"], numbers["topsoil.service_wilting"]
    share = (np.asarray(moisture, float) - wilting) / (field - wilting)
    return [None if s != s else s for s in share.tolist()]
