"""Schindler and Folliard (2005), Heat of hydration models for cementitious materials, ACI Mat. J. 102-M04.

The papers could not be read: formulas and cement are from memory, and the figures are arithmetic on
them, done apart from this code. They guard the coding, not the truth.
"""

import numpy as np
import pytest

from handover.base.arrays import HOUR_S, Floats
from handover.concrete.heat import Exchange, HydrationParameters, Layer, grid_column, march
from handover.concrete.hydration import (
    CementComposition,
    activation_energy,
    age_at_degree,
    degree_of_hydration,
    heat_of_hydration,
    hydration_curve,
)
from handover.concrete.setting import set_age, set_degree
from handover.practice.rules import practice

INITIAL, FINAL = practice()["setting.initial"], practice()["setting.final"]
TYPE_I = CementComposition(
    c3s=0.54, c2s=0.18, c3a=0.10, c4af=0.08, blaine=369.0, so3=0.030, free_cao=0.01, mgo=0.02
)
TYPE_II = CementComposition(
    c3s=0.55, c2s=0.19, c3a=0.06, c4af=0.11, blaine=377.0, so3=0.027, free_cao=0.01, mgo=0.02
)
TYPE_III = CementComposition(
    c3s=0.55, c2s=0.17, c3a=0.09, c4af=0.08, blaine=548.0, so3=0.035, free_cao=0.01, mgo=0.02
)
TYPE_V = CementComposition(
    c3s=0.54, c2s=0.22, c3a=0.04, c4af=0.13, blaine=373.0, so3=0.023, free_cao=0.01, mgo=0.02
)


@pytest.mark.parametrize(
    ("cement", "energy", "tau", "beta", "heat"),
    [
        (TYPE_I, 46_626, 15.01, 0.674, 484.6),
        (TYPE_II, 43_642, 17.16, 0.586, 468.3),
        (TYPE_III, 51_881, 9.80, 0.588, 481.4),
        (TYPE_V, 40_142, 20.96, 0.506, 459.7),
    ],
)
def test_parameters_by_cement(
    cement: CementComposition, energy: float, tau: float, beta: float, heat: float
) -> None:
    """Guards the coding; tolerances: half of the last digit given."""
    curve = hydration_curve(cement, 0.50)
    assert curve.activation_energy == pytest.approx(energy, abs=0.5)
    assert curve.tau_h == pytest.approx(tau, abs=0.006)
    assert curve.beta == pytest.approx(beta, abs=0.0006)
    assert curve.heat_j_kg == pytest.approx(heat * 1000.0, abs=60.0)


def test_degree_of_type_i() -> None:
    """Guards the coding: 6 h to 28 days at the reference temperature; tolerance 1e-4."""
    curve = hydration_curve(TYPE_I, 0.50)
    assert curve.ultimate == pytest.approx(0.7428, abs=1e-4)
    expected = [0.1161, 0.2322, 0.3584, 0.4704, 0.5248, 0.6104, 0.6877]
    np.testing.assert_allclose(degree_of_hydration([6, 12, 24, 48, 72, 168, 672], curve), expected, atol=1e-4)


def test_fly_ash() -> None:
    """Guards the coding: a quarter of fly ash with 10 % lime."""
    curve = hydration_curve(TYPE_I, 0.50, fly_ash=0.25, fly_ash_cao=0.10)
    assert curve.activation_energy == pytest.approx(37_446, abs=1.0)
    assert curve.tau_h == pytest.approx(19.035, abs=0.002)
    assert hydration_curve(TYPE_I, 0.45, fly_ash=0.25, fly_ash_cao=0.10).ultimate == pytest.approx(
        0.8454, abs=1e-4
    )


def test_slag() -> None:
    """Guards the coding: 40 % of slag."""
    curve = hydration_curve(TYPE_I, 0.50, slag=0.40)
    assert curve.activation_energy == pytest.approx(54_086, abs=1.0)
    assert curve.tau_h == pytest.approx(36.002, abs=0.002)


