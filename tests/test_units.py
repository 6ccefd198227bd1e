"""Quantities: what people write, what is refused, and the way back out."""

import re
import subprocess
import sys
from fractions import Fraction
from typing import Any

import numpy as np
import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from handover.errors import Finding
from handover.units import (
    KINDS,
    SIZES,
    KindName,
    System,
    format_for_reader,
    quantity,
    read_quantity,
    to_reader,
)
from handover.weather import quantities
from handover.weather.quantities import WeatherQuantity

# What people write, and the same in pint's own registry: a second reading of the same text.
WRITTEN = [
    ("thickness", "4 in", (4, "inch")),
    ("thickness", '4"', (4, "inch")),
    ("thickness", "4.5in", (4.5, "inch")),
    ("thickness", "4 1/2 in", (4.5, "inch")),
    ("thickness", "4-1/2 in", (4.5, "inch")),
    ("thickness", "4\u00bd in", (4.5, "inch")),
    ("thickness", "4-in.", (4, "inch")),
    ("thickness", "4 inches", (4, "inch")),
    ("thickness", "3/4 in", (0.75, "inch")),
    ("thickness", "100 mm", (100, "mm")),
    ("thickness", "10 cm", (10, "cm")),
    ("length", "34 ft", (34, "foot")),
    ("length", "34 ft 6 in", (34.5, "foot")),
    ("length", "34' 6\"", (34.5, "foot")),
    ("length", "34'-6 1/2\"", (34 + 6.5 / 12, "foot")),
    ("length", "34\u2019 6\u201d", (34.5, "foot")),
    ("length", "10.4 metres", (10.4, "m")),
    ("temperature", "84 degF", (84, "degF")),
    ("temperature", "84 F", (84, "degF")),
    ("temperature", "84 \u00b0F", (84, "degF")),
    ("temperature", "84 \u00baF", (84, "degF")),
    ("temperature", "84\u2109", (84, "degF")),
    ("temperature", "84 degrees Fahrenheit", (84, "degF")),
    ("temperature", "29 C", (29, "degC")),
    ("temperature", "-3 degC", (-3, "degC")),
    ("temperature", "\u22123 \u00b0C", (-3, "degC")),
    ("temperature difference", "20 degF", (20, "delta_degF")),
    ("strength", "3000 psi", (3000, "psi")),
    ("strength", "3 ksi", (3000, "psi")),
    ("strength", "20 MPa", (20, "MPa")),
    ("strength", "20 N/mm2", (20, "newton/mm**2")),
    ("strength", "20 N/mm\u00b2", (20, "newton/mm**2")),
    ("strength", "210 kg/cm2", (210, "kgf/cm**2")),
    ("content", "564 lb/yd3", (564, "lb/yd**3")),
    ("content", "564 lb/yd^3", (564, "lb/yd**3")),
    ("content", "564 lbs per cubic yard", (564, "lb/yd**3")),
    ("content", "335 kg/m\u00b3", (335, "kg/m**3")),
    ("application rate", "0.4 in/h", (0.4, "inch/hour")),
    ("application rate", "0.4 in/hr", (0.4, "inch/hour")),
    ("application rate", "10 mm/h", (10, "mm/hour")),
    ("area", "884 ft2", (884, "foot**2")),
    ("area", "884 sq ft", (884, "foot**2")),
    ("area", "884 sq. ft.", (884, "foot**2")),
    ("area", "884 square feet", (884, "foot**2")),
    ("area", "82 m\u00b2", (82, "m**2")),
    ("volume", "8 yd3", (8, "yard**3")),
    ("volume", "8 cu yd", (8, "yard**3")),
    ("volume", "8 yards", (8, "yard**3")),
    ("volume", "6 m3", (6, "m**3")),
    ("water", "5 gal", (5, "US_liquid_gallon")),
    ("water", "20 L", (20, "liter")),
    ("thermal resistance", "R-5", (5, "delta_degF*foot**2*hour/Btu_it")),
    ("thermal resistance", "5 degF ft2 h/BTU", (5, "delta_degF*foot**2*hour/Btu_it")),
    ("thermal resistance", "0.9 m2K/W", (0.9, "delta_degC*m**2/watt")),
    ("duration", "7 d", (7, "day")),
    ("duration", "168 h", (168, "hour")),
    ("wind speed", "12 mph", (12, "mile/hour")),
    ("wind speed", "20 km/h", (20, "km/hour")),
]

