"""Schindler and Folliard (2005), Heat of hydration models for cementitious materials, ACI Mat. J. 102-M04.

The papers could not be read: formulas and cement are from memory, and the figures are arithmetic on
them, done apart from this code. They guard the coding, not the truth.
"""

import numpy as np
import pytest

from handover.concrete.hydration import (
    CementComposition,
    activation_energy,
    age_at_degree,
    degree_of_hydration,
    heat_of_hydration,
    hydration_curve,
)
from handover.concrete.setting import final_set_degree, initial_set_degree, set_age

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


def test_set_ages_of_type_i() -> None:
    """Guards the coding: te 4.2 h at initial and 6.6 h at final set; tolerance: the digits given."""
    curve = hydration_curve(TYPE_I, 0.50)
    assert set_age(initial_set_degree(0.50), curve) == pytest.approx(4.2, abs=0.05)
    assert set_age(initial_set_degree(0.50, 0.15), curve) == pytest.approx(4.4, abs=0.05)
    assert set_age(final_set_degree(0.50), curve) == pytest.approx(6.6, abs=0.05)


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
