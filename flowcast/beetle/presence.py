"""Whether small hive beetles live at a place: the keeper's word, and a dated hint from the map."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files


@dataclass(frozen=True)
class Presence:
    """What is known of the beetle at a yard.

    stated: True, False or "unknown", the keeper's word in yard.toml. hint: "established",
    "in places", "not known" or "unsure", from the map alone; area and source say where that is from.
    """

    stated: bool | str
    hint: str
    area: str
    source: str

    @property
    def lives_here(self) -> bool:
        """The keeper says so: only then are counts and windows spoken of as presence."""
        return self.stated is True

    @property
    def kept_out(self) -> bool:
        """Not known to be established: no bands, only what to look for and whom to tell."""
        return self.stated is False or (self.stated == "unknown" and self.hint == "not known")


def presence_at(latitude: float, longitude: float, stated: bool | str) -> Presence:
    """The keeper's word beside the hint of the dated list `where.toml`."""
    import tzfpy

    zone = tzfpy.get_tz(longitude, latitude) or ""
    country = _countries().get(zone, "")
    for area in _areas():
        if _fits(area, zone, country, latitude, longitude):
            return Presence(stated, area["status"], area["name"], area["source"])
    return Presence(stated, "unsure", "", "")


def _fits(area: dict, zone: str, country: str, latitude: float, longitude: float) -> bool:
    south, west, north, east = area.get("box", (-90, -180, 90, 180))
    inside = south <= latitude <= north and west <= longitude <= east
    return inside and (zone in area.get("zones", ()) or country in area.get("countries", ()))


@cache
def _areas() -> list[dict]:
    return tomllib.loads(files("flowcast").joinpath("beetle/where.toml").read_text("utf-8"))["area"]


@cache
def _countries() -> dict[str, str]:
    """Time zone -> ISO 3166 code, from the tz database's own table."""
    text = files("tzdata").joinpath("zoneinfo/zone.tab").read_text("utf-8")
    rows = [line.split("\t") for line in text.splitlines() if not line.startswith("#")]
    return {row[2]: row[0] for row in rows if len(row) > 2}
