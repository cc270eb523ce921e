"""What is known of one hive on the issue date: its boxes, its bees, its stores with their doubt."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot

import pandas as pd

from flowcast.numbers import Numbers
from flowcast.scale_log.room import FRAMES, free_comb
from flowcast.tables import Z_90

SUPERS = ("medium", "shallow", "national super")  # kinds that stand over a brood box
NEST_BOXES = ("deep", "jumbo", "national brood")  # where the queen lays
USUAL_FRAMES = 10  # of the boxes whose weight stands in numbers.toml


@dataclass(frozen=True)
class Box:
    """One box: kind as in yard.toml, frames, frames drawn and frames full (None: not said)."""

    kind: str
    frames: int = 10
    drawn: int | None = None
    full: float | None = None

    @property
    def combs(self) -> float:
        """Frames drawn; all of them where nothing is said."""
        return self.frames if self.drawn is None else self.drawn


@dataclass(frozen=True)
class Estimate:
    """A weight known with doubt: middle and standard deviation [kg], and where it is from.

    how: "weight", "boxes", "keeper" or "unknown".
    """

    kg: float
    sd_kg: float
    how: str

    @property
    def three(self) -> tuple[float, float, float]:
        """Quantiles 10, 50 and 90 %, none below nothing. [kg]"""
        low, high = (max(self.kg + z * self.sd_kg, 0.0) for z in (-Z_90, Z_90))
        return low, max(self.kg, 0.0), high


@dataclass(frozen=True)
class HiveNow:
    """One hive on the issue date.

    gross_kg, wood_kg, keeper_kg: weight on the scale, of boxes with combs and without honey, and
    the keeper's own estimate of the stores; None where not known. [kg] boxes: bottom first.
    brooding: how far the season lets the colony rear brood, 0 to 1 (`flow.household.drivers`).
    supers_on: whether boxes for people's honey are on; None when not known. cells: queen cells
    with larvae or capped were seen; clipped: the queen's wing is. share: what this hive brings in,
    as a share of the yard's middle hive, with its standard deviation in the log; None when its
    record does not tell. risen_kg: how much more its log has it hold than at its lightest of the last
    weeks, what was taken off left out. [kg] larvae: beetle larvae were in its newest count, and that lately.
    """

    name: str
    boxes: tuple[Box, ...] = ()
    frames_of_bees: float | None = None
    queenright: bool | None = None
    nucleus: bool = False
    gross_kg: float | None = None
    wood_kg: float | None = None
    keeper_kg: float | None = None
    brooding: float = 1.0
    supers_on: bool | None = None
    cells: bool = False
    clipped: bool = False
    share: tuple[float, float] | None = None
    risen_kg: float = 0.0
    larvae: bool = False


def stores_of(hive: HiveNow, numbers: Numbers) -> Estimate:
    """Honey and nectar in the hive now, by whatever tells it best.

    The gross weight less wood, bees, brood and pollen; or the full frames of the boxes; or the
    keeper's estimate. With none of them a wide guess, which says that it is one. A weight that leaves
    more honey than the combs can hold does not count.
    """
    weighed = None if overweight(hive, numbers) else _by_weight(hive, numbers)
    told = [weighed, _by_frames(hive.boxes, numbers), _by_keeper(hive, numbers)]
    known = [estimate for estimate in told if estimate is not None]
    if known:
        return min(known, key=lambda estimate: estimate.sd_kg)
    return _guess(hive, numbers)


def _guess(hive: HiveNow, numbers: Numbers) -> Estimate:
    """Stores of which nobody tells, within what the scale knows.

    The guess is of the day on which the hive was lightest lately; what came in since, if it is more than
    the guess is wide, lies on top. And there is no more honey than the hive weighs without its bees, whether
    the scale was set to zero under an empty hive or not.
    """
    half = size_of(hive, numbers)
    guess, sd = (half * numbers[f"timing.stores_unknown{part}_kg"] for part in ("", "_sd"))
    found = Estimate(guess + (hive.risen_kg if hive.risen_kg > sd else 0.0), sd, "unknown")
    most = (hive.gross_kg or 0.0) - bees_kg(hive, numbers)
    high = found.three[2]
    if most <= 0 or high <= most:  # a scale that shows less than bees weigh tells nothing
        return found
    return Estimate(found.kg * most / high, found.sd_kg * most / high, "unknown")


def overweight(hive: HiveNow, numbers: Numbers) -> bool:
    """Whether the scale tells of far more honey than all frames hold: a box is not named, or wood_kg or
    the scale's zero is wrong."""
    told = _by_weight(hive, numbers)
    if told is None or not hive.boxes:
        return False
    room = sum(box.frames * frame_kg(box.kind, numbers) for box in hive.boxes)
    return told.kg - 2 * told.sd_kg > room


def _by_weight(hive: HiveNow, numbers: Numbers) -> Estimate | None:
    wood = wood_of(hive, numbers)
    if hive.gross_kg is None or wood is None:
        return None
    brood = hive.brooding * numbers["timing.brood_most_kg"] * size_of(hive, numbers)
    inside = hive.gross_kg - wood.kg - bees_kg(hive, numbers) - brood - numbers["timing.pollen_kg"]
    parts = (numbers[f"timing.{part}_sd_kg"] for part in ("bees", "brood", "pollen"))
    return Estimate(inside, hypot(wood.sd_kg, *parts), "weight")


