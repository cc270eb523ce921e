"""Small hive beetles: breeding weather, the beetles that stand, and what a count means. Pure.

stages (what temperature, water and damp do to each stage) -> traits (draws over what is not known)
-> course (breeding weather, pressure and standing stock, day by day) -> clock (cohorts, generations)
-> outlook (what is read off the days ahead); counts (a beetle tray read against the stock);
presence (where the beetle lives, as far as it is known).
"""

from flowcast.beetle.counts import Count, Reading, expected_counts, read_counts
from flowcast.beetle.course import Course, Drivers, run_course
from flowcast.beetle.outlook import BeetleOutlook, read_outlook
from flowcast.beetle.presence import Presence, presence_at
from flowcast.beetle.traits import Traits, draw_traits, typical_traits

__all__ = [
    "BeetleOutlook",
    "Count",
    "Course",
    "Drivers",
    "Presence",
    "Reading",
    "Traits",
    "draw_traits",
    "expected_counts",
    "presence_at",
    "read_counts",
    "read_outlook",
    "run_course",
    "typical_traits",
]
