"""What is asked of the services and what they tell: names, invented places, replies, refusals."""

import gzip
import json
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

ARCHIVE, FORECAST, ENSEMBLE = "open-meteo archive", "open-meteo forecast", "open-meteo ensemble"
GEOCODING, ELEVATION = "open-meteo geocoding", "open-meteo elevation"
MET, POWER, METEOSTAT = "met norway", "nasa power", "meteostat"
PATHS = {
    "/v1/archive": ARCHIVE,
    "/v1/forecast": FORECAST,
    "/v1/ensemble": ENSEMBLE,
    "/v1/search": GEOCODING,
    "/v1/elevation": ELEVATION,
    "/weatherapi/locationforecast/2.0/compact": MET,
    "/api/temporal/hourly/point": POWER,
    "/stations.db": METEOSTAT,
}
SERVICES = tuple(dict.fromkeys(PATHS.values()))
HOUR, DAY = pd.Timedelta(hours=1), pd.Timedelta(days=1)
COLUMNS = [
    "temp_c",
    "rh_pct",
    "dewpoint_c",
    "precip_mm",
    "wind_ms",
    "ghi_wm2",
    "soil_temp_c",
    "soil_moisture_m3m3",
    "cloud_pct",
    "pressure_hpa",
]
LAPSE = 6.5  # °C a kilometre of height


@dataclass
class Asked:
    """One request as it came in, without cookies; status is 0 when it got no answer."""

    service: str
    method: str
    path: str
    params: dict[str, str]
    headers: dict[str, str]
    status: int = 0


@dataclass
class Station:
    """A weather station that never was; `without` names the columns its files leave out."""

    id: str
    name: str
    country: str
    region: str
    latitude: float
    longitude: float
    elevation: int
    years: tuple = tuple(range(2004, 2027))
    timezone: str = "UTC"
    without: tuple = ()


def invented_stations():
    """A handful of stations: near and low, near and high, farther off, and one in the south."""
    return [
        Station("AAAA1", "Exampleville Field", "IT", "LOM", 45.16, 10.12, 190),
        Station("AAAA2", "Exampleville Hill", "IT", "LOM", 45.22, 10.02, 640, without=("cldc",)),
        Station("AAAA3", "Sampleton", "IT", "LOM", 44.95, 10.4, 60, without=("prcp", "pres")),
        Station("AAAA4", "Closed Gate", "IT", "LOM", 45.12, 10.09, 205, tuple(range(2004, 2010))),
        Station("BBBB1", "Southtest Point", "AU", "TAS", -42.1, 147.2, 30),
    ]


def invented_places():
    """Places for the search: one name in two countries and, in one of them, in two regions."""
    columns = "name latitude longitude elevation population admin1".split()  # noqa: SIM905
    rome, hobart = ("IT", "Europe/Rome", "Italy"), ("AU", "Australia/Hobart", "Australia")
    rows = [
        (rome, "Exampleville", 45.1, 10.1, 52.0, 12000, "Lombardy"),
        (rome, "Exampleville", 43.4, 11.2, 310.0, 900, "Tuscany"),
        (hobart, "Exampleville", -42.1, 147.2, 30.0, None, "Tasmania"),
        (("FI", "Europe/Helsinki", "Finland"), "Exampleton", 62.3, 25.6, 120.0, 4000, "Kainuu"),
        (("KE", "Africa/Nairobi", "Kenya"), "Ex", -1.2, 36.9, 1660.0, 700, None),
    ]
    return [
        {"id": 3100001 + k, "feature_code": "PPL"}
        | dict(zip(columns, row, strict=True))
        | dict(zip(("country_code", "timezone", "country"), land, strict=True))
        for k, (land, *row) in enumerate(rows)
    ]


@dataclass
class Reply:
    """What goes back; `data` (dict, list or table) becomes the body unless `body` is given."""

    data: object = None
    status: int = 200
    kind: str = "application/json; charset=utf-8"
    headers: dict = field(default_factory=dict)
    body: bytes | None = None

    def encoded(self):
        """The body as bytes."""
        if self.body is not None:
            return self.body
        if isinstance(self.data, pd.DataFrame):
            return gzip.compress(self.data.to_csv(index=False).encode(), 1, mtime=0)
        return json.dumps(self.data, ensure_ascii=False, separators=(",", ":")).encode()


class Refused(Exception):
    """The service says no: (status, reason)."""


REASONS = {
    400: "Parameter 'latitude' is invalid.",
    403: "Forbidden",
    404: "Not Found",
    422: "Unprocessable request.",
    429: "Minutely API request limit exceeded. Please try again in one minute.",
    500: "Internal Server Error",
    502: "Bad Gateway",
    503: "The service is overloaded. Please try again later.",
    504: "Gateway Time-out",
}


def refusal(service, status, reason=None):
    """An error in the words and shape of its service; gateways in front of all speak HTML."""
    reason = reason or REASONS.get(status, "Error")
    if service.startswith("open-meteo") and status not in (502, 504):
        return Reply({"error": True, "reason": reason}, status)
    if service == POWER and status not in (502, 503, 504):
        told = "The POWER Hourly API failed to complete your request: please see the messages."
        return Reply({"header": told, "messages": [reason]}, status)
    page = (
        f"<html><head><title>{status} {reason}</title></head><body><h1>{reason}</h1></body></html>"
    )
    return Reply(status=status, kind="text/html; charset=UTF-8", body=page.encode())


def listed(values, digits):
    """Numbers rounded as the service does, missing as None; whole numbers without a point."""
    rounded = np.round(np.asarray(values, dtype=float), digits) + 0.0  # + 0.0: no minus zero
    if not np.isnan(rounded).any():
        return (rounded if digits else rounded.astype(int)).tolist()
    return [None if v != v else (v if digits else int(v)) for v in rounded.tolist()]


def number(params, name, low, high, status=400):
    """A number of the query inside its bounds, or a refusal in Open-Meteo's words."""
    try:
        value = float(params[name])
    except (KeyError, ValueError):
        raise Refused(status, f"Parameter '{name}' is missing or not a number.") from None
    if not low <= value <= high:
        title = name.capitalize()
        raise Refused(status, f"{title} must be in range of {low} to {high}°. Given: {value}.")
    return value
