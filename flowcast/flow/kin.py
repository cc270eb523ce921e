"""What several yards of one keeper have in common: how far a day there tells of a day here.

Each part of the flow model's covariance is multiplied by a share (intrinsic coregionalisation): 1 within a
yard, less between two, falling with distance and with difference of height. A share of a half says that
half of that part's variance is common to both and half is each yard's own, so that a yard's own log always
has something to say against the other's.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from flowcast.numbers import Numbers
from flowcast.tables import Place

SHARED = ("bloom", "date", "soil", "wash", "shower", "flight", "year", "weeks", "days")
Spot = tuple[float, float, float]  # km east, km north and metres above the yard itself


def spot_from(place: Place, here: Place) -> Spot:
    """Where a place lies from here."""
    km = np.radians(1.0) * 6371.0  # a degree
    east = km * np.cos(np.radians(here.latitude)) * (place.longitude - here.longitude)
    north = km * (place.latitude - here.latitude)
    return float(east), float(north), float(place.elevation_m - here.elevation_m)


def nearness(a: Spot, b: Spot, numbers: Numbers) -> float:
    """1 for one spot, less with distance and with difference of height. [1]"""
    km, height_m = np.hypot(a[0] - b[0], a[1] - b[1]), abs(a[2] - b[2])
    return float(
        np.exp(-km / numbers["flow.share_span_km"] - height_m / numbers["flow.share_span_m"])
    )


@dataclass(frozen=True)
class Kin:
    """Shares of every part between yards: name -> (yards, yards), 1 on the diagonal; none of one yard.

    "stated" is 1 among yards that state a plant in common with the first, whose ensembles already hold
    to what degree; else 0, since what independent draws seem to share is chance.
    """

    shares: Mapping[str, np.ndarray] = field(default_factory=dict)

    @classmethod
    def of(cls, spots: Sequence[Spot], akin: Sequence[bool], numbers: Numbers) -> Kin:
        """Of yards on these spots, the first of them the yard itself; akin: a plant in common with it."""
        if len(spots) == 1:
            return ALONE
        near = np.array([[nearness(a, b, numbers) for b in spots] for a in spots])
        alone, akin = np.eye(len(spots)), np.array([True, *akin[1:]])
        shares = {name: numbers[f"flow.share_{name}"] for name in SHARED}
        each = {name: share * near + (1.0 - share) * alone for name, share in shares.items()}
        return cls(each | {"stated": np.where(np.outer(akin, akin), 1.0, alone)})

    def shared(self, name: str, a: np.ndarray, b: np.ndarray, part: np.ndarray) -> np.ndarray:
        """A part's covariance between days of yards a and b, as far as these share it. Shape (a, b)."""
        return part * self.shares[name][np.ix_(a, b)] if self.shares else part


ALONE = Kin()


def tells(spot: Spot, numbers: Numbers) -> bool:
    """Whether a yard on this spot shares enough with the yard itself to be asked at all."""
    most = max(numbers[f"flow.share_{name}"] for name in (*SHARED, "plant", "plant_year"))
    return most * nearness((0.0, 0.0, 0.0), spot, numbers) > numbers["flow.share_least"]
