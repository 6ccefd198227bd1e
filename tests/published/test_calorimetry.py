"""Early heat of portland cement pastes in isothermal calorimetry at 20 degC.

Five pastes whose data come with the source package calocem 0.3.3 (calorimetry_data_7, and 2 to 5 of
peak_detection_example; names and mixes are not stated, portland cements by their curves). The data are not
here; the figures are the heat released after the first hour, in J/g, computed from them. A sixth, strongly
retarded, is left out.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from handover.concrete.heat import HydrationParameters, Layer, Surface, grid_column, march, surface_exchange
from handover.concrete.hydration import CementComposition, degree_of_hydration, hydration_curve, reaction_rate
from handover.concrete.setting import set_age, set_degree
from handover.practice.rules import practice

if TYPE_CHECKING:
    from handover.base.arrays import Floats

MEASURED = {
    6: [14.5, 8.2, 21.1, 52.7, 12.2],
    9: [37.6, 16.3, 49.4, 72.9, 23.5],
    12: [65.3, 33.9, 93.7, 94.8, 43.4],
    18: [111.8, 89.0, 165.7, 130.3, 93.5],
    24: [142.2, 144.0, 203.0, 162.7, 134.1],
    48: [194.5, 206.0, 277.2, 221.9, 218.6],
    72: [212.8, 233.6, 313.2, 247.6, 250.7],
}
TYPE_I = CementComposition(**practice().cements["I"].phases)


def heat_j_g(hours: float, water_cementitious: float, *, dormant: float) -> float:
    """Return the heat of Type I at 20 degC; dormant: share of the time to initial set."""
    curve = hydration_curve(TYPE_I, water_cementitious)
    initial = set_age(set_degree(water_cementitious, practice()["setting.initial"]), curve)
    age = max(hours * float(reaction_rate(20.0, curve)) - dormant * float(initial), 0.0)
    return float(curve.heat_j_kg) * float(degree_of_hydration(age, curve)) / 1e3


@pytest.mark.parametrize("hours", MEASURED)
@pytest.mark.parametrize("water_cementitious", [0.40, 0.50])
def test_heat_is_among_the_five(hours: int, water_cementitious: float) -> None:
    """Type I is among the five, and its heat at most half above the middle one."""
    heat = heat_j_g(hours, water_cementitious, dormant=practice()["setting.dormant"])
    assert min(MEASURED[hours]) <= heat <= 1.50 * float(np.median(MEASURED[hours]))


@pytest.mark.parametrize("hours", [9, 12])
def test_without_a_dormant_period_it_comes_too_early(hours: int) -> None:
    assert heat_j_g(hours, 0.50, dormant=0.0) > max(MEASURED[hours])


def test_a_slab_in_the_cold_is_colder_before_its_heat_comes() -> None:
    """Identity."""

    def middle_c(dormant_h: float) -> Floats:
        steps = np.full(72, 3600.0)
        column = grid_column(Layer(0.1, 2.0, 2.3e6, 8), [Layer(1.5, 1.5, 2.0e6, 9, 1.4)])
        still = np.full((73, 1), 1.0)
        surface = surface_exchange(
            Surface(0.6, 0.9, 0.0, 0.0), air_c=5.0 * still, vapour_pa=600.0 * still, wind_ms=2.0 * still,
            cloud=still, shortwave_wm2=0.0 * still[1:], cover=0.0 * still[1:],
        )  # fmt: skip
        hydrating = HydrationParameters(0.74, 15.0, 0.67, 160e6, 45e3, dormant_h=dormant_h)
        start = np.where(np.arange(len(column.depth)) < len(column.concrete), 12.0, 5.0)[np.newaxis]
        result = march(column, hydrating, surface, steps=steps, initial_c=start, deep_c=5.0)
        return np.asarray(result.temperature_c[:, 0, 1])

    now, later = middle_c(0.0), middle_c(4.0)
    assert np.all(later[1:10] < now[1:10])
