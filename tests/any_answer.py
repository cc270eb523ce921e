"""Answers of any shape, for the rule that each is read soundly or refused in one line."""

import copy
import json

from hypothesis import strategies as st

from flowcast.errors import SourceError
from flowcast.tables import WEATHER, check_bounds


def packed(data) -> bytes:
    """The bytes of an answer."""
    return json.dumps(data).encode()


def anything(*names):
    """Any JSON value, its objects often with these names."""
    leaf = st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=12)
    keys = st.sampled_from(names) | st.text(max_size=6)
    return st.recursive(
        leaf,
        lambda inner: st.lists(inner, max_size=4) | st.dictionaries(keys, inner, max_size=4),
        max_leaves=20,
    )


def paths(data, here=()):
    """Where every part of an answer lies."""
    yield here
    if isinstance(data, dict | list):
        for key in data if isinstance(data, dict) else range(len(data)):
            yield from paths(data[key], (*here, key))


def mutated(good, path, value):
    """The good answer with another value in one place."""
    if not path:
        return value
    changed = copy.deepcopy(good)
    part = changed
    for key in path[:-1]:
        part = part[key]
    part[path[-1]] = value
    return changed


def is_sound_or_refused(parse, content):
    """Check: either a source error in one line, or tables within bounds on rising UTC stamps."""
    try:
        tables = parse(content)
    except SourceError as error:
        assert "\n" not in str(error)
        return
    for table in tables:
        assert set(table.columns) <= set(WEATHER)
        check_bounds(table, WEATHER, where="answer")
        assert str(table.index.tz) == "UTC"
        assert table.index.is_monotonic_increasing and table.index.is_unique
