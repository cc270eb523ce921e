"""A first yard.toml for a new yard, with every choice explained where it stands."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import date
from pathlib import Path

from flowcast.errors import InputError
from flowcast.yard.settings import FILE_NAME, parse_settings

HEAD = """\
# What flowcast knows about this yard. Lines that begin with # are notes and are not read.
# After a change, look with:  flowcast check {folder}

[yard]
name = {name}
latitude = {latitude}        # degrees, south is negative
longitude = {longitude}       # degrees, west is negative
{elevation}
# timezone = "Europe/Prague"   # looked up from the coordinates when left out
# flow_day_kg = 0.5            # daily gain of the middle hive from which you speak of a flow
# season_start = "01-01"       # set it where midwinter would cut a flow in two
# units = "kg"                 # or "lb"
# dates = "9 November 2026"    # or "November 9, 2026", or "2026-11-09"
# language = "en"              # or that of a words-xx.toml beside this file
# visit_days = ["sat", "sun"]  # the days on which you come; any day if not given
# visit_every_d = 7            # days from one visit to the next
# learn_from = ["../creek"]    # folders of your other yards near here whose hives are weighed
"""

HIVE = """
[[hive]]
name = {name}
kind = "honey"                 # or "nucleus"
# frames_of_bees = 8           # frames covered with bees when you last looked
# queenright = true
# boxes = [ {{ kind = "deep", frames = 10, drawn = 10, full = 4 }} ]
# wood_kg = 24                 # hive with its combs, without bees and honey
# stores_kg = 12               # your own estimate of the honey in it
# seen = 2026-05-31            # the day of which all this is; today if not given
# from = 2026-04-18            # when the colony came, and as what:
# came_as = "swarm"            # colony | nucleus | package | swarm
# A scale log, with any column names. Leave it out when nothing is weighed.
# scale = {{ file = "scale-{file}.csv", time = "time", weight = "weight", unit = "kg", clock = "local" }}
"""

FORAGE = """
# What you know blooms here and gives nectar. It may stay empty; every line helps, most of all in
# the first season. strength: light | fair | heavy. follows: warmth (spring and early summer),
# day length (goldenrod, ivy, heather, aster), rain (eucalypts, paperbark, the tropics), dates.
"""

PLANT = """
[[forage]]
name = {name}
from = {first}
to = {last}
strength = {strength}
follows = {follows}
irregular = false              # true: some years it does not bloom at all
"""

NO_PLANT = """\
#
# [[forage]]
# name = "lime tree"
# from = "06-10"
# to = "07-01"
# strength = "fair"
# follows = "warmth"
"""

TAIL = """
[beetle]
present = "unknown"            # are small hive beetles established here? true | false | "unknown"

[weather]                      # without a file of your own, public weather services are asked
# contact = "you@example.org"  # told to the services, so that they can reach you; MET Norway asks for it
# commercial = false           # true: the free Open-Meteo host is not for you, set a key
# services = ["open-meteo"]    # only these; with a file of your own: these too
# file = "weather.csv"         # hourly: time_utc, temp_c, rh_pct, precip_mm, wind_ms, ghi_wm2 ...
#                              # daily: date, temp_max_c, temp_min_c, precip_mm, wind_ms ...
# columns = {{ temp_max_c = "their name" }}
# shelter = 0.7                # share of the open-country wind that bees meet at your hives

# [numbers]                    # any number of the report's list, by its name
# "foraging.day_h" = 4
"""


def yard_text(
    *,
    folder: str,
    name: str,
    latitude: float,
    longitude: float,
    elevation_m: float | None = None,
    hives: Sequence[str] = (),
    plants: Sequence[dict[str, str]] = (),
) -> str:
    """The text of a commented yard.toml.

    Parameters
    ----------
    plants : sequence of dict
        Keys name, first, last ("MM-DD") and optionally strength and follows.
    """
    # A JSON string is a TOML basic string, quotes and control characters included.
    parts = [
        HEAD.format(
            folder=folder,
            name=_quoted(name),
            latitude=latitude,
            longitude=longitude,
            elevation="# elevation_m = 250"
            if elevation_m is None
            else f"elevation_m = {elevation_m:g}",
        )
    ]
    parts += [HIVE.format(name=_quoted(h), file=_file_part(h)) for h in hives or ["hive 1"]]
    parts.append(FORAGE)
    parts += [_plant(plant) for plant in plants] or [NO_PLANT]
    parts.append(TAIL.format())
    return "".join(parts)


def write_new_yard(folder: Path, text: str) -> Path:
    """Write yard.toml into a new or empty place; never over one that is there.

    Raises
    ------
    InputError
        When the text is no valid yard, there is a yard.toml already, or the folder cannot be made
        or written.
    """
    path = folder / FILE_NAME
    parse_settings(text)
    if path.exists():
        raise InputError(f"{path}: is there already and was left as it is. Choose another folder.")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except OSError as error:
        raise InputError(
            f"{folder}: cannot be written ({error.strerror}). Choose another place."
        ) from None
    return path


def _plant(plant: dict[str, str]) -> str:
    words = {"strength": "fair", "follows": "warmth", **plant}
    return PLANT.format(**{key: _quoted(word) for key, word in words.items()})


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def _file_part(hive: str) -> str:
    return "".join(c if c.isalnum() else "-" for c in hive)


def plant_from_words(words: str) -> dict[str, str]:
    """A plant from "lime tree 06-10 07-01 heavy".

    Raises
    ------
    InputError
        When the two dates are not there.
    """
    parts = words.split()
    strength = parts.pop() if parts and parts[-1] in ("light", "fair", "heavy") else "fair"
    if len(parts) < 3 or any(not _is_month_day(p) for p in parts[-2:]):
        raise InputError(
            f'--forage "{words}": write a name, first and last day of bloom, such as "lime tree 06-10 07-01 heavy".'
        )
    return {
        "name": " ".join(parts[:-2]),
        "first": parts[-2],
        "last": parts[-1],
        "strength": strength,
    }


def _is_month_day(text: str) -> bool:
    try:
        date.fromisoformat(f"2024-{text}")
    except ValueError:
        return False
    return True
