"""What the pipeline hands to whoever shows it: records, outlooks and checks as plain objects."""

from __future__ import annotations

from dataclasses import dataclass, field

import pandas as pd

from flowcast.flow.days import Days
from flowcast.flow.fit import FlowModel
from flowcast.flow.outlook import Outlook
from flowcast.flow.standing import Standing
from flowcast.scale_log import CleanLog
from flowcast.weather import Normals, Weather
from flowcast.yard import Yard


@dataclass(frozen=True)
class Record:
    """What is known of a yard on the morning of the issue date.

    daily: index every local date up to the day before, columns of `tables.SEASON_DAY` and the
    hours lost to each factor. spans: `tables.GAIN` of the yard. notes: plain sentences on what
    was filled, marked or left out.
    """

    yard: Yard
    issue_date: pd.Timestamp
    weather: Weather
    daily: pd.DataFrame
    normals: Normals
    days: Days
    logs: list[CleanLog]
    spans: pd.DataFrame
    apart: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class YardOutlook:
    """An outlook with the record and the model it rests on."""

    record: Record
    model: FlowModel
    outlook: Outlook
    standing: Standing
    seed: int


@dataclass(frozen=True)
class Checked:
    """What could be understood of a yard, with or without its weather.

    record is None where there is no weather to speak of; logs are there all the same.
    """

    yard: Yard
    record: Record | None
    logs: list[CleanLog]
    notes: list[str]
