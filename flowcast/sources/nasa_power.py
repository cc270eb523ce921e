"""NASA POWER: hourly history since 2001 on a coarse grid, the fallback of the archive.

Its hours are labelled by their START and its local time is solar unless asked otherwise; both are
put right here. https://power.larc.nasa.gov/docs/services/api/temporal/hourly/
"""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd

from flowcast.errors import NothingThere, SourceFormatError
from flowcast.sources.http import FOR_EVER, Web
from flowcast.sources.service import (
    Block,
    Origin,
    Service,
    Site,
    read_json,
    wild_notes,
    within_bounds,
)

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
# What a unit becomes, by parameter kind: factor. MJ an hour is 1e6 J over 3600 s.
UNITS = {
    "C": 1.0,
    "%": 1.0,
    "mm/hour": 1.0,
    "m/s": 1.0,
    "Wh/m^2": 1.0,
    "W/m^2": 1.0,
    "W m-2": 1.0,
    "MJ/hr": 1e6 / 3600,
    "MJ/m^2/hour": 1e6 / 3600,
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
    table, origin = parse_hours(answer.content)
    return Block(table, origin.signed(POWER, origin.model, answer))


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
    series = {
        c: _series(given[n], units.get(n, {}).get("units", ""), n, fill) for c, n in found.items()
    }
    table = pd.DataFrame(series).sort_index()
    # The key is the START of its hour; means over the hour belong to its end, as instants nearly do.
    table.index = (table.index + pd.Timedelta(hours=1)).rename("time")
    table, wild = within_bounds(table)
    known = np.flatnonzero(table["temp_c"].notna() & table["precip_mm"].notna())
    if not len(known):
        raise NothingThere("NASA POWER: it has nothing for this place and span.")
    table = table.iloc[known[0] : known[-1] + 1]
    return table, _origin(reply, header, found, units, wild)


def _parts(reply) -> tuple[dict, dict, dict]:
    try:
        return reply["properties"]["parameter"], reply["parameters"], reply["header"]
    except (KeyError, TypeError):
        raise SourceFormatError("NASA POWER: its answer has an unknown shape.") from None


def _series(values: dict, unit: str, name: str, fill: float) -> pd.Series:
    if unit not in UNITS:
        raise SourceFormatError(f"NASA POWER: {name} comes in {unit!r}, a unit we do not know.")
    try:
        index = pd.to_datetime(list(values), format="%Y%m%d%H", utc=True)
        numbers = np.array(list(values.values()), dtype=float)
    except (ValueError, TypeError):
        raise SourceFormatError(f"NASA POWER: {name} cannot be read.") from None
    return pd.Series(np.where(numbers == fill, np.nan, numbers) * UNITS[unit], index=index)


def _is_weather(content: bytes) -> None:
    _parts(read_json(content, "NASA POWER"))


def _origin(reply, header, found, units, wild) -> Origin:
    longitude, latitude, *height = reply.get("geometry", {}).get("coordinates", [None, None, None])
    made = {c: f"{n}, {units[n]['units']}, mean of the hour" for c, n in found.items()}
    return Origin(
        model=" and ".join(header.get("sources", [])) or "MERRA-2 and CERES",
        issued=header.get("api", {}).get("version"),
        cell=(latitude, longitude, height[0] if height else None),
        columns=made,
        notes=wild_notes(wild, "NASA POWER"),
    )
