"""Uno, Plastic shrinkage cracking and evaporation formulas, ACI Materials Journal 95-M34, July-August 1998.

A closed form fitted to the ACI nomograph, without a saturation pressure: an independent road to the rates of
Menzel. Recalled, in its US form and its metric one.
"""

import numpy as np
import pytest

from handover.base.arrays import Floats
from handover.concrete.evaporation import evaporation_rate

KG_M2_PER_LB_FT2 = 4.8824


def uno_us(concrete_f: Floats, air_f: Floats, humidity: Floats, wind_mph: Floats) -> Floats:
    """Return lb/ft2/h."""
    return (concrete_f**2.5 - humidity * air_f**2.5) * (1.0 + 0.4 * wind_mph) * 1e-6


def uno_metric(concrete_c: Floats, air_c: Floats, humidity: Floats, wind_kmh: Floats) -> Floats:
    """Return kg/m2/h: the exact conversion of the US form."""
    offset = 160.0 / 9.0
    drying = (concrete_c + offset) ** 2.5 - humidity * (air_c + offset) ** 2.5
    return 5.2751e-6 * drying * (wind_kmh + 4.0234)


CASES = np.array(
    [
        # concrete degF, air degF, relative humidity, wind mph
        [70, 70, 0.7, 5],
        [70, 70, 0.5, 10],
        [70, 70, 0.1, 10],
        [80, 80, 0.7, 10],
        [80, 70, 0.5, 10],
        [87, 80, 0.5, 12],
        [90, 90, 0.1, 10],
        [70, 50, 0.7, 10],
        [80, 40, 1.0, 10],
        [60, 70, 0.5, 10],
    ],
    dtype=float,
).T


def test_the_two_forms_agree() -> None:
    """Tolerance 1e-4 relative.

    The constants are given to five digits. Makes the oracle below worth having.
    """
    concrete, air, humidity, wind = CASES
    metric = uno_metric((concrete - 32) / 1.8, (air - 32) / 1.8, humidity, wind * 1.609344)
    np.testing.assert_allclose(metric, KG_M2_PER_LB_FT2 * uno_us(concrete, air, humidity, wind), rtol=1e-4)


def test_menzel_is_close_to_uno() -> None:
    """Over Lerch's table Uno runs from 8 % below Menzel to 24 % above it (warm concrete in cold air)."""
    concrete, air, humidity, wind = CASES
    menzel = evaporation_rate((concrete - 32) / 1.8, (air - 32) / 1.8, humidity, wind * 0.44704)
    ratio = KG_M2_PER_LB_FT2 * uno_us(concrete, air, humidity, wind) / menzel
    assert np.all((ratio > 0.91) & (ratio < 1.25)), ratio


def test_condensation_is_no_evaporation() -> None:
    """15 degC concrete in 25 degC air at 90 % and 5 km/h.

    Uno gives about -0.21 kg/m2/h, that is dew, and the rate is clamped to 0.
    """
    assert uno_metric(*np.array([15.0, 25.0, 0.90, 5.0])) == pytest.approx(-0.21, abs=0.01)
    assert evaporation_rate(15.0, 25.0, 0.90, 5.0 / 3.6) == 0.0
