"""Bentz (1997), simulation of portland cement hydration, J. Am. Ceram. Soc., table IX.

Activation energies measured on two cements at three water to cement ratios; their mean is 38.2 kJ/mol,
and the rates at 15 and 35 degC are printed relative to 25 degC.
"""

import numpy as np
import pytest

from handover.concrete.maturity import arrhenius_rate, equivalent_age


@pytest.mark.parametrize(
    ("temperature", "expected", "tolerance"), [(15.0, 0.585, 0.002), (35.0, 1.65, 0.005)]
)
def test_rate(temperature: float, expected: float, tolerance: float) -> None:
    """Tolerances: half of the last printed digit, and the rounding of the mean energy."""
    assert arrhenius_rate(temperature, 38.2e3, 25.0) == pytest.approx(expected, abs=tolerance)


def test_equivalent_age() -> None:
    """A day at 15 degC, then one at 35 degC, counts as 0.585 and 1.65 days at 25 degC.

    Tolerances as above.
    """
    ages = equivalent_age([0.0, 24.0, 48.0], [15.0, 35.0], 38.2e3, 25.0)
    np.testing.assert_allclose(ages, [0.0, 24 * 0.585, 24 * (0.585 + 1.65)], atol=24 * 0.007)
