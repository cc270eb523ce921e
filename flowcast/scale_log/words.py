"""Plain words for steps: what the keeper wrote, and what a jump not in work.csv may have been."""

import numpy as np
import pandas as pd

from flowcast.numbers import Numbers


def guess(kg: float, local: pd.Timestamp, gap_h: float, numbers: Numbers) -> str:
    """A likely cause in words from size, sign and local hour; always with its question mark."""
    if by_night(local, gap_h, numbers):
        return f"{'rain or snow on' if kg > 0 else 'snow off'} the hive, or the scale shifted?"
    if kg > 0:
        return _guess_gain(kg, numbers)
    if kg <= -numbers["scale_log.harvest_kg"]:
        return "honey off?"
    hour = local.hour + local.minute / 60
    noon = numbers["scale_log.swarm_start_h"] <= hour <= numbers["scale_log.swarm_end_h"]
    noon |= gap_h > numbers["scale_log.match_h"]
    return "a swarm, or frames out?" if noon else "frames or a box off?"


def by_night(local: pd.Timestamp, gap_h: float, numbers: Numbers) -> bool:
    """Whether a jump whose time is known fell into hours in which nobody works at a hive."""
    hour = local.hour + local.minute / 60
    start, end = numbers["scale_log.work_start_h"], numbers["scale_log.work_end_h"]
    return gap_h <= numbers["scale_log.match_h"] and not start <= hour < end


def _guess_gain(kg: float, numbers: Numbers) -> str:
    if kg < numbers["scale_log.box_kg"]:
        return "frames in or feed?"
    loaded = kg >= numbers["scale_log.load_kg"]
    return "several boxes on, or the scale shifted?" if loaded else "boxes on or feed?"


def unlogged_note(
    kg: float, local: pd.Timestamp, cause: str, gap_h: float, numbers: Numbers
) -> str:
    """A line such as "about +4.3 kg at 10:40, not in work.csv: boxes on or feed?"."""
    known = gap_h <= numbers["scale_log.match_h"]
    when = f"at {local:%H:%M}" if known else f"within {_span(gap_h)} without readings"
    return f"about {_signed(kg)} {when}, not in work.csv: {cause}"


def logged_note(what: str, how: str, measured: float, stated: float, disagrees: bool) -> str:
    """How the size of a step from work.csv was come by, and where the keeper's differs."""
    words = {
        "measured": "from work.csv, measured",
        "stated": "from work.csv, weight as stated",
        "unknown": "from work.csv, size not known: nothing taken out",
        "not seen": "from work.csv, no such jump in the weight: nothing taken out",
    }[how]
    if disagrees and np.isfinite(stated):
        shown = "none" if how == "not seen" else _signed(measured)
        ask = "was more done?" if measured else "right day and hive?"
        words += f"; stated {_signed(stated)}, the scale shows {shown}: {ask}"
    if "feed" in what.split(" and ") and how != "not seen":
        end = " " if words.endswith("?") else ". "
        words += f"{end}The water of the syrup dries off later and stays in the gains."
    return words


def _signed(kg: float) -> str:
    return f"{kg:+.1f} kg".replace("-", "−")


def _span(hours: float) -> str:
    return f"{hours:.0f} hours" if hours < 48 else f"{hours / 24:.0f} days"
