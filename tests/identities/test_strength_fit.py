"""Fits find what they were made from, and joined curves and their inverses agree."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from handover.concrete.curves import ConstantBound, FastestCurve, OnsetBound, ScaledCurve, SlowestCurve
from handover.concrete.strength import Aci209, En1992, hyperbolic_strength
from handover.concrete.strength_fit import Hyperbola, fit_hyperbola
from handover.errors import OutOfRange

if TYPE_CHECKING:
    from handover.concrete.strength import StrengthCurve

AGES_H = np.array([24.0, 72.0, 168.0, 336.0, 672.0])


@given(ultimate=st.floats(10, 80), rate=st.floats(0.004, 0.08), offset=st.floats(0, 18))
def test_a_fit_finds_the_constants_it_was_made_from(ultimate: float, rate: float, offset: float) -> None:
    strength = hyperbolic_strength(AGES_H, ultimate, rate, offset)
    fit = fit_hyperbola(AGES_H, strength, offset_h=6.0)
    assert [fit.ultimate, fit.rate] == pytest.approx([ultimate, rate], rel=1e-4)
    assert fit.offset_h == pytest.approx(offset, abs=0.01)
    assert fit.scatter < 1e-5


@pytest.mark.parametrize("seed", range(5))
def test_a_fit_through_scatter_comes_near_the_constants(seed: int) -> None:
    """Three cylinders at each of five ages, scatter of 3 %: the end within 5 %, the rate within 30 %.

    The tolerances are three times the standard error that fifteen tests leave.
    """
    ages = np.repeat(AGES_H, 3)
    noise = np.exp(0.03 * np.random.default_rng(seed).standard_normal(len(ages)))
    fit = fit_hyperbola(ages, hyperbolic_strength(ages, 40.0, 0.02, 8.0) * noise, offset_h=6.0)
    assert fit.ultimate == pytest.approx(40.0, rel=0.05)
    assert fit.rate == pytest.approx(0.02, rel=0.3)
    assert 0.01 < fit.scatter < 0.05


def test_the_order_of_the_tests_changes_nothing() -> None:
    strength = np.array([9.0, 22.0, 31.0, 34.0, 38.0])
    one, other = (
        fit_hyperbola(AGES_H[order], strength[order], offset_h=6.0)
        for order in (slice(None), [3, 0, 4, 1, 2])
    )
    assert one.ultimate == pytest.approx(other.ultimate, rel=1e-6)


def test_by_hand_two_ages_and_a_given_beginning() -> None:
    """1/S is linear in 1/(t - t0), Su and k follow by hand: S 10 at 24 h, 20 at 72 h, t0 0.

    1/10 = 1/Su + 1/(24 Su k) and 1/20 = 1/Su + 1/(72 Su k): Su k = 5/9, Su = 40, k = 1/72.
    """
    fit = fit_hyperbola([24.0, 24.0, 72.0], [10.0, 10.0, 20.0], offset_h=0.0)
    assert fit.ultimate == pytest.approx(40.0, rel=1e-6)
    assert fit.rate == pytest.approx(1.0 / 72.0, rel=1e-6)


@pytest.mark.parametrize(
    ("ages", "strengths", "offset"),
    [([24, 72], [10, 20], 0.0), ([72, 72, 72], [20, 21, 20], 0.0), ([4, 72, 168], [1, 20, 30], 6.0)],
)
def test_too_little_to_fit_is_out_of_range(ages: list[int], strengths: list[int], offset: float) -> None:
    with pytest.raises(OutOfRange):
        fit_hyperbola(ages, strengths, offset_h=offset)


CURVES: dict[str, StrengthCurve] = {
    "hyperbola": Hyperbola(1.3, 0.02, 8.0),
    "times": ScaledCurve(Aci209(4.0, 0.85), 0.8),
    "slowest": SlowestCurve((Aci209(4.0, 0.85), En1992(0.38))),
    "fastest": FastestCurve((Aci209(4.0, 0.85), En1992(0.38))),
    "raised": SlowestCurve(
        (ScaledCurve(Aci209(4.0, 0.85), 1.4), FastestCurve((ConstantBound(1.05), Aci209(4.0, 0.85))))
    ),
    "fitted": SlowestCurve(
        (
            Hyperbola(1.3, 0.02, 8.0),
            FastestCurve((ScaledCurve(Aci209(4.0, 0.85), 0.9), OnsetBound(3.0))),
            FastestCurve((ConstantBound(1.1), Aci209(4.0, 0.85))),
        )
    ),
}


@pytest.mark.parametrize("curve", CURVES.values(), ids=list(CURVES))
def test_strength_never_falls_and_the_inverse_finds_the_first_age(curve: StrengthCurve) -> None:
    days = np.linspace(0.0, 200.0, 4001)
    ratio = curve.ratio(days)
    assert np.all(np.diff(ratio) >= -1e-12)
    for wanted in (0.05, 0.3, 0.6, 0.9, 1.0, 1.04, 1.08, 1.12, 1.4):
        age = float(curve.age_at(wanted))
        reached = np.flatnonzero(ratio >= wanted)
        if len(reached):
            assert days[max(reached[0] - 1, 0)] - 1e-9 <= age <= days[reached[0]] + 1e-9
        else:
            assert age > days[-1]
