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

    def even(value: np.ndarray, low: str, high: str) -> np.ndarray:
        middle = value[0]
        ends = [middle + narrow * (numbers[f"beetle.{end}"] - middle) for end in (low, high)]
        return rng.uniform(*ends, count)

    def even_log(value: np.ndarray, low: str, high: str) -> np.ndarray:
        middle = np.log(value[0])
        ends = [middle + narrow * (np.log(numbers[f"beetle.{e}"]) - middle) for e in (low, high)]
        return np.exp(rng.uniform(*ends, count))

    def factor(log_sd: str) -> np.ndarray:
        return np.exp(rng.normal(0.0, narrow * numbers[log_sd], count))

    soil_t0 = even(one.soil_t0, "soil_t0_low_c", "soil_t0_high_c")
    # Every threshold keeps the length of the soil stage at the pin, where it was measured best.
    pin = numbers["beetle.soil_pin_c"]
    soil_k = one.soil_k * (pin - soil_t0) / (pin - one.soil_t0) * factor("beetle.soil_k_log_sd")
    reckoned_sd = numbers["beetle.soil_sd_c"]
    shift_sd = numbers["beetle.soil_sd_given_c"] if soil_temp_given else reckoned_sd
    seam_sd = np.sqrt(max(reckoned_sd**2 - shift_sd**2, 0.0))
    edge = narrow * numbers["beetle.edge_width"]
    soils = _in_equal_parts(len(SOILS), count, rng) if soil is None else np.repeat(one.soil, count)
    known = np.repeat(one.drawing, count)
    return Traits(
        egg_k=even(one.egg_k, "egg_k_cd", "egg_k_high_cd"),
        soil_t0=soil_t0,
        soil_k=soil_k,
        hive_c=even(one.hive_c, "hive_low_c", "hive_high_c"),
        prelay_d=even(one.prelay_d, "prelay_low_d", "prelay_high_d"),
        water_knee=even(one.water_knee, "water_knee_low", "water_knee_high"),
        hatch_half_pct=even(one.hatch_half_pct, "hatch_half_low_pct", "hatch_half_high_pct"),
        hive_weight=even(one.hive_weight, "hive_weight_low", "hive_weight_high"),
        soil_shift_c=rng.normal(0.0, narrow * shift_sd, count),
        edge_shift=rng.uniform(-edge, edge, count),
        life_factor=factor("beetle.life_log_sd"),
        inflow=even_log(one.inflow, "inflow_low", "inflow_high"),
        breeders_half=even_log(one.breeders_half, "breeders_half_low", "breeders_half_high"),
        seam_shift_c=rng.normal(0.0, narrow * seam_sd, count),
        soil=soils,
        drawing=_in_equal_parts(len(DRAW_SHARES), count, rng) if narrow else known,
    )


def _in_equal_parts(kinds: int, count: int, rng: np.random.Generator) -> np.ndarray:
    """Each kind as often as any other, in any order."""
    return rng.permutation(np.arange(count) % kinds)
