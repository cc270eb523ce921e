"""The yard's own units: one room converts every figure."""

import re

import pytest

from flowcast.advice.when import Advice
from flowcast.messages import Amount, Say, english
from flowcast.messages.units import CUSTOMARY
from flowcast.numbers import load_numbers
from flowcast.report.advice import why

# Conversion factors are exact by definition: 1 lb = 0.45359237 kg, 1 in = 25.4 mm,
# 1 ft = 0.3048 m, 1 mi = 1609.344 m; water freezes at 32 °F and boils at 212 °F (from memory).


@pytest.mark.parametrize(
    "amount, metric, customary",
    [
        (Amount(-16.1, "kg", 1), "−16.1 kg", "−35.5 lb"),
        (Amount(4.3, "kg", 1, "+"), "+4.3 kg", "+9.5 lb"),
        (Amount(0.45359237, "kg", 8), "0.45359237 kg", "1.00000000 lb"),
        (Amount(39, "°C"), "39 °C", "102 °F"),
        (Amount(0.1, "K", 1), "0.1 °C", "0.2 °F"),  # a difference is stretched, not moved by 32
        (Amount(1.0, "K", 1, "+"), "+1.0 °C", "+1.8 °F"),
        (Amount(13, "km"), "13 km", "8 mi"),
        (Amount(120, "m"), "120 m", "394 ft"),
        (Amount(1000, "m"), "1,000 m", "3,281 ft"),
        (Amount(1.05, "", 2), "1.05", "1.05"),
        (Amount(-3.0, "%", 1, "+"), "−3.0 %", "−3.0 %"),
    ],
)
def test_amounts_are_told_in_the_units_of_the_yard(amount, metric, customary):
    assert Say().amount(amount) == metric
    assert Say(units="lb").amount(amount) == customary


def test_amounts_are_converted_from_the_number_not_from_what_is_printed():
    # 2.26 kg is 4.98 lb, while the printed 2.3 kg would be 5.1 lb.
    assert Say(units="lb").amount(Amount(2.26, "kg", 1)) == "5.0 lb"


@pytest.mark.parametrize(
    "celsius, text", [(-40, "−40 °F"), (0, "32 °F"), (100, "212 °F"), (37, "99 °F")]
)
def test_temperatures(celsius, text):
    assert Say(units="lb").temp(celsius) == text


def test_rain_and_ranges():
    assert Say(units="lb").rain(25.4) == "1.0 in"
    assert Say().rain(25.4) == "25 mm"
    assert Say().weights(6, 10, 0) == "6 to 10 kg"
    assert Say(units="lb").weights(6, 10, 0) == "13 to 22 lb"
    assert Say().temps(14, 38) == "14 to 38 °C"
    assert Say(units="lb").temps(14, 38) == "57 to 100 °F"
    assert Say().weights(-0.3, 3.8) == "−0.3 to 3.8 kg"


def test_no_text_holds_a_figure_with_a_unit_of_its_own():
    """It would stand there in a yard that reads pounds as well."""
    figure = re.compile(rf"\d ?({'|'.join([*CUSTOMARY, 'cm', 'km/h', 'm/s'])})\b|\bkilogram")
    texts = {key: " ".join(forms) for key, forms in english().entries.items()}
    assert figure.search("parts of 2 kg and more") and figure.search("cost in kilograms")
    assert [key for key, text in texts.items() if figure.search(text)] == []


def test_reasons_and_limits_are_told_in_the_units_of_the_yard():
    pounds = Say(units="lb")
    for key, said in (("more than mild custom", "22 to 44 lb"), ("comb costs honey", "1 to 5 lb")):
        assert said in why(Advice(verdict="", reasons=(key,)), pounds, load_numbers())
