"""What is not known of the beetle and its ground, as draws: one value of each a draw."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields

import numpy as np

from flowcast.numbers import Numbers
from flowcast.weather import SOILS

BLOCK = 200  # draws worked on at a time: keeps memory low at decades of days
UNKNOWN_SOIL = "loam"
DRAW_SHARES = ("draw_share_low", "draw_share", "draw_share_high")  # of group topsoil


@dataclass(frozen=True)
class Traits:
    """One value a draw, each of shape (draws,).

    egg_k, soil_k: day degrees of the egg and of the soil stage [°C d]; soil_t0: least temperature of
    the soil stage [°C]; hive_c: temperature of eggs and larvae [°C]; prelay_d [d]; water_knee, the
    soil water from which emergence is not held back [1]; hatch_half_pct [%]; hive_weight, how far
    the air outside decides on hatch [1]; soil_shift_c, error of the soil's temperature [°C];
    edge_shift of the bands [1]; life_factor [1]; inflow [1]; breeders_half, the stock at which half as
    many young are raised as there could be [1]; seam_shift_c, further error of the soil's temperature
    in the days ahead [°C]; soil, a position in `SOILS`; drawing, a position in `DRAW_SHARES`.
    """

    egg_k: np.ndarray
    soil_t0: np.ndarray
    soil_k: np.ndarray
    hive_c: np.ndarray
    prelay_d: np.ndarray
    water_knee: np.ndarray
    hatch_half_pct: np.ndarray
    hive_weight: np.ndarray
    soil_shift_c: np.ndarray
    edge_shift: np.ndarray
    life_factor: np.ndarray
    inflow: np.ndarray
    breeders_half: np.ndarray
    seam_shift_c: np.ndarray
    soil: np.ndarray
    drawing: np.ndarray

    def __len__(self) -> int:
        return len(self.soil)

    def rows(self, which) -> Traits:
        """Some of the draws."""
        return Traits(**{f.name: getattr(self, f.name)[which] for f in fields(self)})

    @property
    def column(self) -> Traits:
        """The same as columns (draws, 1), to be worked out against rows of days."""
        return Traits(**{f.name: getattr(self, f.name)[:, None] for f in fields(self)})

    def blocks(self) -> Iterator[np.ndarray]:
        """Positions of the draws in blocks of one ground and not too many at a time."""
        ground = self.soil * len(DRAW_SHARES) + self.drawing
        for kind in np.unique(ground):
            rows = np.flatnonzero(ground == kind)
            yield from np.array_split(rows, -(-len(rows) // BLOCK))

    @property
    def ground(self) -> tuple[str, str]:
        """Soil and share of a block, as words of group topsoil."""
        return SOILS[self.soil[0]], DRAW_SHARES[self.drawing[0]]


def typical_traits(numbers: Numbers, soil: str | None = None) -> Traits:
    """A single draw in which every number has its own value."""
    b = {key.split(".", 1)[1]: value for key, value in numbers.items() if key.startswith("beetle.")}
    values = {
        "egg_k": b["egg_k_cd"],
        "soil_t0": b["soil_t0_c"],
        "soil_k": b["soil_k_cd"],
        "hive_c": b["hive_c"],
        "prelay_d": b["prelay_d"],
        "water_knee": b["water_knee"],
        "hatch_half_pct": b["hatch_half_pct"],
        "hive_weight": b["hive_weight"],
        "soil_shift_c": 0.0,
        "edge_shift": 0.0,
        "life_factor": 1.0,
        "inflow": b["inflow"],
        "breeders_half": b["breeders_half"],
        "seam_shift_c": 0.0,
    }
    kind = np.array([SOILS.index(soil or UNKNOWN_SOIL)])
    own = np.array([DRAW_SHARES.index("draw_share")])
    return Traits(**{k: np.array([v]) for k, v in values.items()}, soil=kind, drawing=own)


def draw_traits(
    numbers: Numbers,
    rng: np.random.Generator,
    count: int,
    *,
    soil: str | None = None,
    soil_temp_given: bool = False,
    narrow: float = 1.0,
) -> Traits:
    """Draws over the ranges of the numbers.

    Parameters
    ----------
    soil : str, optional
        The keeper's word, one of `SOILS`; each draw has a soil of its own when not given.
    soil_temp_given : bool
        A service gives the soil's temperature: it errs less than one reckoned from the air.
    narrow : float
        Factor on every range about its value, for asking what knowing more would bring.
    """
    one = typical_traits(numbers, soil)
    draw = _Ranges(numbers, rng, count, narrow)
    soil_t0 = draw.even(one.soil_t0, "soil_t0_low_c", "soil_t0_high_c")
    # Every threshold keeps the length of the soil stage at the pin, where it was measured best.
    pin = numbers["beetle.soil_pin_c"]
    stage = one.soil_k * (pin - soil_t0) / (pin - one.soil_t0)
    shift_sd, seam_sd = _soil_errors(numbers, soil_temp_given)
    edge = numbers["beetle.edge_width"]
    return Traits(
        egg_k=draw.even(one.egg_k, "egg_k_cd", "egg_k_high_cd"),
        soil_t0=soil_t0,
        soil_k=stage * draw.factor("soil_k_log_sd"),
        hive_c=draw.even(one.hive_c, "hive_low_c", "hive_high_c"),
        prelay_d=draw.even(one.prelay_d, "prelay_low_d", "prelay_high_d"),
        water_knee=draw.even(one.water_knee, "water_knee_low", "water_knee_high"),
        hatch_half_pct=draw.even(one.hatch_half_pct, "hatch_half_low_pct", "hatch_half_high_pct"),
        hive_weight=draw.even(one.hive_weight, "hive_weight_low", "hive_weight_high"),
        soil_shift_c=draw.about_zero(shift_sd),
        edge_shift=rng.uniform(-narrow * edge, narrow * edge, count),
        life_factor=draw.factor("life_log_sd"),
        inflow=draw.even_log(one.inflow, "inflow_low", "inflow_high"),
        breeders_half=draw.even_log(one.breeders_half, "breeders_half_low", "breeders_half_high"),
        seam_shift_c=draw.about_zero(seam_sd),
        soil=draw.kinds(len(SOILS)) if soil is None else np.repeat(one.soil, count),
        drawing=draw.kinds(len(DRAW_SHARES)) if narrow else np.repeat(one.drawing, count),
    )


def _soil_errors(numbers: Numbers, given: bool) -> tuple[float, float]:
    """Error of the soil's temperature so far, and what comes on top where it is reckoned ahead."""
    reckoned = numbers["beetle.soil_sd_c"]
    known = numbers["beetle.soil_sd_given_c"] if given else reckoned
    return known, float(np.sqrt(max(reckoned**2 - known**2, 0.0)))