def adiabatic(start_c: float, hours: list[int], steps_an_hour: int = 20) -> Floats:
    """Return the temperature of 335 kg/m3 of type I that keeps its heat, after so many hours."""
    curve = hydration_curve(TYPE_I, 0.50)
    concrete = HydrationParameters(
        ultimate=curve.ultimate,
        tau=curve.tau_h,
        beta=curve.beta,
        heat=curve.heat_j_kg * 335.0,
        activation_energy=curve.activation_energy,
    )
    body = grid_column(Layer(0.1, 1.5, 2.35e6, 2), [])
    steps = np.full(max(hours) * steps_an_hour, HOUR_S / steps_an_hour)
    instants, means = np.zeros((len(steps) + 1, 1)), np.zeros((len(steps), 1))
    nothing = Exchange(instants, instants, instants, instants, instants, means, means, emissivity=0.0)
    start = np.full((1, 3), start_c)
    outcome = march(body, concrete, nothing, steps=steps, initial_c=start, deep_c=None)
    return outcome.temperature_c[np.array(hours) * steps_an_hour, 0, 1]


@pytest.mark.parametrize(
    ("start", "hours", "expected"),
    [(20.0, [12, 24, 72, 168], [44.72, 59.18, 67.53, 69.48]), (10.0, [24], [36.37]), (30.0, [24], [74.61])],
)
def test_adiabatic_temperature(start: float, hours: list[int], expected: list[float]) -> None:
    """Guards the coding: rise without loss, rho c 2.35 MJ/(m3 K); worked out by RK4 at 0.01 h.

    Tolerance 0.02 degC, though the figures take 273 K for 0 degC in the rate, and this code 273.15 K.
    """
    np.testing.assert_allclose(adiabatic(start, hours), expected, atol=0.02)


@pytest.mark.parametrize("start", [5.0, 20.0, 35.0])
def test_adiabatic_rise_is_bounded(start: float) -> None:
    """Identity: never more than the heat of the ultimate degree over the heat capacity, and nearly that."""
    curve = hydration_curve(TYPE_I, 0.50)
    bound = curve.ultimate * curve.heat_j_kg * 335.0 / 2.35e6
    rise = adiabatic(start, [28 * 24], steps_an_hour=2)[0] - start
    assert 0.9 * bound < rise < bound


def test_set_ages_of_type_i() -> None:
    """Guards the coding: te 4.2 h at initial and 6.6 h at final set; tolerance: the digits given."""
    curve = hydration_curve(TYPE_I, 0.50)
    assert set_age(set_degree(0.50, INITIAL), curve) == pytest.approx(4.2, abs=0.05)
    assert set_age(set_degree(0.50, 0.15), curve) == pytest.approx(4.4, abs=0.05)
    assert set_age(set_degree(0.50, FINAL), curve) == pytest.approx(6.6, abs=0.05)


def test_an_ensemble_is_its_members() -> None:
    """Identity: arrays of mixes give each mix its own curve."""
    ratios = np.array([0.40, 0.50, 0.60])[:, np.newaxis]
    ages = np.array([0.0, 5.0, 50.0, 500.0])
    together = degree_of_hydration(ages, hydration_curve(TYPE_I, ratios))
    for row, ratio in zip(together, ratios[:, 0], strict=True):
        np.testing.assert_array_equal(row, degree_of_hydration(ages, hydration_curve(TYPE_I, float(ratio))))


def test_shares_without_effect_change_nothing() -> None:
    """Identity: nothing added is the cement alone.

    No fly ash and no slag is the cement alone, whatever the lime of the ash that is not there.
    """
    assert activation_energy(TYPE_I, fly_ash=0.0, fly_ash_cao=0.3) == activation_energy(TYPE_I)
    assert heat_of_hydration(TYPE_I, slag=0.0) == heat_of_hydration(TYPE_I)


def test_cements_hydrate_in_the_order_of_their_use() -> None:
    """High-early (III) leads common (I), common leads moderate (II) and sulphate-resisting (V).

    Common practice.
    """
    ages = [
        float(age_at_degree(0.30, hydration_curve(each, 0.50)))
        for each in (TYPE_III, TYPE_I, TYPE_II, TYPE_V)
    ]
    assert ages == sorted(ages)
