"""Quantities as people write them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from preservecheck.errors import UnitError
from preservecheck.units import (
    duration_min,
    duration_text,
    mass_g,
    mass_text,
    plain_number,
    temperature_c,
    temperature_text,
)


@pytest.mark.parametrize(
    ("text", "celsius"),
    [
        ("75 °C", 75),
        ("75C", 75),
        ("75 degC", 75),
        ("75 deg C", 75),
        ("75 ℃", 75),
        ("75º C", 75),
        ("75 celsius", 75),
        # (167 - 32) * 5 / 9 = 75; (100.4 - 32) * 5 / 9 = 38; (-40 - 32) * 5 / 9 = -40
        ("167 °F", 75),
        ("167F", 75),
        ("100.4 °F", 38),
        ("-40 F", -40),
        ("−5 °C", -5),
        ("37,5 °C", 37.5),
        ("  40\u00a0°C ", 40),
    ],
)
def test_temperature(text, celsius):
    """A temperature in either scale, with the look-alikes of the degree sign, is degrees
    Celsius."""
    assert temperature_c(text) == celsius


@pytest.mark.parametrize(
    ("text", "grams"),
    [
        ("500 g", 500),
        ("0.5 kg", 500),
        ("0,5 kg", 500),
        ("4,5 g", 4.5),
        ("250 mg", 0.25),
        ("500G", 500),
        # an ounce is 28.349523125 g, a pound 453.59237 g by definition
        ("1 oz", 28.349523125),
        ("17 oz", 481.941893125),
        ("1.1 lb", 498.951607),
        ("2 lbs", 907.18474),
        ("0,125 g", 0.125),
        ("1 500 g", 1500),
        ("12 000,5 g", 12000.5),
    ],
)
def test_mass(text, grams):
    """A mass in metric or avoirdupois units is grams."""
    assert mass_g(text) == pytest.approx(grams, rel=1e-15)


@pytest.mark.parametrize(
    ("text", "minutes"),
    [("20 min", 20), ("1 h", 60), ("90 s", 1.5), ("1.5 hours", 90), ("0 min", 0), ("30sec", 0.5)],
)
def test_duration(text, minutes):
    """A time in seconds, minutes or hours is minutes."""
    assert duration_min(text) == pytest.approx(minutes, rel=1e-15)


TEMPERATURE = 'give a temperature in °C or °F, such as "40 °C" or "104 °F"'
MASS = 'give a mass in mg, g, kg, oz or lb, such as "500 g" or "17 oz"'
DURATION = 'give a time in s, min or h, such as "20 min" or "1.5 h"'


@pytest.mark.parametrize(
    ("parse", "text", "message"),
    [
        (temperature_c, "75", f'"75" has no unit; {TEMPERATURE}'),
        (temperature_c, "300 K", f'"300 K" is in "k", which is not known here; {TEMPERATURE}'),
        (temperature_c, "", f'"" is not a number with a unit; {TEMPERATURE}'),
        (temperature_c, "warm", f'"warm" is not a number with a unit; {TEMPERATURE}'),
        (temperature_c, "-274 °C", f'"-274 °C" is below absolute zero; {TEMPERATURE}'),
        (mass_g, "500", f'"500" has no unit; {MASS}'),
        (mass_g, "5 stone", f'"5 stone" is in "stone", which is not known here; {MASS}'),
        (mass_g, "-3 g", f'"-3 g" is negative; {MASS}'),
        (mass_g, "1e3 g", f'"1e3 g" is in "e3 g", which is not known here; {MASS}'),
        (
            mass_g,
            "1,500 g",
            f'"1,500" can be read in two ways; write 1.500 or 1500, with its unit; {MASS}',
        ),
        (
            mass_g,
            "1.500,0 g",
            f'"1.500,0" is not a number; write one such as 4.5, with its unit; {MASS}',
        ),
        (mass_g, "1 50 g", f'"1 50 g" is in "50 g", which is not known here; {MASS}'),
        (mass_g, "1 5000 g", f'"1 5000 g" is in "5000 g", which is not known here; {MASS}'),
        (duration_min, "20 m", f'"20 m" is in "m", which is not known here; {DURATION}'),
        (duration_min, "20", f'"20" has no unit; {DURATION}'),
        (duration_min, "nan min", f'"nan min" is not a number with a unit; {DURATION}'),
    ],
)
def test_refused(parse, text, message):
    """A bare number, an unknown unit or an unclear number is answered with the list of units and an
    example."""
    with pytest.raises(UnitError) as caught:
        parse(text)
    assert caught.value.messages == (message,)


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("1 000", 1000),
        ("1\u00a0200\u202f000", 1_200_000),
        ("-12\u2009345.5", -12_345.5),
        ("1 000,25", 1000.25),
    ],
)
def test_spaces_group_digits(text, number):
    """As the SI brochure (9th edition, 5.4.4) writes large numbers, with any kind of space that a
    spreadsheet gives."""
    assert plain_number(text) == number


@pytest.mark.parametrize("text", ["1 00", "10 0000", "0 500", "1 000 00", "1 000 g", "1  000"])
def test_other_spaces_are_refused(text):
    """They could stand between two numbers."""
    with pytest.raises(UnitError):
        plain_number(text)


def test_decimal_comma_that_is_known():
    """Where a file uses decimal commas, 1,500 is one and a half."""
    assert plain_number("1,500", comma_is_decimal=True) == 1.5


@given(st.text(max_size=80))
def test_any_text_is_parsed_or_refused(text):
    """Whatever is typed gives a finite number or a fault in words."""
    for parse in (temperature_c, mass_g, duration_min):
        message = ""
        try:
            value = parse(text)
        except UnitError as error:
            value, message = 0.0, error.messages[0]
        assert abs(value) < 1e80
        assert len(message) < 400


@pytest.mark.parametrize(
    ("temp_c", "text"),
    [
        (40, "40 °C (104 °F)"),
        (37.5, "37.5 °C (99.5 °F)"),
        (-0.01, "0 °C (32 °F)"),
        (100, "100 °C (212 °F)"),
    ],
)
def test_temperature_text(temp_c, text):
    """A temperature is shown in both scales, to a tenth of a degree."""
    assert temperature_text(temp_c) == text


@pytest.mark.parametrize(
    ("grams", "text"),
    [
        (4, "4 g"),
        (80.04, "80.04 g"),
        (0.08, "80 mg"),
        (1250, "1.25 kg"),
        (0, "0 g"),
        (123.456, "123.5 g"),
    ],
)
def test_mass_text(grams, text):
    """A mass is shown in the unit that reads best, to four figures."""
    assert mass_text(grams) == text


@pytest.mark.parametrize(
    ("minutes", "text"),
    [
        (20, "20 min"),
        (90, "1 h 30 min"),
        (60, "1 h"),
        (0.5, "30 s"),
        (7.25, "7.2 min"),
        (0, "0 min"),
        (59.99, "1 h"),
        (0.999, "1 min"),
    ],
)
def test_duration_text(minutes, text):
    """A time is shown in seconds, minutes or hours and minutes."""
    assert duration_text(minutes) == text
