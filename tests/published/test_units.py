"""The unit table against `pint` (whose definitions follow NIST SP 811 and the SI), and printed factors."""

from __future__ import annotations

from fractions import Fraction

import pytest

from engine.quantity.units import UNITS, convert, from_base, to_base

#: Our name, and how `pint` writes the unit.
PINT = {
    "": "dimensionless",
    "%": "percent",
    "ppm": "ppm",
    "turn": "turn",
    "flat": "turn / 6",
    "deg": "degree",
    "°": "degree",
    "mm": "millimeter",
    "cm": "centimeter",
    "m": "meter",
    "km": "kilometer",
    "in": "inch",
    "mm2": "millimeter ** 2",
    "cc": "centimeter ** 3",
    "ml": "milliliter",
    "L": "liter",
    "s": "second",
    "min": "minute",
    "h": "hour",
    "rpm": "rpm",
    "kg/h": "kilogram / hour",
    "g/s": "gram / second",
    "L/min": "liter / minute",
    "kg": "kilogram",
    "g": "gram",
    "lb": "pound",
    "kPa": "kilopascal",
    "Pa": "pascal",
    "bar": "bar",
    "mbar": "millibar",
    "hPa": "hectopascal",
    "atm": "atmosphere",
    "psi": "psi",
    "mmHg": "mmHg",
    "cmHg": "cmHg",
    "inHg": "inHg",
    "K": "kelvin",
    "degC": "degC",
    "°C": "degC",
    "degF": "degF",
    "V": "volt",
    "kV": "kilovolt",
    "Nm": "newton * meter",
    "kW": "kilowatt",
    "mg/m3": "milligram / meter ** 3",
}
#: A gauge's own divisions are no unit of the world, and turn into none.
OWN = "own scale"
#: The unit in which each dimension is held.
BASE = {
    "number": "",
    "angle": "turn",
    "length": "mm",
    "area": "mm2",
    "volume": "cc",
    "time": "s",
    "speed": "rpm",
    "mass flow": "kg/h",
    "volume flow": "L/min",
    "mass": "kg",
    "pressure": "kPa",
    "temperature": "K",
    "voltage": "V",
    "torque": "Nm",
    "power": "kW",
    "concentration": "mg/m3",
}


@pytest.fixture(scope="module")
def registry():
    import pint

    return pint.UnitRegistry()


@pytest.mark.library("pint")
def test_every_unit_has_a_judge():
    assert set(PINT) == {u.name for u in UNITS.values() if u.dimension != OWN}
    assert {u.dimension for u in UNITS.values()} - {OWN} == set(BASE)


@pytest.mark.library("pint")
@pytest.mark.parametrize("name", PINT)
def test_a_unit_converts_as_pint_does(registry, name):
    base = registry.parse_units(PINT[BASE[UNITS[name].dimension]])
    for value in (Fraction(0), Fraction(1), Fraction(37, 4)):
        # Temperatures have offsets, so they are no products; "turn / 6" has a number in it and is no unit's name.
        if UNITS[name].dimension == "temperature":
            judged = registry.Quantity(float(value), PINT[name]).to(base)
        else:
            judged = (float(value) * registry(PINT[name])).to(base)
        assert float(to_base(value, name)) == pytest.approx(judged.magnitude, rel=1e-9, abs=1e-15)


@pytest.mark.table("SI and NIST SP 811")
@pytest.mark.parametrize(
    ("value", "here", "there", "printed"),
    [
        # NIST SP 811 App. B.8, exact by definition.
        ("1", "in", "mm", "25.4"),
        ("1", "lb", "kg", "0.45359237"),
        ("1", "bar", "kPa", "100"),
        ("1", "mbar", "hPa", "1"),
        ("1", "atm", "kPa", "101.325"),
        ("1", "mmHg", "Pa", "133.322387415"),
        ("1", "inHg", "mmHg", "25.4"),
        ("3.6", "kg/h", "g/s", "1"),
        # Geometry; source S24: twelve flats are two turns.
        ("12", "flat", "turn", "2"),
        ("2", "turn", "deg", "720"),
        ("1", "flat", "deg", "60"),
        ("1/4", "turn", "deg", "90"),
        # The temperature scales by definition.
        ("88", "degC", "degF", "190.4"),
        ("-40", "degC", "degF", "-40"),
        ("0", "K", "degC", "-273.15"),
    ],
)
def test_exact_factors_are_held_exactly(value, here, there, printed):
    assert convert(Fraction(value), here, there) == Fraction(printed)


@pytest.mark.table("NIST SP 811")
@pytest.mark.parametrize(
    ("value", "here", "there", "printed", "digits"),
    [
        # NIST SP 811 App. B.8, as printed there; the service limits of 20, 30 and 40 mmHg in kPa.
        ("1", "psi", "kPa", 6.894757293, 9),
        ("1", "bar", "psi", 14.503773773, 9),
        ("1", "kPa", "mmHg", 7.500615758, 9),
        ("1", "cmHg", "kPa", 1.333223874, 9),
        ("1", "inHg", "kPa", 3.386388640, 8),
        ("5", "flat", "turn", 0.8333, 4),
        ("20", "mmHg", "kPa", 2.6664, 4),
        ("30", "mmHg", "kPa", 3.9997, 4),
        ("40", "mmHg", "kPa", 5.3329, 4),
    ],
)
def test_rounded_factors_agree_to_the_printed_digits(value, here, there, printed, digits):
    assert float(convert(Fraction(value), here, there)) == pytest.approx(printed, abs=0.6 * 10**-digits)


@pytest.mark.law("the definition")
def test_psi_is_a_pound_force_on_a_square_inch():
    # NIST SP 811: pound avoirdupois, standard gravity and inch are exact, so psi is an exact rational.
    psi = Fraction("0.45359237") * Fraction("9.80665") / Fraction("0.0254") ** 2 / 1000
    assert to_base(Fraction(1), "psi") == psi


@pytest.mark.law("a conversion has an inverse")
@pytest.mark.parametrize("name", UNITS)
def test_there_and_back_changes_nothing(name):
    for value in (Fraction(1, 3), Fraction(-7, 6), Fraction(95, 2)):
        assert from_base(to_base(value, name), name) == value


@pytest.mark.law("dimensions")
def test_units_of_different_things_are_not_converted():
    with pytest.raises(ValueError, match="kPa and turn measure different things"):
        convert(Fraction(1), "kPa", "turn")
