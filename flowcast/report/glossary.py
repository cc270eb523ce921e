"""Words that a page uses and a new keeper may not know; a page explains only those it uses."""

from __future__ import annotations

import re
from dataclasses import dataclass


@dataclass(frozen=True)
class Word:
    """A term, how it is found in a page's text (a regular expression, case apart), what it means."""

    term: str
    found_by: str
    meaning: str


GLOSSARY = (
    Word("8 in 10, 8 times in 10", r"\b8 (times )?in 10\b",
         "Of ten such cases, eight should lie between the two figures, one below and one above."),
    Word("8 years of 10", r"\b8 years (of|in) 10\b",
         "The range of the yard's other years without the lowest tenth and the highest tenth."),
    Word("beetle breeding weather", r"breeding weather",
         "How well air and soil let small hive beetles multiply, from 0 to 100. It is no count of beetles."),
    Word("beetle tray", r"beetle tray",
         "A tray or trap laid in a hive for some days, in which beetles are caught and counted."),
    Word("brood", r"\bbrood\b", "Eggs, larvae and pupae: the young bees still in their cells."),
    Word("drawn comb", r"\bdrawn\b|empty comb",
         "Comb that the bees have built out. Foundation is only the sheet on which they build."),
    Word("flow", r"\bflow\b", "A time in which plants give so much nectar that hives grow heavier day by day."),
    Word("flow window", r"flow window", "Several flow days close together."),
    Word("foraging day", r"foraging days?\b", "A day with enough hours of flight for a day's work."),
    Word("foraging hours, hours of flight", r"foraging hours|hours of flight",
         "Hours warm, dry, bright and calm enough for bees to fly. Half good hours count as half."),
    Word("fondant", r"\bfondant\b", "Soft sugar dough, laid on above the bees in the cold months."),
    Word("futures", r"\bfutures?\b",
         "Courses that the time ahead may take, drawn many times; a chance says how many of them end so."),
    Word("generations", r"\bgenerations?\b", "Rounds from egg to beetle, counted at their quickest."),
    Word("jump", r"\bjumps?\b|\bjumped\b",
         "A change in weight too quick for bees: a box, a harvest, feed, a swarm."),
    Word("loss (of a forecast)", r"\bloss \d|loss, (kg|lb)|smaller loss",
         "How far forecasts missed, and how wide they had to be, in one figure. Smaller is better."),
    Word("middle", r"\bmiddle\b", "Half of the cases lie above it, half below."),
    Word("mite count", r"mite count|count mites", "Counting Varroa mites, on a board or in a sample of bees."),
    Word("nucleus", r"\bnucle(us|i)\b", "A small colony on a few frames."),
    Word("past years' weather", r"past years?'? weather|past years\b",
         "The weather of the same dates in earlier years, laid on from today's soil and warmth."),
    Word("precipitation index", r"precipitation index",
         "Rain laid on one scale with other years: 0 is the middle, below −1 dry, above 1 wet."),
    Word("queen cell", r"queen cells?", "A cell in which bees raise a new queen, often before they swarm."),
    Word("robbing", r"\brobbing\b", "Bees of one hive carrying off another's stores."),
    Word("simple forecaster", r"simple forecaster|climatology|persistence|damped blend",
         "A plain rule to measure against: climatology says what other years had, persistence that the "
         "last days go on, the damped blend lies between them."),
    Word("soil water", r"soil water|the soil holds|water plants can draw",
         "Water in the ground that roots can reach, as a share of the most it can hold for them."),
    Word("split", r"\bsplits?\b", "Making two colonies of one."),
    Word("standing beetles", r"standing beetles", "Grown beetles alive now, which came over the last months."),
    Word("stores", r"\bstores\b", "Honey and feed in the hive, which the bees live on."),
    Word("super", r"\bsupers?\b", "A box for honey above the brood."),
    Word("usual", r"\busual(ly)?\b", "What other years had here on the same dates, in the mean."),
    Word("winter bees", r"winter bees", "Bees reared in autumn that live through the winter."),
    Word("work taken out", r"work taken out|work out",
         "Boxes, harvests and feed reckoned off the weight, so that what is left is the bees' own doing."),
)  # fmt: skip


def used_in(text: str) -> list[tuple[str, str]]:
    """Terms that stand in this text, each with its meaning, in the order of the alphabet."""
    return [
        (word.term, word.meaning)
        for word in GLOSSARY
        if re.search(word.found_by, text, re.IGNORECASE)
    ]
