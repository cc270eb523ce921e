"""Makers of invented worlds: all in which one world differs from another, under one weather maker."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from itertools import product

import numpy as np
import pandas as pd

from simulator import climates, flight, flora, weather
from simulator.climates import Climate
from simulator.keeper import FIRST_BEES, Bees
from simulator.second import climates as second_climates
from simulator.second import colony as second_colony
from simulator.second import flight as second_flight
from simulator.second import flora as second_flora
from simulator.second import ground
from simulator.weather import Site

Planter = Callable[[Climate, pd.DataFrame, np.random.Generator], flora.Flora]


@dataclass(frozen=True)
class Maker:
    """The laws of one invented world.

    Attributes
    ----------
    climates : dict
        Name -> Climate.
    pairs : list of (climate, mechanism)
        All yards that this world can have.
    grow : callable
        (mechanism, climate, days, rng) -> Flora.
    days_of : callable
        (hourly weather, site) -> what plants and bees feel of each local day.
    drivers, fitness : callable
        Hourly weather -> what each driver lets of flight -> fitness of each hour, 0 to 1.
    bees : Bees
        How its colonies live.
    in_turn : bool
        Whether yards are made of one mechanism after another, rather than of pairs as they fall.
    fetching : dict
        Driver of flight -> columns of the days by which it acts on what is fetched, beside flight.
    """

    climates: dict[str, Climate]
    pairs: list[tuple[str, str]]
    grow: Callable[[str, Climate, pd.DataFrame, np.random.Generator], flora.Flora]
    days_of: Callable[[pd.DataFrame, Site], pd.DataFrame]
    drivers: Callable[[pd.DataFrame], dict[str, np.ndarray]]
    fitness: Callable[[dict[str, np.ndarray]], np.ndarray]
    bees: Bees
    in_turn: bool
    fetching: dict[str, list[str]]

    def hour_fitness(self, hourly: pd.DataFrame) -> np.ndarray:
        """How fit each hour is for foraging, 0 to 1."""
        return self.fitness(self.drivers(hourly))

    def planter(self, mechanism: str) -> Planter:
        """What grows the plants of this mechanism at a place."""
        return partial(self.grow, mechanism)


FIRST = Maker(
    climates.CLIMATES,
    list(product(climates.CLIMATES, flora.MECHANISMS)),
    flora.grow,
    weather.local_days,
    flight.fitness_by_driver,
    flight.fitness_of,
    FIRST_BEES,
    False,
    {},
)
SECOND = Maker(
    second_climates.CLIMATES,
    second_flora.PAIRS,
    second_flora.grow,
    ground.days_of,
    second_flight.drivers,
    second_flight.fitness,
    Bees(second_colony.new_colony, second_colony.day_airs, second_colony.live),
    True,
    {"wind": ["wind_ms"]},
)
MAKERS = {"first": FIRST, "second": SECOND}