REFUSED = [
    ("thickness", "4,5 in", "comma"),
    ("strength", "3,000 psi", "comma"),
    ("thickness", "4", "no unit"),
    ("thickness", "in", "number"),
    ("thickness", "about 4 in", "number"),
    ("thickness", "4 to 5 in", "unit of a thickness"),
    ("thickness", "4 psi", "unit of a thickness"),
    ("strength", "20 mm", "unit of a strength"),
    ("thickness", "4\u00b2 in", "unit of a thickness"),
    ("thickness", "4 1/0 in", "number"),
    ("length", "5 ft 14 in", "unit of a length"),
    ("thickness", "1e3 mm", "unit of a thickness"),
    ("thickness", "nan in", "number"),
    ("thickness", "\u0664 in", "number"),  # an Arabic digit: Python's int() takes it
    ("thickness", "__import__('os') in", "number"),
    ("thickness", "4 in" + " " * 50, "too long"),
    ("thickness", "9" * 60, "too long"),
    ("strength", "9**9**9**9 psi", "unit of a strength"),
    ("temperature", "84", "no unit"),
]


@pytest.fixture(scope="module")
def registry() -> pint.UnitRegistry[Any]:
    registry: pint.UnitRegistry[Any] = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)
    registry.define("tenth = 0.1")
    registry.define("okta = 0.125")
    return registry


@pytest.mark.parametrize(("kind", "text", "meant"), WRITTEN, ids=[text for _, text, _ in WRITTEN])
def test_reads_what_people_write(
    kind: KindName, text: str, meant: tuple[float, str], registry: pint.UnitRegistry[Any]
) -> None:
    expected = registry.Quantity(*meant).to(KINDS[kind].si).magnitude
    # Two orders of multiplication differ in the last digits of a double.
    assert read_quantity(text, kind) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(("kind", "text", "word"), REFUSED, ids=[text[:20] for _, text, _ in REFUSED])
def test_refuses_what_could_mean_anything_else(kind: KindName, text: str, word: str) -> None:
    finding = read_quantity(text, kind)
    assert isinstance(finding, Finding)
    assert word in finding.problem


@pytest.mark.parametrize(
    "value", [4, 4.0, True, None, [4, "in"], {"in": 4}, pytest.param(10**5000, id="huge")]
)
def test_what_is_not_text_is_a_finding(value: Any) -> None:
    assert isinstance(read_quantity(value, "thickness"), Finding)


def test_a_bare_number_gets_an_example() -> None:
    finding = read_quantity(4, "thickness")
    assert str(finding) == '4 has no unit; write it as "4 in" or "100 mm"'


def test_factors_are_exact_by_definition() -> None:
    # International yard and pound agreement of 1959: 1 in = 25.4 mm, 1 lb = 0.45359237 kg.
    assert quantity("1 in", "thickness") == pytest.approx(float(Fraction(254, 10000)), rel=1e-15)
    assert quantity("1 lb", "mass") == pytest.approx(0.45359237, rel=1e-15)
    assert quantity("1 gal", "water") == pytest.approx(231 * 0.0254**3 * 1000, rel=1e-14)
    # standards.md, section 9: 3 000 psi = 20.7 MPa, printed to 0.1.
    assert quantity("3000 psi", "strength") == pytest.approx(20.7, abs=0.05)
    # Freezing and boiling of water.
    assert quantity("32 degF", "temperature") == pytest.approx(0, abs=1e-12)
    assert quantity("212 degF", "temperature") == pytest.approx(100, abs=1e-12)
    # ACI 305: 0.2 lb/ft2/h is 1 kg/m2/h, 0.976 exactly (three digits given).
    assert quantity("0.2 lb/ft2/h", "evaporation") == pytest.approx(0.976, abs=5e-4)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("system", ["us", "si"])
