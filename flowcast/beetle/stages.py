"""What temperature, soil water and damp do to each stage of the beetle.

Rates are shares of a stage done in a day, survivals and flight shares from 0 to 1. Traits may be
columns (draws, 1) against rows of days. Sources of every number stand in numbers.toml, group
beetles; what the curves are between published points is our choice, as marked there.
"""

from __future__ import annotations

import numpy as np

from flowcast.beetle.traits import Traits
from flowcast.numbers import Numbers


def egg_days(temp_c, egg_k, numbers: Numbers):
    """Days from laying to hatch; infinite at or below beetle.egg_t0_c. [d]"""
    return _days(temp_c, numbers["beetle.egg_t0_c"], egg_k)


def larva_days(temp_c, numbers: Numbers):
    """Days from hatch to the larva's peak weight, when it leaves for the soil. [d]"""
    return _days(temp_c, numbers["beetle.larva_t0_c"], numbers["beetle.larva_k_cd"])


def _days(temp_c, least_c, k_cd):
    warmth = np.maximum(np.asarray(temp_c, float) - least_c, 0.0)
    return np.divide(k_cd, warmth, out=np.full(np.shape(warmth + k_cd), np.inf), where=warmth > 0)


def soil_rate(soil_c, traits: Traits, numbers: Numbers):
    """Share of the soil stage (larva in the ground to adult) done in a day. [1/d]

    In a line from soil_t0; beyond the pupa's optimum it falls in a line to 0 at the upper limit.
    """
    best, stop = numbers["beetle.heat_from_c"], numbers["beetle.heat_stops_c"]
    warmth = np.maximum(np.minimum(soil_c, best) - traits.soil_t0, 0.0)
    spared = np.clip((stop - soil_c) / (stop - best), 0.0, 1.0)
    return warmth / traits.soil_k * spared


def soil_survival(soil_c, numbers: Numbers):
    """Share that outlives the soil stage at this temperature, of the best. [1]"""
    names = ("survive_from_c", "survive_full_from_c", "survive_full_to_c")
    knots = [numbers[f"beetle.{name}"] for name in names]
    knots += [numbers["beetle.survive_half_c"], numbers["beetle.survive_none_c"]]
    return np.interp(soil_c, knots, [0.0, 1.0, 1.0, 0.5, 0.0])


def water_survival(soil_water, water_knee, numbers: Numbers):
    """Share that outlives the soil stage at this soil water, of the best: none in dry soil. [1]

    soil_water: 0 at the wilting point, 1 at field capacity, above 1 wetter.
    """
    damp = np.clip(soil_water / water_knee, 0.0, 1.0)
    wet = 1.0 - numbers["beetle.wet_slope"] * np.maximum(np.asarray(soil_water) - 1.0, 0.0)
    return damp * np.maximum(wet, numbers["beetle.wet_least"])


def bare_hatch(rh_pct, half_pct, numbers: Numbers):
    """Share of eggs that hatch in air of this humidity. [1]"""
    rh = np.asarray(rh_pct)
    rise = 1.0 / (1.0 + np.exp((half_pct - rh) / numbers["beetle.hatch_width_pct"]))
    return np.where(rh <= numbers["beetle.hatch_none_pct"], 0.0, rise)


def egg_hatch(rh_pct, traits: Traits, numbers: Numbers):
    """Share of eggs that hatch in a hive when the air outside is this humid. [1]"""
    return 1.0 - traits.hive_weight * (1.0 - bare_hatch(rh_pct, traits.hatch_half_pct, numbers))


def dusk_flight(dusk_c, numbers: Numbers):
    """How far adults fly at dusk, 0 to 1. [1]"""
    none, span = numbers["beetle.dusk_none_c"], numbers["beetle.dusk_span_c"]
    return np.clip((np.asarray(dusk_c) - none) / span, 0.0, 1.0)


def adult_life(temp_c, numbers: Numbers):
    """Mean life of an adult with food at this temperature. [d]"""
    warm, hot = numbers["beetle.life_warm_d"], numbers["beetle.life_hot_d"]
    warm_c, hot_c = numbers["beetle.life_warm_c"], numbers["beetle.life_hot_c"]
    slope = np.log(hot / warm) / (hot_c - warm_c)
    life = warm * np.exp(slope * (np.asarray(temp_c) - warm_c))
    return np.minimum(life, numbers["beetle.life_most_d"])


def in_hive_days(traits: Traits, numbers: Numbers):
    """From an egg laid to the larva that leaves the hive for the soil. [d]"""
    return egg_days(traits.hive_c, traits.egg_k, numbers) + larva_days(traits.hive_c, numbers)


def generation_days(soil_c, traits: Traits, numbers: Numbers):
    """From egg to the first egg of the next generation at an unchanging soil temperature. [d]"""
    with np.errstate(divide="ignore"):
        soil = 1.0 / soil_rate(soil_c, traits, numbers)
    return in_hive_days(traits, numbers) + soil + traits.prelay_d
