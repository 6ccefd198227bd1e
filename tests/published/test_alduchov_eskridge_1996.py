"""Alduchov and Eskridge (1996), Journal of Applied Meteorology 35, 601-609: vapour pressure over water.

The Magnus form with 17.625 and 243.04 degC, within 0.4 % from -40 to 50 degC: an equation apart from
ASHRAE's, which is used beyond its range below freezing.
"""

from math import exp

import pytest

from handover.air.psychrometrics import humidity_from_dew_point


def exponent(celsius: float) -> float:
    return 17.625 * celsius / (243.04 + celsius)


@pytest.mark.parametrize("air", [-30.0, -20.0, -10.0, -2.0, 5.0, 20.0, 40.0])
@pytest.mark.parametrize("depression", [0.0, 0.5, 3.0, 10.0])
def test_humidity_is_over_water_at_every_temperature(air: float, depression: float) -> None:
    """Within 0.8 %: twice their 0.4 %, for two pressures. Over ice 10 K of depression differ by 10 %."""
    expected = exp(exponent(air - depression) - exponent(air))
    assert humidity_from_dew_point(air, air - depression) == pytest.approx(expected, rel=0.008)
