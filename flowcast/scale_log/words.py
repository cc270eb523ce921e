"""Plain words for steps: what the keeper wrote, and what a jump not in work.csv may have been."""

import numpy as np
import pandas as pd

from flowcast.numbers import Numbers

ANOTHER_SCALE = "another scale"  # in place of a word of work.csv: yard.toml tells when it began


def by_night(local: pd.Timestamp, gap_h: float, numbers: Numbers) -> bool:
    """Whether a jump whose time is known fell into hours in which nobody works at a hive."""
    hour = local.hour + local.minute / 60
    start, end = numbers["scale_log.work_start_h"], numbers["scale_log.work_end_h"]
    return gap_h <= numbers["scale_log.match_h"] and not start <= hour < end


def unlogged_note(
    kg: float,
    local: pd.Timestamp,
    found: list[tuple[str, float]],
    gap_h: float,
    numbers: Numbers,
) -> str:
    """A line such as "about +4.3 kg at 10:40, not in work.csv: boxes on (8 in 10), or feed?"."""
    known = gap_h <= numbers["scale_log.match_h"]
    when = f"at {local:%H:%M}" if known else f"within {_span(gap_h)} without readings"
    first, chance = found[0]
    more = [word for word, share in found[1:3] if share >= 0.15]
    guess = f"{first} ({_in_ten(chance)}){''.join(f', or {word}' for word in more)}?"
    return f"about {_signed(kg)} {when}, not in work.csv: {guess}"


def _in_ten(chance: float) -> str:
    return "nearly sure" if chance >= 0.95 else f"{max(1, round(10 * chance))} in 10"


def logged_note(what: str, how: str, measured: float, stated: float, disagrees: bool) -> str:
    """How the size of a step from work.csv was come by, and where the keeper's differs."""
    words = {
        "measured": "from work.csv, measured",
        "stated": "from work.csv, weight as stated",
        "unknown": "from work.csv, size not known: nothing taken out",
        "sized": "from work.csv, size not known: taken as what the span changed beyond the usual",
        "not seen": "from work.csv, no such jump in the weight: nothing taken out",
    }[how]
    if what == ANOTHER_SCALE:
        return words.replace("work.csv", "yard.toml")
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
