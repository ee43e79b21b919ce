"""Quantities written by people: parsed once, at the edge, from a closed list of units.

Everything behind this module is a plain number of degrees Celsius, grams or minutes.
"""

from __future__ import annotations

import dataclasses
import math
import re
import unicodedata
from collections.abc import Mapping

from preservecheck.errors import UnitError

# definition of the pound since 1959; an ounce is a sixteenth of it
GRAMS_PER_POUND = 453.59237
GRAMS_PER_OUNCE = GRAMS_PER_POUND / 16

ABSOLUTE_ZERO_C = -273.15
# a quantity is a number and a unit; anything longer is a pasted sentence
MAX_LENGTH = 60

# spellings of the two scales, in small letters
CELSIUS = ("°c", "c", "degc", "deg c", "celsius")
FAHRENHEIT = ("°f", "f", "degf", "deg f", "fahrenheit")
_GRAMS: Mapping[str, float] = {
    **dict.fromkeys(("mg", "milligram", "milligrams"), 0.001),
    **dict.fromkeys(("g", "gram", "grams"), 1.0),
    **dict.fromkeys(("kg", "kilogram", "kilograms"), 1000.0),
    **dict.fromkeys(("oz", "ounce", "ounces"), GRAMS_PER_OUNCE),
    **dict.fromkeys(("lb", "lbs", "pound", "pounds"), GRAMS_PER_POUND),
}
_MINUTES: Mapping[str, float] = {
    **dict.fromkeys(("s", "sec", "second", "seconds"), 1 / 60),
    **dict.fromkeys(("min", "minute", "minutes"), 1.0),
    **dict.fromkeys(("h", "hr", "hour", "hours"), 60.0),
}
_MONTHS: Mapping[str, float] = {
    **dict.fromkeys(("month", "months", "mo"), 1.0),
    **dict.fromkeys(("year", "years", "y", "yr"), 12.0),
}
SHELF_LIFE_HELP = 'give a time of 1 to 120 months, such as "30 months" or "2 years"'
_TEMPERATURE_HELP = 'give a temperature in °C or °F, such as "40 °C" or "104 °F"'
_MASS_HELP = 'give a mass in mg, g, kg, oz or lb, such as "500 g" or "17 oz"'
# nobody makes more than 100 tonnes in one pot; guards against a slip of the unit [g]
MAX_BATCH_G = 1e8
BATCH_HELP = 'give a mass above zero and at most 100,000 kg, such as "500 g"'
STEP_HELP = 'give a mass above zero, such as "0.1 g"'
_DURATION_HELP = 'give a time in s, min or h, such as "20 min" or "1.5 h"'

# groups of three digits with spaces between, as the SI brochure (9th edition, 5.4.4) writes large
# numbers
_SPACED = r"[+-]?[1-9][0-9]{0,2}(?: [0-9]{3})+(?:[.,][0-9]*)?"
_QUANTITY = re.compile(rf"({_SPACED}(?![0-9.,])|[+-]?[0-9.,]*)\s*(.*)", re.DOTALL)
_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)")
_THOUSANDS = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")
# look-alikes that people type for a degree sign and for a minus
_LOOK_ALIKES = str.maketrans({"º": "°", "˚": "°", "−": "-", "–": "-", "‐": "-", "‑": "-"})


def plain_number(text: str, *, comma_is_decimal: bool = False) -> float:
    """A number with a decimal point, or a decimal comma where that can mean nothing else. [-]

    Digits may stand in groups of three with spaces between: ``1 200 000``. Where the file is known
    to use decimal commas, ``1,500`` is one and a half; else a ``UnitError``, as for what is no
    number.

    Examples
    --------
    >>> plain_number("4,5")
    4.5
    """
    tidy = _tidy(text)
    if re.fullmatch(_SPACED, tidy):
        tidy = tidy.replace(" ", "")
    if not comma_is_decimal and _THOUSANDS.fullmatch(tidy):
        bare = tidy.replace(",", "")
        raise _fault(tidy, "can be read in two ways", f"write {tidy.replace(',', '.')} or {bare}")
    if tidy.count(",") == 1 and "." not in tidy:
        tidy = tidy.replace(",", ".")
    if len(tidy) > MAX_LENGTH or not _NUMBER.fullmatch(tidy):
        raise _fault(text, "is not a number", "write one such as 4.5")
    return float(tidy)


def temperature_c(text: str) -> float:
    """Degrees Celsius from a temperature in °C or °F such as ``75 °C`` or ``167 F``; a
    ``UnitError`` as of ``temperature``, or without a unit. [°C]

    celsius = (fahrenheit - 32) * 5 / 9, rounded to 1e-9 so that 100.4 °F is 38 °C and not a hair
    above it.

    Examples
    --------
    >>> temperature_c("167 °F")
    75.0
    """
    celsius, scale = temperature(text)
    if not scale:
        raise _fault(text, "has no unit", _TEMPERATURE_HELP)
    return celsius


def temperature(
    written: str | float, scale: str = "", *, comma_is_decimal: bool = False
) -> tuple[float, str]:
    """Degrees Celsius, and the scale that a temperature is written in: ``c`` or ``f``. [°C]

    A number without a unit is in ``scale``, as a heading gives it; without that either, it comes
    back as it is, with an empty scale. A ``UnitError`` where it is no number, in a unit that is not
    on the list or is another one than that of the heading, or colder than anything can be.

    Examples
    --------
    >>> temperature("167", "f")
    (75.0, 'f')
    """
    if isinstance(written, str):
        value, unit = _split(written, _TEMPERATURE_HELP, comma_is_decimal)
    else:
        value, unit = float(written), ""
    text = str(written)
    if unit and unit not in (*CELSIUS, *FAHRENHEIT):
        raise _unknown_unit(text, unit, _TEMPERATURE_HELP)
    own = "" if not unit else "c" if unit in CELSIUS else "f"
    if own and scale and own != scale:
        raise _fault(text, f"is under a heading that says °{scale.upper()}", "write one unit")
    celsius = round((value - 32) * 5 / 9, 9) if (own or scale) == "f" else value
    if not math.isfinite(celsius):
        raise _fault(text, "is not a number", _TEMPERATURE_HELP)
    if celsius < ABSOLUTE_ZERO_C:
        raise _fault(text, "is below absolute zero", _TEMPERATURE_HELP)
    return celsius, own or scale