def bees_kg(hive: HiveNow, numbers: Numbers) -> float:
    """Weight of the bees: by the frames they cover, else by the season. [kg]"""
    if hive.frames_of_bees is not None:
        return hive.frames_of_bees * numbers["timing.bees_frame_kg"]
    least, most = numbers["timing.bees_least_kg"], numbers["timing.bees_most_kg"]
    return (least + hive.brooding * (most - least)) * size_of(hive, numbers)


def wood_of(hive: HiveNow, numbers: Numbers) -> Estimate | None:
    """Boxes, floor, roof and combs without honey: as stated, else by the kinds of box. [kg]"""
    if hive.wood_kg is not None:
        return Estimate(hive.wood_kg, numbers["timing.wood_sd_kg"], "keeper")
    if not hive.boxes:
        return None
    kg = numbers["timing.wood_base_kg"] + sum(_wood_kg(box, numbers) for box in hive.boxes)
    return Estimate(kg, numbers["timing.wood_guess_sd_frac"] * kg, "boxes")


def _wood_kg(box: Box, numbers: Numbers) -> float:
    kind = FRAMES[box.kind]
    return numbers[f"timing.wood_{kind}_kg"] * box.frames / USUAL_FRAMES


def _by_frames(boxes: Sequence[Box], numbers: Numbers) -> Estimate | None:
    if not boxes or any(box.full is None for box in boxes):
        return None
    kg = sum(box.full * frame_kg(box.kind, numbers) for box in boxes)
    return Estimate(kg, hypot(numbers["timing.frames_sd_frac"] * kg, 1.0), "boxes")


def _by_keeper(hive: HiveNow, numbers: Numbers) -> Estimate | None:
    if hive.keeper_kg is None:
        return None
    return Estimate(
        hive.keeper_kg, hypot(numbers["timing.keeper_sd_frac"] * hive.keeper_kg, 1.0), "keeper"
    )


def frame_kg(kind: str, numbers: Numbers) -> float:
    """Honey in a full frame of this kind of box. [kg]"""
    return numbers[f"scale_log.frame_{FRAMES[kind]}_kg"]


def free_of(hive: HiveNow, stores: Estimate, numbers: Numbers) -> Estimate | None:
    """What the empty drawn combs of the hive can still take; None when nobody says what is drawn. [kg]

    From the full frames where every box has them, else from the stores. The brood nest takes its
    combs first, from the boxes in which the queen lays. Foundation is not drawn comb.
    """
    boxes = hive.boxes
    if not boxes or any(box.full is None and box.drawn is None for box in boxes):
        return None
    known = all(box.full is not None for box in boxes)
    told = [(box.kind, box.combs, box.full or 0.0) for box in boxes]
    nest = _nest_kg(hive, numbers)
    if known:
        kg = free_comb(told, numbers)
        return Estimate(kg - nest, hypot(numbers["timing.frames_sd_frac"] * kg, 1.0), "boxes")
    if stores.how == "unknown":
        return None
    room = free_comb([(kind, combs, 0.0) for kind, combs, _ in told], numbers)
    sd = hypot(stores.sd_kg, numbers["timing.frames_sd_frac"] * nest)
    return Estimate(room - nest - stores.kg, sd, stores.how)


def _nest_kg(hive: HiveNow, numbers: Numbers) -> float:
    """What the combs of the brood nest would hold, no more than the boxes it stands in have free."""
    nest = (
        size_of(hive, numbers)
        * hive.brooding
        * numbers["timing.nest_frames"]
        * frame_kg("deep", numbers)
    )
    laying = [b for b in hive.boxes if b.kind in NEST_BOXES] or list(hive.boxes[:1])
    free = free_comb([(b.kind, b.combs, b.full or 0.0) for b in laying], numbers)
    return min(nest, free)


def share_of(own_kg: pd.Series, yard_kg: pd.Series, numbers: Numbers) -> tuple[float, float] | None:
    """What a hive brings in as a share of the yard's middle hive, and how sure that is, in the log.

    Parameters
    ----------
    own_kg, yard_kg : Series
        Daily gains by date of the hive and of the yard's middle hive. [kg] Days on which the yard
        gained `timing.share_day_kg` count, the last `timing.share_back_d` of them.

    Notes
    -----
    Drawn towards an equal share as though `timing.share_prior_d` days had shown one.
    """
    both = pd.concat([own_kg, yard_kg], axis=1, keys=["own", "yard"]).dropna()
    both = both[both["yard"] >= numbers["timing.share_day_kg"]].tail(
        int(numbers["timing.share_back_d"])
    )
    own = both["own"].clip(lower=0.0).sum()
    if own <= 0:
        return None
    trust = len(both) / (len(both) + numbers["timing.share_prior_d"])
    share = (own / both["yard"].sum()) ** trust
    sd = numbers["timing.share_log_sd"] * (1.0 - trust)
    return float(share), float(hypot(sd, numbers["timing.share_drift_sd"]))


def size_of(hive: HiveNow, numbers: Numbers) -> float:
    """How much of a full colony stands in the hive. [1]"""
    return numbers["timing.nucleus_size"] if hive.nucleus else 1.0


def floor_of(hive: HiveNow, numbers: Numbers) -> float:
    """Stores never to go below. [kg]"""
    return numbers["timing.floor_nucleus_kg" if hive.nucleus else "timing.floor_kg"]
