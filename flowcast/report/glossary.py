"""Words that a page uses and a new keeper may not know; a page explains only those it uses.

Each stands in the file of messages as a term, the forms by which it is known in a text, and its meaning.
"""

from __future__ import annotations

import re

from flowcast.messages import Say

TERMS = (
    "eight_in_ten", "eight_years", "beetle_breeding_weather", "beetle_tray", "brood", "drawn_comb",
    "flow", "flow_window", "foraging_day", "foraging_hours", "fondant", "futures", "generations",
    "jump", "loss", "middle", "mite_count", "nucleus", "past_years_weather", "precipitation_index",
    "queen_cell", "robbing", "simple_forecaster", "soil_water", "split", "standing_beetles",
    "stores", "super", "usual", "winter_bees", "work_taken_out",
)  # fmt: skip


def used_in(text: str, say: Say) -> list[tuple[str, str]]:
    """Terms that stand in this text, each with its meaning, in the order of the alphabet."""
    found = [
        (say(f"glossary.{term}.term"), say(f"glossary.{term}.meaning"))
        for term in TERMS
        if _stands_in(say(f"glossary.{term}.known_by"), text)
    ]
    return sorted(found, key=lambda pair: pair[0].casefold())


def _stands_in(forms: str, text: str) -> bool:
    """Whether one of these forms, set apart by bars, stands in the text as whole words, case apart."""
    found = "|".join(re.escape(form.strip()) for form in forms.split("|"))
    return re.search(rf"(?<!\w)(?:{found})(?!\w)", text, re.IGNORECASE) is not None
