"""Saturation pressure of the international standard for the properties of water (IAPWS-95).

Values of `iapws95_Psat` in the package chemicals 1.5.2. Another equation of state than ASHRAE's fit, so it
checks the physics and not the coding.
"""

import pytest

from handover.air.psychrometrics import saturation_pressure


@pytest.mark.parametrize(("temperature", "expected"), [(20.0, 2339.318), (30.0, 4246.971)])
def test_saturation_pressure(temperature: float, expected: float) -> None:
    """Tolerance 0.05 %: ASHRAE's fit is older than the standard and is 0.02 % below it here."""
    assert saturation_pressure(temperature) == pytest.approx(expected, rel=5e-4)
