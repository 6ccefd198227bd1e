"""Plowman (1956), Maturity and the strength of concrete, as quoted in textbooks.

Maturity above -11 degC; 28 days at 18 degC are worked out as 19 488 degC h and taken as 19 800. An
examination question asks for 28 days at 15 degC: 728 degC days.
"""

import numpy as np
import pytest

from handover.concrete.maturity import temperature_time_factor
from handover.concrete.strength import plowman_ratio

DATUM_C = -11.0
REFERENCE_MATURITY = 19_800.0

# Strength class: A, B as shares; from memory, as Indian textbooks print them.
COEFFICIENTS = [(0.10, 0.68), (0.21, 0.61), (0.32, 0.54), (0.42, 0.465)]


def test_maturity_at_28_days() -> None:
    """Printed, exact: 28 days x 24 h x (18 + 11)."""
    assert temperature_time_factor([0.0, 28 * 24.0], [18.0], DATUM_C)[-1] == 19_488.0


def test_examination_question() -> None:
    """Printed, exact: 28 days x (15 + 11) = 728 degC days, whatever the unit of time."""
    assert temperature_time_factor([0.0, 28.0], [15.0], DATUM_C)[-1] == 728.0


@pytest.mark.parametrize(("a", "b"), COEFFICIENTS)
def test_full_strength_at_the_reference_maturity(a: float, b: float) -> None:
    """At 19 800 degC h the strength is that of 28 days, by definition.

    Tolerance 2.5 %: A and B are printed to two digits and are recalled.
    """
    assert plowman_ratio(REFERENCE_MATURITY, a, b) == pytest.approx(1.0, abs=0.025)


def test_the_coefficients_mean_what_they_are_called() -> None:
    """Identity: A at 1000 degC h, A + B a decade later; nothing before the line crosses zero."""
    np.testing.assert_allclose(plowman_ratio([1e3, 1e4], 0.21, 0.61), [0.21, 0.82], rtol=1e-12)
    np.testing.assert_array_equal(plowman_ratio([0.0, 1.0, 100.0], 0.21, 0.61), 0.0)
