"""The yard's own units: one room converts, figures and finished sentences alike."""

import pytest

from flowcast.messages import Say, units

# Conversion factors are exact by definition: 1 lb = 0.45359237 kg, 1 in = 25.4 mm,
# 1 ft = 0.3048 m, 1 mi = 1609.344 m; water freezes at 32 °F and boils at 212 °F (from memory).


@pytest.mark.parametrize(
    "said, customary",
    [
        ("6 to 10 kg stay with the colony", "13 to 22 lb stay with the colony"),
        ("about −16.1 kg within 7 days", "about −35.5 lb within 7 days"),
        ("by +4.3 kg at 10:40", "by +9.5 lb at 10:40"),
        ("0.45359237 kg", "1.00000000 lb"),
        ("from 0 to 100 °C", "from 32 to 212 °F"),
        ("39 °C kills it", "102 °F kills it"),
        ("0.1 °C warmer in the mean", "0.2 °F warmer in the mean"),
        ("temperature +1.0 °C", "temperature +1.8 °F"),
        ("13 km away, 120 m above the yard", "8 mi away, 394 ft above the yard"),
        ("it rained 254 mm", "it rained 10.0 in"),
        ("1,000 m", "3,281 ft"),
    ],
)
def test_sentences_are_told_in_customary_units(said, customary):
    assert units.told(said, "lb") == customary
    assert units.told(said, "kg") == said


@pytest.mark.parametrize(
    "said", ["14 members", "wind of 8 m/s", "8 in 10", "7 days", "H1m", "5 mmol", "kg", "x2 kg"]
)
def test_what_is_no_figure_of_ours_stays(said):
    assert units.told(said, "lb") == said


@pytest.mark.parametrize(
    "celsius, text", [(-40, "−40 °F"), (0, "32 °F"), (100, "212 °F"), (37, "99 °F")]
)
def test_temperatures(celsius, text):
    assert Say(units="lb").temp(celsius) == text


def test_rain_and_ranges():
    assert Say(units="lb").rain(25.4) == "1.0 in"
    assert Say().rain(25.4) == "25 mm"
    assert Say().temps(14, 38) == "14 to 38 °C"
    assert Say(units="lb").temps(14, 38) == "57 to 100 °F"
    assert Say().weights(-0.3, 3.8) == "−0.3 to 3.8 kg"
