"""What must hold of evaporation whatever the numbers."""

import numpy as np
import psychrolib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from handover.concrete.evaporation import evaporation_rate, transfer_coefficient, wind_at
from handover.errors import OutOfRange

surfaces = st.floats(-5.0, 60.0)
airs = st.floats(-20.0, 45.0)
humidities = st.floats(0.0, 1.0)
winds = st.floats(0.0, 25.0)
steps = st.floats(0.01, 5.0)


@given(surfaces, airs, humidities, winds, steps)
def test_rises_with_the_temperature_of_the_surface(
    surface: float, air: float, humidity: float, wind: float, step: float
) -> None:
    cool, warm = evaporation_rate([surface, surface + step], air, humidity, wind)
    assert warm > cool or (warm == 0.0 and cool == 0.0)


@given(surfaces, airs, humidities, winds, steps)
def test_rises_with_the_wind(surface: float, air: float, humidity: float, wind: float, step: float) -> None:
    calm, windy = evaporation_rate(surface, air, humidity, [wind, wind + step])
    assert windy > calm or (windy == 0.0 and calm == 0.0)


@given(surfaces, airs, st.floats(0.0, 0.9), winds, st.floats(0.01, 0.1))
def test_falls_with_the_humidity(
    surface: float, air: float, humidity: float, wind: float, step: float
) -> None:
    dry, damp = evaporation_rate(surface, air, [humidity, humidity + step], wind)
    assert damp < dry or (damp == 0.0 and dry == 0.0)


@given(airs, st.floats(0.05, 0.99), winds)
def test_nothing_evaporates_below_the_dew_point(air: float, humidity: float, wind: float) -> None:
    """PsychroLib finds the dew point to 0.001 degC."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    dew = psychrolib.GetTDewPointFromRelHum(air, humidity)
    assert evaporation_rate(dew - 0.1, air, humidity, wind) == 0.0
    assert evaporation_rate(dew + 0.1, air, humidity, wind) > 0.0


def test_scalar_equals_array() -> None:
    surface, air = np.array([[20.0], [35.0]]), np.array([10.0, 25.0, 30.0])
    together = evaporation_rate(surface, air, 0.4, 3.0)
    assert together.shape == (2, 3)
    for row in range(2):
        for column in range(3):
            alone = evaporation_rate(float(surface[row, 0]), float(air[column]), 0.4, 3.0)
            assert alone == together[row, column]


@given(winds)
def test_the_rate_is_the_transfer_times_the_deficit(wind: float) -> None:
    """In dry air the deficit is the saturation pressure at the surface, 2338.8 Pa at 20 degC (ASHRAE)."""
    assert evaporation_rate(20.0, 20.0, 0.0, wind) == pytest.approx(
        transfer_coefficient(wind) * 2338.80, rel=1e-5
    )


@given(winds, st.floats(0.1, 20.0), st.floats(0.1, 20.0))
def test_wind_there_and_back(wind: float, low: float, high: float) -> None:
    assert wind_at(wind_at(wind, low, high), high, low) == pytest.approx(wind, rel=1e-12)


@pytest.mark.parametrize(("humidity", "wind"), [(50.0, 1.0), (-0.1, 1.0), (0.5, -1.0), (0.5, np.nan)])
def test_what_no_formula_covers_is_refused(humidity: float, wind: float) -> None:
    with pytest.raises(OutOfRange):
        evaporation_rate(20.0, 20.0, humidity, wind)


@pytest.mark.parametrize(("low", "high"), [(0.0, 10.0), (0.5, 0.0), (np.nan, 10.0)])
def test_heights_are_above_the_ground(low: float, high: float) -> None:
    with pytest.raises(OutOfRange):
        wind_at(3.0, low, high)
