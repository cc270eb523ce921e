"""The one place that joins files and services to models.

gather (what the files and services hold) -> record (what was known before an issue date, cut
first) -> run (fit, draw, read); beetles (the same for the beetles), timing
(dates for the work) with hives (what is known of each); backtest (from past dates); report (all that a page tells).
"""

from flowcast.pipeline.backtest import MODES, backtest
from flowcast.pipeline.beetles import beetle_outlook, beetles, beetles_from
from flowcast.pipeline.explain import explain, kilograms_of, last_season
from flowcast.pipeline.gather import Reach, Sources, read_sources
from flowcast.pipeline.record import default_issue_date, known_before
from flowcast.pipeline.report import report
from flowcast.pipeline.run import (
    check,
    fit_record,
    outlook,
    outlook_from,
    plants_of,
    pull,
    record_of,
    standing_of,
)
from flowcast.pipeline.timing import timing, timing_from

__all__ = [
    "MODES",
    "Reach",
    "Sources",
    "backtest",
    "beetle_outlook",
    "beetles",
    "beetles_from",
    "check",
    "default_issue_date",
    "explain",
    "fit_record",
    "kilograms_of",
    "known_before",
    "last_season",
    "outlook",
    "outlook_from",
    "plants_of",
    "pull",
    "read_sources",
    "record_of",
    "report",
    "standing_of",
    "timing",
    "timing_from",
]
