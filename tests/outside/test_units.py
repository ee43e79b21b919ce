"""Units against another library (pint)."""

import pytest

from preservecheck.units import duration_min, mass_g, temperature_c

pint = pytest.importorskip("pint")
ureg = pint.UnitRegistry()


@pytest.mark.parametrize(
    ("unit", "name"),
    [("mg", "milligram"), ("g", "gram"), ("kg", "kilogram"), ("oz", "ounce"), ("lb", "pound")],
)
@pytest.mark.parametrize("value", [0.1, 1, 17, 1234.5])
def test_mass(unit, name, value):
    """Grams agree with pint to rounding."""
    assert mass_g(f"{value} {unit}") == pytest.approx(
        ureg.Quantity(value, name).to("gram").magnitude, rel=1e-12
    )


@pytest.mark.parametrize("value", [-40, 32, 98.6, 104, 167, 392])
def test_fahrenheit(value):
    """Degrees Celsius agree with pint to 1e-9 of a degree, to which they are rounded."""
    expected = ureg.Quantity(value, "degF").to("degC").magnitude
    assert temperature_c(f"{value} °F") == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(("unit", "name"), [("s", "second"), ("min", "minute"), ("h", "hour")])
@pytest.mark.parametrize("value", [0.5, 1, 90])
def test_duration(unit, name, value):
    """Minutes agree with pint to rounding."""
    assert duration_min(f"{value} {unit}") == pytest.approx(
        ureg.Quantity(value, name).to("minute").magnitude, rel=1e-12
    )
