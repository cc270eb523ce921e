"""NASA POWER: hourly history since 2001 on a coarse grid, the fallback of the archive.

Its hours are labelled by their START and its local time is solar unless asked otherwise; both are
put right here. https://power.larc.nasa.gov/docs/services/api/temporal/hourly/
"""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd

from flowcast.errors import NothingThere, SourceFormatError
from flowcast.messages import Amount, Note
from flowcast.sources.http import FOR_EVER, Web
from flowcast.sources.service import (
    Block,
    Origin,
    Service,
    Site,
    cell_of,
    known_shape,
    read_json,
    wild_notes,
    within_bounds,
)
from flowcast.sources.stations import to_yard_height
from flowcast.tables import WEATHER

POWER = Service(
    name="NASA POWER",
    url="https://power.larc.nasa.gov",
    licence="NASA open data, free to use with acknowledgement",
    attribution=(
        "Data from the NASA Langley Research Center POWER Project, funded through the NASA Earth "
        "Science Directorate Applied Science Program"
    ),
    link="https://power.larc.nasa.gov/",
)
FIRST_DAY = date(2001, 1, 1)
NAMES = {
    "temp_c": "T2M",
    "rh_pct": "RH2M",
    "dewpoint_c": "T2MDEW",
    "precip_mm": "PRECTOTCORR",
    "wind_ms": "WS10M",
    "ghi_wm2": "ALLSKY_SFC_SW_DWN",
}
# Our unit, and by how much to multiply. MJ an hour is 1e6 J over 3600 s.
UNITS = {
    "C": ("°C", 1.0),
    "%": ("%", 1.0),
    "mm/hour": ("mm", 1.0),
    "m/s": ("m/s", 1.0),
    "Wh/m^2": ("W/m²", 1.0),
    "W/m^2": ("W/m²", 1.0),
    "W m-2": ("W/m²", 1.0),
    "MJ/hr": ("W/m²", 1e6 / 3600),
    "MJ/m^2/hour": ("W/m²", 1e6 / 3600),
}


def get_history(web: Web, site: Site, first: date, last: date, today: date) -> Block:
    """Hourly history of a span, at best one calendar year. [network]

    Raises
    ------
    SourceUnavailable, SourceFormatError
    """
    numbers = web.numbers
    settled = (today - last).days > numbers["service.power_settled_d"]
    asked = {
        "parameters": ",".join(NAMES.values()),
        "community": "RE",
        "latitude": f"{site.latitude:g}",
        "longitude": f"{site.longitude:g}",
        "start": f"{first:%Y%m%d}",
        "end": f"{last:%Y%m%d}",
        "format": "JSON",
        "time-standard": "UTC",
    }
    answer = web.get(
        POWER,
        "/api/temporal/hourly/point",
        asked,
        lifetime_s=FOR_EVER if settled else 86400 * numbers["service.power_d"],
        what=f"weather of {first:%Y-%m-%d} to {last:%Y-%m-%d}",
        usable=_is_weather,
    )
    table, origin = _at_the_yard(*parse_hours(answer.content), site, numbers)
    return Block(table, origin.signed(POWER, origin.model, answer))


@known_shape("NASA POWER")
def parse_hours(content: bytes) -> tuple[pd.DataFrame, Origin]:
    """POWER's hourly JSON to our columns: fill values missing, labels moved to the hour's end.

    Raises
    ------
    SourceFormatError
        For another shape, local solar time, or a unit we do not know.
    NothingThere
        When every value is a fill value.
    """
    reply = read_json(content, "NASA POWER")
    given, units, header = _parts(reply)
    if header.get("time_standard", "UTC") != "UTC":
        raise SourceFormatError("NASA POWER: it answered in local solar time, not in UTC.")
    fill = float(header.get("fill_value", -999.0))
    found = {c: n for c, n in NAMES.items() if n in given}
    for needed in ("temp_c", "precip_mm"):
        if needed not in found:
            raise SourceFormatError(f"NASA POWER: {NAMES[needed]} is not in the answer.")
    series = {c: _series(given[n], _factor(units, c, n), n, fill) for c, n in found.items()}
    table = pd.DataFrame(series).sort_index()
    # The key is the START of its hour; means over the hour belong to its end, as instants nearly do.
    table.index = (table.index + pd.Timedelta(hours=1)).rename("time")
    table, wild = within_bounds(table)
    known = np.flatnonzero(table["temp_c"].notna() & table["precip_mm"].notna())
    if not len(known):
        raise NothingThere("NASA POWER: it has nothing for this place and span.")
    table = table.iloc[known[0] : known[-1] + 1]
    return table, _origin(reply, header, found, units, wild)


def _at_the_yard(table, origin: Origin, site: Site, numbers) -> tuple[pd.DataFrame, Origin]:
    """Temperature brought from the cell's mean height to the yard's, where both are known."""
    if site.elevation_m is None or origin.cell is None or origin.cell[2] is None:
        return table, origin
    above_m = origin.cell[2] - site.elevation_m
    if abs(above_m) < numbers["stations.lapse_from_m"]:
        return table, origin
    moved = to_yard_height(table, above_m, numbers=numbers)
    if "rh_pct" in moved:
        moved = moved.drop(columns="dewpoint_c", errors="ignore")  # follows from the rest
    by_c = numbers["stations.lapse_c_km"] * above_m / 1000
    told = {"height": Amount(abs(above_m), "m"), "by": Amount(by_c, "K", 1, "+")}
    lies = "corrected.cell_above" if above_m > 0 else "corrected.cell_below"
    return moved, origin.corrected(Note.of(lies, **told))


def _parts(reply) -> tuple[dict, dict, dict]:
    try:
        return reply["properties"]["parameter"], reply["parameters"], reply["header"]
    except (KeyError, TypeError):
        raise SourceFormatError("NASA POWER: its answer has an unknown shape.") from None


def _factor(units: dict, column: str, name: str) -> float:
    unit = str(units.get(name, {}).get("units", ""))
    ours, factor = UNITS.get(unit, ("", 1.0))
    if ours != WEATHER[column].unit:
        raise SourceFormatError(f"NASA POWER: {name} comes in {unit!r}, a unit we do not know.")
    return factor


def _series(values: dict, factor: float, name: str, fill: float) -> pd.Series:
    try:
        index = pd.to_datetime(list(values), format="%Y%m%d%H", utc=True)
        numbers = np.array(list(values.values()), dtype=float)
    except (ValueError, TypeError, OverflowError):
        raise SourceFormatError(f"NASA POWER: {name} cannot be read.") from None
    if index.has_duplicates:
        raise SourceFormatError(f"NASA POWER: {name} has an hour twice.")
    return pd.Series(np.where(numbers == fill, np.nan, numbers) * factor, index=index)


def _is_weather(content: bytes) -> None:
    _parts(read_json(content, "NASA POWER"))


def _origin(reply, header, found, units, wild) -> Origin:
    longitude, latitude, *height = reply.get("geometry", {}).get("coordinates", [None, None])
    made = {c: f"{n}, {units[n]['units']}, mean of the hour" for c, n in found.items()}
    return Origin(
        model=" and ".join(header.get("sources", [])) or "MERRA-2 and CERES",
        issued=header.get("api", {}).get("version"),
        cell=cell_of(latitude, longitude, *height[:1]),
        columns=made,
        notes=wild_notes(wild, "NASA POWER"),
    )
