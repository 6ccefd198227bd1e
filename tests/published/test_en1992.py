"""EN 1992-1-1:2004: strength with time (eq. 3.2).

Reference: structuralcodes (fib), the package and the values printed in its tests.
"""

import numpy as np
import pytest
from structuralcodes.codes import ec2_2004

from handover.concrete.strength import En1992, en1992_age, en1992_ratio

CLASSES = {"R": 0.20, "N": 0.25, "S": 0.38}


@pytest.mark.parametrize(
    ("days", "s", "expected"),
    [
        (10, 0.38, 0.77425),
        (10, 0.25, 0.84507),
        (10, 0.20, 0.87401),
        (30, 0.38, 1.01297),
        (20, 0.38, 0.93275),
        (40, 0.38, 1.06404),
    ],
)
def test_values_printed_in_the_tests_of_structuralcodes(days: float, s: float, expected: float) -> None:
    """Tolerance 1e-5: the digits printed."""
    assert en1992_ratio(days, s) == pytest.approx(expected, abs=1e-5)


@pytest.mark.parametrize(("name", "s"), CLASSES.items())
def test_strength_with_time(name: str, s: float) -> None:
    """Tolerance 1e-12 relative: the same formula."""
    assert ec2_2004.s_time_development(name) == s
    days = np.geomspace(0.25, 3650.0, 60)
    np.testing.assert_allclose(En1992(s).ratio(days), ec2_2004.beta_cc(days, s), rtol=1e-12)


@pytest.mark.parametrize(
    ("s", "expected"),
    [
        (0.20, [0.424, 0.578, 0.663, 0.819, 0.920, 1.0, 1.060, 1.092, 1.156]),
        (0.25, [0.342, 0.504, 0.598, 0.779, 0.902, 1.0, 1.076, 1.117, 1.198]),
        (0.38, [0.196, 0.353, 0.458, 0.684, 0.854, 1.0, 1.118, 1.183, 1.316]),
    ],
)
def test_table_of_ratios(s: float, expected: list[float]) -> None:
    """1 to 365 days by hand from the formula; tolerance 0.0006: the digits given."""
    np.testing.assert_allclose(en1992_ratio([1, 2, 3, 7, 14, 28, 56, 90, 365], s), expected, atol=6e-4)


@pytest.mark.parametrize(
    ("s", "expected"), [(0.20, [0.72, 1.40, 3.61]), (0.25, [1.04, 1.97, 4.75]), (0.38, [1.98, 3.51, 7.45])]
)
def test_ages_of_the_curing_classes(s: float, expected: list[float]) -> None:
    """Days to 35, 50 and 70 %, the shares of curing classes 2 to 4 of EN 13670; identity.

    Tolerance 0.006: the digits given.
    """
    np.testing.assert_allclose(en1992_age([0.35, 0.50, 0.70], s), expected, atol=6e-3)
