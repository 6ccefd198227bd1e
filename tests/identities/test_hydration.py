"""What must hold of hydration and setting whatever the numbers."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from handover.base.arrays import Floats
from handover.concrete.hydration import (
    CementComposition,
    HydrationCurve,
    activation_energy,
    age_at_degree,
    degree_and_rate,
    degree_of_hydration,
    heat_of_hydration,
    hydration_curve,
)
from handover.concrete.setting import scale_time, set_age, set_degree
from handover.errors import OutOfRange
from handover.practice.rules import practice

PLAIN: dict[str, float] = {
    "c3s": 0.54,
    "c2s": 0.18,
    "c3a": 0.10,
    "c4af": 0.08,
    "blaine": 370.0,
    "so3": 0.03,
    "free_cao": 0.01,
    "mgo": 0.02,
}
CEMENT = CementComposition(**PLAIN)

curves = st.builds(
    HydrationCurve,
    ultimate=st.floats(0.5, 1.0),
    tau_h=st.floats(4.0, 60.0),
    beta=st.floats(0.3, 1.2),
    heat_j_kg=st.just(450e3),
    activation_energy=st.just(42e3),
    cold_activation_energy=st.just(42e3),
)


def rate(age: float, curve: HydrationCurve) -> Floats:
    return degree_and_rate(age, curve.ultimate, curve.tau_h, curve.beta)[1]


INITIAL, FINAL = practice()["setting.initial"], practice()["setting.final"]


@given(curves, st.floats(0.0, 5000.0), st.floats(0.0, 500.0))
def test_never_falls_and_never_passes_the_ultimate(curve: HydrationCurve, age: float, more: float) -> None:
    earlier, later = degree_of_hydration([age, age + more], curve)
    assert 0.0 <= earlier <= later <= curve.ultimate


@given(curves)
def test_nothing_has_happened_at_age_0(curve: HydrationCurve) -> None:
    assert degree_of_hydration(0.0, curve) == 0.0
    assert rate(0.0, curve) == 0.0


@given(curves, st.floats(0.5, 1000.0))
def test_the_rate_is_the_derivative(curve: HydrationCurve, age: float) -> None:
    """Central difference over a ten-thousandth of the age; its own error is about 1e-8."""
    step = 1e-4 * age
    before, after = degree_of_hydration([age - step, age + step], curve)
    assert rate(age, curve) == pytest.approx((after - before) / (2 * step), rel=1e-5, abs=1e-12)


@given(curves, st.floats(0.02, 0.98))
def test_age_at_degree_inverts(curve: HydrationCurve, share: float) -> None:
    degree = share * curve.ultimate
    assert degree_of_hydration(age_at_degree(degree, curve), curve) == pytest.approx(degree, rel=1e-9)


@given(curves)
def test_the_ends_of_the_curve(curve: HydrationCurve) -> None:
    ages = age_at_degree([-0.1, 0.0, curve.ultimate, 1.1], curve)
    np.testing.assert_array_equal(ages, [0.0, 0.0, np.inf, np.inf])


def test_at_tau_the_degree_is_a_known_share_of_the_ultimate() -> None:
    """exp(-1) of it, whatever the slope."""
    curve = HydrationCurve(0.8, 15.0, np.array([0.4, 0.7, 1.0]), 450e3, 42e3, 42e3)
    np.testing.assert_allclose(degree_of_hydration(15.0, curve), 0.8 * np.exp(-1.0), rtol=1e-12)


def test_members_in_rows_are_each_its_own() -> None:
    ultimate, tau, beta = (np.array(each)[:, np.newaxis] for each in ([0.7, 0.8], [12.0, 20.0], [0.6, 0.9]))
    ages = np.array([0.0, 3.0, 300.0])
    degrees, rates = degree_and_rate(ages, ultimate, tau, beta)
    for row in range(2):
        degree, rate = degree_and_rate(ages, ultimate[row, 0], tau[row, 0], beta[row, 0])
        np.testing.assert_array_equal(degrees[row], degree)
        np.testing.assert_array_equal(rates[row], rate)


@given(curves, st.floats(0.3, 3.0))
def test_a_retarder_moves_the_set_by_its_factor(curve: HydrationCurve, factor: float) -> None:
    degree = set_degree(0.5, INITIAL)
    assert set_age(degree, scale_time(curve, factor)) == pytest.approx(
        factor * float(set_age(degree, curve)), rel=1e-9
    )
    assert scale_time(curve, factor).ultimate == curve.ultimate


@given(st.floats(0.35, 0.65))
def test_final_set_follows_initial_set(water_cementitious: float) -> None:
    curve = hydration_curve(CEMENT, water_cementitious)
    assert 0.0 < set_degree(water_cementitious, INITIAL) < set_degree(water_cementitious, FINAL)
    initial, final = (
        set_age(degree, curve)
        for degree in (
            set_degree(water_cementitious, INITIAL),
            set_degree(water_cementitious, FINAL),
        )
    )
    assert initial < final < np.inf


def test_wetter_mixes_hydrate_further_and_set_later() -> None:
    """Common practice, no source."""
    lean, wet = (hydration_curve(CEMENT, ratio) for ratio in (0.45, 0.60))
    assert lean.ultimate < wet.ultimate
    assert set_age(set_degree(0.45, INITIAL), lean) < set_age(set_degree(0.60, INITIAL), wet)


def test_fly_ash_and_slag_slow_the_start() -> None:
    """Common practice, no source."""
    plain = hydration_curve(CEMENT, 0.5)
    for mix in (
        hydration_curve(CEMENT, 0.5, fly_ash=0.25, fly_ash_cao=0.10),
        hydration_curve(CEMENT, 0.5, slag=0.35),
    ):
        assert degree_of_hydration(12.0, mix) < degree_of_hydration(12.0, plain)


@given(st.floats(0.0, 0.5), st.floats(0.0, 0.5))
def test_heat_is_shared_by_mass(fly_ash: float, slag: float) -> None:
    """Slag gives 461 J/g and fly ash 18 J/g for each percent of its lime; the mix is their mean by mass."""
    heat = heat_of_hydration(CEMENT, fly_ash=fly_ash, slag=slag, fly_ash_cao=0.2)
    cement = heat_of_hydration(CEMENT)
    assert heat == pytest.approx((1 - fly_ash - slag) * cement + slag * 461e3 + fly_ash * 360e3, rel=1e-12)


@pytest.mark.parametrize(
    "wrong",
    [{"c3s": 54.0}, {"c2s": -0.1}, {"c3a": 0.0}, {"so3": 0.0}, {"blaine": 0.0}, {"mgo": np.nan}],
    ids=str,
)
def test_a_composition_is_in_mass_fractions(wrong: dict[str, float]) -> None:
    with pytest.raises(OutOfRange, match=next(iter(wrong))):
        CementComposition(**(PLAIN | wrong))


@pytest.mark.parametrize(
    "wrong",
    [
        {"ultimate": 1.01},
        {"ultimate": 0.0},
        {"tau_h": 0.0},
        {"beta": -0.5},
        {"heat_j_kg": -1.0},
        {"activation_energy": np.nan},
        {"cold_activation_energy": -1.0},
    ],
    ids=str,
)
def test_a_curve_that_makes_no_sense(wrong: dict[str, float]) -> None:
    energies = {"activation_energy": 42e3, "cold_activation_energy": 42e3}
    sound = {"ultimate": 0.8, "tau_h": 15.0, "beta": 0.7, "heat_j_kg": 450e3, **energies}
    with pytest.raises(OutOfRange):
        HydrationCurve(**(sound | wrong))


@pytest.mark.parametrize(
    "shares",
    [
        {"fly_ash": 0.2},
        {"fly_ash": 25.0, "fly_ash_cao": 0.1},
        {"fly_ash": 0.2, "fly_ash_cao": 10.0},
        {"slag": -0.1},
        {"fly_ash": 0.6, "slag": 0.6, "fly_ash_cao": 0.1},
    ],
    ids=str,
)
def test_shares_that_make_no_sense(shares: dict[str, Any]) -> None:
    for formula in (activation_energy, heat_of_hydration):
        with pytest.raises(OutOfRange):
            formula(CEMENT, **shares)
    with pytest.raises(OutOfRange):
        hydration_curve(CEMENT, 0.5, **shares)


@pytest.mark.parametrize("ratio", [0.0, -0.4, np.nan])
def test_a_mix_has_water(ratio: float) -> None:
    with pytest.raises(OutOfRange):
        hydration_curve(CEMENT, ratio)


@pytest.mark.parametrize("factor", [0.0, -1.0, np.nan])
def test_an_admixture_does_not_turn_time_back(factor: float) -> None:
    with pytest.raises(OutOfRange):
        scale_time(hydration_curve(CEMENT, 0.5), factor)
