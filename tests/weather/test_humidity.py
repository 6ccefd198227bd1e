"""Relative humidity from the dew point, against PsychroLib."""

from __future__ import annotations

import numpy as np
import psychrolib
import pytest

from handover.weather.humidity import humidity_from_dew_point


@pytest.fixture(autouse=True)
def si() -> None:
    psychrolib.SetUnitSystem(psychrolib.SI)


def test_dew_point_of_psychrolib() -> None:
    """25 degC and 80 % have a dew point of 21.3094 degC (PsychroLib's documentation).

    The formula claims 0.4 % on a vapour pressure; at room temperature it is far better.
    """
    assert humidity_from_dew_point(np.array([25.0]), np.array([21.3094]))[0] == pytest.approx(0.80, abs=0.001)


@pytest.mark.parametrize("air", [1.0, 10.0, 20.0, 30.0, 40.0, 50.0])
@pytest.mark.parametrize("depression", [0.0, 0.5, 5.0, 15.0])
def test_above_freezing_against_psychrolib(air: float, depression: float) -> None:
    """Within 0.5 %: the claim at worst is twice 0.384 %. Below freezing PsychroLib takes ice, we water."""
    dew_point = max(air - depression, 0.5)
    expected = psychrolib.GetRelHumFromTDewPoint(air, dew_point)
    assert humidity_from_dew_point(np.array([air]), np.array([dew_point]))[0] == pytest.approx(
        expected, rel=0.005
    )


def test_saturated_at_its_own_dew_point_and_never_above() -> None:
    air = np.linspace(-30, 40, 15)
    np.testing.assert_allclose(humidity_from_dew_point(air, air), 1)
    np.testing.assert_array_equal(humidity_from_dew_point(air, air + 0.4), 1)
