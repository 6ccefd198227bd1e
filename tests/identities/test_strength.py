"""What must hold of the strength curves whatever the numbers."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from handover.concrete.strength import (
    Aci209,
    En1992,
    StrengthCurve,
    aci209_age,
    aci209_ratio,
    en1992_age,
    en1992_ratio,
    hyperbolic_strength,
)
from handover.errors import OutOfRange

curves = st.one_of(
    st.builds(Aci209, st.floats(0.5, 6.0), st.floats(0.80, 0.99)), st.builds(En1992, st.floats(0.1, 0.6))
)
ages = st.floats(0.0, 4000.0)


@given(curves, ages, st.floats(0.0, 400.0))
def test_never_falls(curve: StrengthCurve, age: float, more: float) -> None:
    earlier, later = curve.ratio([age, age + more])
    assert 0.0 <= earlier <= later


@given(curves)
def test_nothing_at_age_0_nor_before(curve: StrengthCurve) -> None:
    np.testing.assert_array_equal(curve.ratio([-1.0, 0.0]), 0.0)


@given(curves, st.floats(0.02, 0.99))
def test_age_inverts_ratio(curve: StrengthCurve, ratio: float) -> None:
    assert curve.ratio(curve.age_at(ratio)) == pytest.approx(ratio, rel=1e-9)


@given(curves)
def test_the_ends_of_the_curve(curve: StrengthCurve) -> None:
    np.testing.assert_array_equal(curve.age_at([-0.1, 0.0, 9.0]), [0.0, 0.0, np.inf])


@given(st.floats(0.1, 0.6))
def test_en1992_is_1_at_28_days(s: float) -> None:
    assert en1992_ratio(28.0, s) == 1.0
    assert en1992_age(1.0, s) == 28.0


@pytest.mark.parametrize("curve", [Aci209(4.0, 0.85), En1992(0.25)])
def test_scalar_equals_array(curve: StrengthCurve) -> None:
    days, shares = np.array([[0.0, 0.3], [7.0, 90.0]]), np.array([0.0, 0.4, 0.9, 2.0])
    np.testing.assert_array_equal(curve.ratio(days).ravel(), [curve.ratio(each) for each in days.ravel()])
    np.testing.assert_array_equal(curve.age_at(shares), [curve.age_at(each) for each in shares])


def test_each_member_with_its_own_curve() -> None:
    a, b, s = np.array([[4.0], [2.3]]), np.array([[0.85], [0.92]]), np.array([[0.2], [0.38]])
    days = np.array([1.0, 7.0, 28.0])
    for row in range(2):
        np.testing.assert_array_equal(aci209_ratio(days, a, b)[row], Aci209(a[row, 0], b[row, 0]).ratio(days))
        np.testing.assert_array_equal(en1992_ratio(days, s)[row], En1992(s[row, 0]).ratio(days))
    assert aci209_age(0.5, a, b).shape == en1992_age(0.5, s).shape == (2, 1)


@given(st.floats(0.0, 5000.0), st.floats(10.0, 80.0), st.floats(1e-3, 0.1), st.floats(0.0, 20.0))
def test_hyperbola(maturity: float, ultimate: float, rate: float, offset: float) -> None:
    """Nothing up to the offset, half of the ultimate at 1/k beyond it, never the whole."""
    assert hyperbolic_strength([0.0, offset], ultimate, rate, offset).max() == 0.0
    halfway = hyperbolic_strength(offset + 1.0 / rate, ultimate, rate, offset)
    assert halfway == pytest.approx(ultimate / 2.0, rel=1e-9)
    assert 0.0 <= hyperbolic_strength(maturity, ultimate, rate, offset) < ultimate


@pytest.mark.parametrize(("a", "b"), [(0.0, 0.85), (4.0, 0.0), (-4.0, 0.85), (np.nan, 0.85)])
def test_aci_coefficients_are_above_0(a: float, b: float) -> None:
    with pytest.raises(OutOfRange):
        Aci209(a, b)


@pytest.mark.parametrize("s", [0.0, -0.2, np.nan])
def test_en1992_coefficient_is_above_0(s: float) -> None:
    with pytest.raises(OutOfRange):
        En1992(s)
