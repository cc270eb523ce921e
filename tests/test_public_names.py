"""The public names are there, documented, and load nothing before they are used."""

import subprocess
import sys

import pytest

import flowcast


@pytest.mark.parametrize("name", flowcast.__all__)
def test_public_name_is_there_and_documented(name):
    assert getattr(flowcast, name).__doc__


def test_unknown_name_is_an_attribute_error():
    with pytest.raises(AttributeError, match="forecast_honey"):
        _ = flowcast.forecast_honey


def test_importing_flowcast_loads_nothing_heavy():
    code = "import flowcast, sys; print([m for m in ('pandas', 'numpy', 'pydantic') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