@dataclass(frozen=True)
class _Ranges:
    """Draws over ranges of group beetle, each narrowed about its value."""

    numbers: Numbers
    rng: np.random.Generator
    count: int
    narrow: float

    def even(self, value: np.ndarray, low: str, high: str) -> np.ndarray:
        """Evenly between the ends."""
        ends = [self.numbers[f"beetle.{end}"] for end in (low, high)]
        return self.rng.uniform(*(value + self.narrow * (ends - value)), self.count)

    def even_log(self, value: np.ndarray, low: str, high: str) -> np.ndarray:
        """Evenly in logarithms."""
        ends = np.log([self.numbers[f"beetle.{end}"] for end in (low, high)])
        middle = np.log(value)
        return np.exp(self.rng.uniform(*(middle + self.narrow * (ends - middle)), self.count))

    def factor(self, log_sd: str) -> np.ndarray:
        """About 1, normal in logarithms."""
        return np.exp(self.about_zero(self.numbers[f"beetle.{log_sd}"]))

    def about_zero(self, sd: float) -> np.ndarray:
        """Normal about 0."""
        return self.rng.normal(0.0, self.narrow * sd, self.count)

    def kinds(self, kinds: int) -> np.ndarray:
        """Each kind as often as any other, in any order."""
        return self.rng.permutation(np.arange(self.count) % kinds)
