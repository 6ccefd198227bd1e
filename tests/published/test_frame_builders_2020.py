"""A frame builders' magazine (2020), after ACI: the time to final finishing halves for each 20 degF warmer.

The activation energies that halve it exactly, by arithmetic on the rule: 46.6 kJ/mol from 70 to 90 degF and
43.2 kJ/mol from 50 to 70 degF.
"""

import pytest

from handover.concrete.maturity import arrhenius_rate


def celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32.0) / 1.8


@pytest.mark.parametrize(("warm", "cool", "energy"), [(90, 70, 46.6e3), (70, 50, 43.2e3)])
def test_twice_as_fast(warm: float, cool: float, energy: float) -> None:
    """Tolerance 0.4 %: 0.1 kJ/mol, the rounding of the energies, moves the rate by 0.2 %."""
    assert arrhenius_rate(celsius(warm), energy, celsius(cool)) == pytest.approx(2.0, rel=4e-3)