def mass_g(text: str) -> float:
    """Grams from a mass such as ``500 g``, ``0.5 kg``, ``17 oz``, ``1.1 lb`` or ``250 mg``; a
    ``UnitError`` without a number or a unit of the list, or below zero. [g]

    Examples
    --------
    >>> mass_g("0,5 kg")
    500.0
    """
    return _scaled(text, _GRAMS, _MASS_HELP)


def batch_mass_g(text: str) -> float:
    """Grams from the mass of a batch; a ``UnitError`` unless it is above zero and at most
    ``MAX_BATCH_G``. [g]

    Examples
    --------
    >>> batch_mass_g("1 lb")
    453.59237
    """
    mass = mass_g(text)
    if not 0 < mass <= MAX_BATCH_G:
        raise _fault(text, "is no size of a batch", BATCH_HELP)
    return mass


def duration_min(text: str) -> float:
    """Minutes from a length of time such as ``20 min``, ``1 h`` or ``90 s``; a ``UnitError``
    without a number or a unit of the list, or below zero. [min]

    Examples
    --------
    >>> duration_min("90 s")
    1.5
    """
    return _scaled(text, _MINUTES, _DURATION_HELP)


def shelf_life_months(text: str) -> float:
    """Months from a shelf life such as ``30 months`` or ``2 years``; a ``UnitError`` without a
    number or a unit of the list, or below zero. [months]

    Examples
    --------
    >>> shelf_life_months("2.5 years")
    30.0
    """
    return _scaled(text, _MONTHS, SHELF_LIFE_HELP)


def temperature_text(temp_c: float) -> str:
    """A temperature in both scales, to a tenth of a degree at most.

    Examples
    --------
    >>> temperature_text(37.5)
    '37.5 °C (99.5 °F)'
    """
    return f"{_rounded(temp_c, 1)} °C ({_rounded(temp_c * 9 / 5 + 32, 1)} °F)"


def mass_text(grams: float) -> str:
    """A mass in mg, g or kg, whichever reads best, to four figures.

    Examples
    --------
    >>> mass_text(1250)
    '1.25 kg'
    """
    if abs(grams) >= 1000:
        return f"{_figures(grams / 1000)} kg"
    if 0 < abs(grams) < 0.1:
        return f"{_figures(grams * 1000)} mg"
    return f"{_figures(grams)} g"


def duration_text(minutes: float) -> str:
    """A length of time in hours and minutes, or seconds where it is short.

    Examples
    --------
    >>> duration_text(90)
    '1 h 30 min'
    """
    if 0 < round(minutes * 60) < 60:
        return f"{_rounded(minutes * 60, 0)} s"
    if round(minutes, 1) < 60:
        return f"{_rounded(minutes, 1)} min"
    hours, rest = divmod(round(minutes), 60)
    return f"{hours} h" + (f" {rest} min" if rest else "")


def _tidy(text: str) -> str:
    """One spelling for the look-alikes, with plain spaces."""
    return unicodedata.normalize("NFKC", text[: MAX_LENGTH + 1].translate(_LOOK_ALIKES)).strip()


def _short(text: str) -> str:
    visible = "".join(ch if ch.isprintable() else "?" for ch in text.strip()[:MAX_LENGTH])
    return visible + ("…" if len(text.strip()) > MAX_LENGTH else "")


def _split(text: str, help_text: str, comma_is_decimal: bool = False) -> tuple[float, str]:
    """Number and unit, the unit in small letters; an empty one where there is none."""
    tidy = _tidy(text)
    match = _QUANTITY.fullmatch(tidy)
    number, unit = match.groups() if match else ("", tidy)
    unit = " ".join(unit.casefold().split()).replace("° ", "°")
    if not any(ch.isdigit() for ch in number):
        raise _fault(text, "is not a number with a unit", help_text)
    try:
        return plain_number(number, comma_is_decimal=comma_is_decimal), unit
    except UnitError as error:
        fault = error.faults[0]
        allowed = f"{fault.allowed}, with its unit; {help_text}"
        raise UnitError(dataclasses.replace(fault, allowed=allowed)) from None


def _scaled(text: str, factors: Mapping[str, float], help_text: str) -> float:
    value, unit = _split(text, help_text)
    if not unit:
        raise _fault(text, "has no unit", help_text)
    if unit not in factors:
        raise _unknown_unit(text, unit, help_text)
    if value < 0:
        raise _fault(text, "is negative", help_text)
    return value * factors[unit]


def _unknown_unit(text: str, unit: str, help_text: str) -> UnitError:
    return _fault(text, f'is in "{_short(unit)}", which is not known here', help_text)


def _fault(text: str, found: str, allowed: str) -> UnitError:
    return UnitError(found, allowed, value=f'"{_short(text)}"')


def _rounded(value: float, decimals: int) -> str:
    text = f"{round(value, decimals) + 0.0:.{decimals}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _figures(value: float, figures: int = 4) -> str:
    if value == 0 or not math.isfinite(value):
        return f"{value:g}"
    return _rounded(value, max(0, figures - 1 - math.floor(math.log10(abs(value)))))
