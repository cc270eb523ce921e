"""Weights of a hive -> faults marked, work taken out, night weights, daily net gain.

`clean_log` cleans one log; `yard_gains`, `hive_strengths` and `apart` look at several together.
Weight in minus weight out minus work equals the sum of gains: nothing is dropped without being
counted, and a day that cannot be trusted is part of a longer span, never zero.
"""

from flowcast.scale_log.causes import explain
from flowcast.scale_log.clean import clean_log
from flowcast.scale_log.log import CleanLog
from flowcast.scale_log.within import within_days
from flowcast.scale_log.yard import apart, hive_strengths, yard_gains

__all__ = [
    "CleanLog",
    "apart",
    "clean_log",
    "explain",
    "hive_strengths",
    "within_days",
    "yard_gains",
]
