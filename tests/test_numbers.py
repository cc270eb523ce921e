"""Every number has a unit, a range and a source, is used, and can be overridden within its range."""

import re
from pathlib import Path

import pytest

import flowcast
from flowcast.errors import InputError
from flowcast.numbers import STATUSES, load_numbers

ROOT = Path(flowcast.__file__).parent
CODE = "\n".join(p.read_text("utf-8") for p in ROOT.rglob("*.py"))
NUMBERS = load_numbers()


@pytest.mark.parametrize("key", list(NUMBERS))
def test_number_is_whole_and_marked(key):
    number = NUMBERS.entry(key)
    assert number.low <= number.value <= number.high
    assert number.unit
    assert number.status in STATUSES
    assert len(number.source) > 10
    if number.status == "published":
        assert re.search(r"\b(READ2?|MEMORY|CALC|exact)\b", number.source), "the mark of the sheet"


def _named_in_code(key):
    group, name = key.split(".")
    if f'"{key}"' in CODE:
        return True
    # Keys built from parts: numbers[f"flow.sd_{name}"] covers "flow.sd_bloom" where "bloom" stands.
    for stem in re.findall(r'f"' + group + r"\.(\w*)\{\w+(?:\.\w+)*\}(\w*)\"", CODE):
        if name.startswith(stem[0]) and name.endswith(stem[1]):
            middle = name[len(stem[0]) : len(name) - len(stem[1])]
            if f'"{middle}"' in CODE:
                return True
    return False


@pytest.mark.parametrize("key", list(NUMBERS))
def test_number_is_used(key):
    assert _named_in_code(key), f"{key} is in numbers.toml and nowhere in the code"


def test_every_key_in_the_code_exists():
    groups = {key.split(".")[0] for key in NUMBERS}
    for key in re.findall(r'numbers\["([a-z_]+\.[a-z0-9_]+)"\]', CODE):
        assert key.split(".")[0] in groups
        assert key in NUMBERS, key


def test_override_is_taken_and_marked():
    numbers = load_numbers({"flow.flow_day_kg": 0.8})
    assert numbers["flow.flow_day_kg"] == 0.8
    assert numbers.entry("flow.flow_day_kg").changed
    assert not NUMBERS.entry("flow.flow_day_kg").changed


@pytest.mark.parametrize(
    "overrides, says",
    [
        ({"flow.flow_dya_kg": 1}, "Did you mean 'flow.flow_day_kg'"),
        ({"flow.flow_day_kg": 900}, "outside"),
        ({"flow.flow_day_kg": "much"}, "is not a number"),
        ({"flow.flow_day_kg": True}, "is not a number"),
    ],
)
def test_bad_override_is_said_in_one_line(overrides, says):
    with pytest.raises(InputError, match=says) as caught:
        load_numbers(overrides)
    assert "\n" not in str(caught.value)
