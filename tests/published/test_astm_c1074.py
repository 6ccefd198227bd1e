"""ASTM C1074: temperature-time factor and equivalent age of a log of hourly readings.

The standard's own examples could not be read. The temperature-time factors are identities (sums by hand); the
equivalent ages are arithmetic on the formula from memory: they guard the coding, not the truth.
"""

import numpy as np
import pytest

from handover.concrete.constants import GAS_CONSTANT
from handover.concrete.maturity import arrhenius_rate, equivalent_age, temperature_time_factor

READINGS = np.array([20, 22, 25, 28, 30, 29, 27, 24, 22, 20], dtype=float)  # hourly, degC
HOURS = np.arange(10.0)
MEANS = (READINGS[:-1] + READINGS[1:]) / 2.0
ENERGY = 5000.0 * GAS_CONSTANT  # the standard suggests E/R = 5000 K


@pytest.mark.parametrize(("datum", "expected"), [(0.0, 227.0), (-10.0, 317.0)])
def test_temperature_time_factor(datum: float, expected: float) -> None:
    """The sum of the nine hourly means, by hand; exact."""
    assert temperature_time_factor(HOURS, MEANS, datum)[-1] == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(("reference", "expected"), [(20.0, 12.291), (23.0, 10.341)])
def test_equivalent_age(reference: float, expected: float) -> None:
    """Guards the coding; tolerance: the digits given."""
    assert equivalent_age(HOURS, MEANS, ENERGY, reference)[-1] == pytest.approx(expected, abs=1e-3)


def test_rate_factors() -> None:
    """Guards the coding: factors from 0 to 40 degC on 20 degC; tolerance: the digits given."""
    expected = [0.2868, 0.3986, 0.5475, 0.7438, 1.0, 1.3311, 1.7553, 2.2939, 2.9723]
    np.testing.assert_allclose(arrhenius_rate(np.arange(0.0, 41.0, 5.0), ENERGY, 20.0), expected, atol=1e-4)


def test_two_references() -> None:
    """Guards the coding: an age at 20 degC is 0.8413 of itself at 23 degC; tolerance: the digits given."""
    at_20, at_23 = (equivalent_age(HOURS, MEANS, ENERGY, each)[-1] for each in (20.0, 23.0))
    assert at_23 / at_20 == pytest.approx(0.8413, abs=1e-4)
