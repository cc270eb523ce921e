"""Faults: answers that are misshapen, damaged or not answers at all."""

import gzip

import pandas as pd

from loopback.others import FILL, STATION_COLUMNS

OTHER_UNIT = {
    "°C": "°F",
    "celsius": "fahrenheit",
    "C": "F",
    "mm": "inch",
    "mm/hour": "inch/hour",
    "m/s": "mp/h",
    "km/h": "kn",
    "W/m²": "MJ/m²",
    "Wh/m^2": "kW-hr/m^2/day",
    "kPa": "atm",
    "hPa": "mbar",
    "m³/m³": "%",
}
LOGIN = b"<!DOCTYPE html><html><title>Sign in</title><body><form>Guest network</form></body></html>"
SHAPE_FAULTS = ("missing columns", "wrong units", "list", "nulls")
BODY_FAULTS = ("broken json", "stream error", "half gzip")
WIRE_FAULTS = ("refuse", "reset", "drip")
REPLY_FAULTS = ("html", "status", "redirect")


def cells(data):
    """Where the values of each variable lie: name -> list of (container, key)."""
    if isinstance(data, pd.DataFrame):
        return {c: [(data, c)] for c in STATION_COLUMNS if c in data}
    if "hourly" in data:
        return {n: [(data["hourly"], n)] for n in data["hourly"] if n != "time"}
    properties = data.get("properties", {})
    if "parameter" in properties:
        return {n: [(properties["parameter"], n)] for n in properties["parameter"]}
    steps = [step["data"]["instant"]["details"] for step in properties.get("timeseries", ())]
    found = {}
    for container in steps or data.get("results", [data]):
        for name in container:
            found.setdefault(name, []).append((container, name))
    return found


def unit_blocks(data):
    """The dictionaries that tell units, as (container, key of the unit)."""
    if "parameters" in data:
        return [(about, "units") for about in data["parameters"].values()]
    units = data.get("hourly_units") or data.get("properties", {}).get("meta", {}).get("units", {})
    return [(units, name) for name in units]


def nothing_like(values):
    """Missing values in the place of these, in the service's own marker."""
    if isinstance(values, pd.Series):
        return pd.Series(pd.NA, values.index)
    if isinstance(values, dict):
        return dict.fromkeys(values, FILL)
    return [None] * len(values) if isinstance(values, list) else None


def misshapen(name, data):
    """The reply's data with one of SHAPE_FAULTS."""
    if name == "list":
        return [data] if not isinstance(data, pd.DataFrame) else data
    parts = data if isinstance(data, list) else [data]
    for part in parts:
        {"missing columns": _leave_out, "nulls": _blank, "wrong units": _other_units}[name](part)
    return data


def _leave_out(data):
    """Every second variable goes, the only one too."""
    found = cells(data)
    for name in list(found)[1::2] or list(found):
        for container, key in found[name]:
            del container[key]
        for block in ("hourly_units", "parameters"):
            if not isinstance(data, pd.DataFrame):
                data.get(block, {}).pop(name, None)


def _blank(data):
    """The first variable, with all its members, is missing everywhere."""
    found = cells(data)
    first = next(iter(found))
    for name in found:
        if name.partition("_member")[0] == first:
            for container, key in found[name]:
                container[key] = nothing_like(container[key])


def _other_units(data):
    """Units that nobody asked for are declared; the numbers stay."""
    for container, key in [] if isinstance(data, pd.DataFrame) else unit_blocks(data):
        container[key] = OTHER_UNIT.get(container[key], container[key])


def damaged(name, body, packed):
    """The bytes with one of BODY_FAULTS, and whether they are to be called gzip."""
    if name == "half gzip":
        body = body if packed else gzip.compress(body, 1, mtime=0)
        return body[: len(body) // 2], not packed
    half = body[: len(body) // 2]
    told = (
        b"Unexpected error while streaming data: timeout reached" if name == "stream error" else b""
    )
    return half + told, False
