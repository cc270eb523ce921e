"""Weights of a hive -> faults marked, work taken out, night weights, daily net gain.

`clean_log` cleans one log, in this order: `tidy`, `faults`, `jumps` and `work` (steps), `weathering`
(what warmth and water do to the scale), `nights` (gains), `causes`; `hand` does it for hand
weighings. `within` looks into a day, `room` at free comb, `colony` at whether one lives in the hive, `yard` at several hives together.
Weight in minus weight out minus work (and minus what weather makes the scale show) equals the sum
of gains: nothing is dropped without being counted, and a day that cannot be trusted is part of a longer span, never zero.
"""

from flowcast.scale_log.causes import explain
from flowcast.scale_log.clean import clean_log
from flowcast.scale_log.colony import not_eating
from flowcast.scale_log.log import CleanLog
from flowcast.scale_log.room import free_comb, mark_full
from flowcast.scale_log.within import within_days
from flowcast.scale_log.words import ANOTHER_SCALE
from flowcast.scale_log.yard import apart, hive_strengths, robbing, yard_gains

__all__ = [
    "ANOTHER_SCALE",
    "CleanLog",
    "apart",
    "clean_log",
    "explain",
    "free_comb",
    "hive_strengths",
    "mark_full",
    "not_eating",
    "robbing",
    "within_days",
    "yard_gains",
]