def test_the_way_out_agrees_with_pint(
    kind: KindName, system: System, registry: pint.UnitRegistry[Any]
) -> None:
    unit, _ = KINDS[kind].out[system]
    # pint's own thermal units: the International Table BTU, as ours.
    unit, si = (text.replace("BTU", "Btu_it") for text in (unit, KINDS[kind].si))
    for value in (0.0, 1.0, 17.3):
        expected = registry.Quantity(value, si).to(unit).magnitude
        assert to_reader(value, kind, system)[0] == pytest.approx(expected, rel=1e-12, abs=1e-12)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("system", ["us", "si"])
@given(value=st.floats(min_value=0.01, max_value=9999))
def test_out_and_in_again_is_the_same(kind: KindName, system: System, value: float) -> None:
    number, label = to_reader(value, kind, system)
    again = read_quantity(f"{number:.9f} {label}", kind)
    # Nine decimals were written.
    assert again == pytest.approx(value, rel=1e-6, abs=1e-6)


def in_pint(unit: str) -> str:
    """Return a unit as pint's own registry has it: there, the International Table BTU has a longer name."""
    return unit.replace("BTU", "Btu_it")


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("value", [1.0, -40.0, 17.3])
def test_every_unit_of_every_kind_agrees_with_pint(
    kind: KindName, value: float, registry: pint.UnitRegistry[Any]
) -> None:
    """A unit of another kind would be refused by pint."""
    expected = KINDS[kind]
    for written, unit in expected.reads.items():
        meant = registry.Quantity(value, in_pint(unit)).to(in_pint(expected.si)).magnitude
        # 17.3 degF and -40 degF are far from 0 degC, so that no digits are lost in the comparison.
        assert read_quantity(f"{value} {written}", kind) == pytest.approx(meant, rel=1e-12), written


@pytest.mark.parametrize("unit", SIZES)
def test_the_size_of_every_unit_agrees_with_pint(unit: str, registry: pint.UnitRegistry[Any]) -> None:
    """In coherent SI units, to 1e-12: pint computes in floats."""
    plain = re.sub(r"^deg", "delta_deg", in_pint(unit))
    assert float(SIZES[unit]) == pytest.approx(
        registry.Quantity(1.0, plain).to_base_units().magnitude, rel=1e-12
    )


def test_no_unit_is_there_for_nothing() -> None:
    used = {unit for each in KINDS.values() for unit in (each.si, *each.reads.values())}
    used |= {unit for each in KINDS.values() for unit, _ in each.out.values()}
    used |= {
        unit for each in WeatherQuantity for unit in (quantities._SI[each], *quantities._UNITS[each].values())
    }
    assert used | {"pascal"} == set(SIZES)  # of Menzel's equation


@pytest.mark.parametrize("kind", KINDS)
def test_the_examples_are_read_and_mean_much_the_same(kind: KindName) -> None:
    us, si = (quantity(text, kind) for text in KINDS[kind].examples)
    assert us == pytest.approx(si, rel=0.15)  # examples are round numbers in either system


@pytest.mark.parametrize("kind", KINDS)
def test_every_regular_spelling_is_read_unchanged(kind: KindName) -> None:
    for unit in KINDS[kind].reads:
        assert isinstance(read_quantity(f"2 {unit}", kind), float)


@given(text=st.text(max_size=60))
def test_no_text_breaks_the_reader(text: str) -> None:
    for kind in ("thickness", "temperature", "thermal resistance"):
        assert isinstance(read_quantity(text, kind), float | Finding)


def test_arrays_come_out_as_they_went_in() -> None:
    values, label = to_reader(np.array([0.0, 100.0]), "temperature", "us")
    np.testing.assert_allclose(values, [32.0, 212.0], rtol=1e-12)
    assert label == "\u00b0F"


def test_a_value_is_printed_in_four_figures() -> None:
    assert format_for_reader(0.1016, "thickness", "us") == "4 in"
    assert format_for_reader(20.684271879505, "strength", "us") == "3000 psi"
    assert format_for_reader(9290.304, "area", "si") == "9290 m\u00b2"


def test_our_own_quantities_must_be_right() -> None:
    with pytest.raises(ValueError, match="no unit"):
        quantity("4", "thickness")


def test_no_quantity_needs_pint() -> None:
    code = (
        "import sys, handover.units as units; units.quantity('84 degF', 'temperature'); "
        "units.to_reader(20.0, 'strength', 'us'); sys.exit('pint' in sys.modules or 'numpy' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
