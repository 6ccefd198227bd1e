"""What must hold of water vapour whatever the numbers."""

import numpy as np
import psychrolib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from handover.air.psychrometrics import (
    TRIPLE_POINT_C,
    humidity_from_dew_point,
    saturation_over_ice,
    saturation_over_water,
    saturation_pressure,
    vapour_pressure,
)
from handover.errors import OutOfRange

temperatures = st.floats(-60.0, 80.0)


@given(temperatures, st.floats(1e-3, 5.0))
def test_saturation_rises_with_temperature(temperature: float, step: float) -> None:
    assert saturation_pressure(temperature + step) > saturation_pressure(temperature)


def test_the_two_phases_meet_at_the_triple_point() -> None:
    """At the triple point ice and water have the same vapour, 611.657 Pa; tolerance: the fits' own 0.01 %."""
    assert saturation_over_ice(TRIPLE_POINT_C) == pytest.approx(611.657, rel=1e-4)
    assert saturation_over_water(TRIPLE_POINT_C) == pytest.approx(611.657, rel=1e-4)


def test_ice_holds_its_vapour_more_tightly_than_water() -> None:
    below = np.linspace(-30.0, -0.5, 20)
    assert np.all(saturation_over_ice(below) < saturation_over_water(below))


def test_fog_is_saturated_and_no_more() -> None:
    """A sensor that reports a dew point above the air's temperature means saturation."""
    assert humidity_from_dew_point(10.0, 10.4) == 1.0


def test_saturated_air_is_at_its_dew_point() -> None:
    air = np.linspace(-60, 60, 25)
    np.testing.assert_allclose(humidity_from_dew_point(air, air), 1.0)


@given(temperatures, st.floats(0.0, 40.0), st.floats(1e-3, 5.0))
def test_humidity_falls_as_the_dew_point_falls(air: float, depression: float, step: float) -> None:
    assert humidity_from_dew_point(air, air - depression) > humidity_from_dew_point(
        air, air - depression - step
    )


@given(temperatures, st.floats(0.01, 1.0))
def test_the_vapour_of_the_dew_point_is_that_of_the_air(air: float, humidity: float) -> None:
    """The dew point that PsychroLib finds above freezing, to 0.001 degC, gives the humidity again."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    dew = psychrolib.GetTDewPointFromRelHum(air, humidity)
    if dew > TRIPLE_POINT_C:
        assert humidity_from_dew_point(air, dew) == pytest.approx(humidity, rel=2e-4)


def test_what_is_not_known_stays_unknown() -> None:
    assert np.isnan(humidity_from_dew_point([20.0, np.nan], [np.nan, 10.0])).all()


def test_scalar_equals_array() -> None:
    mixed = np.array([-12.0, 3.0, 25.0])
    np.testing.assert_array_equal(saturation_pressure(mixed), [saturation_pressure(each) for each in mixed])
    np.testing.assert_array_equal(
        humidity_from_dew_point(mixed, 5.0), [humidity_from_dew_point(each, 5.0) for each in mixed]
    )


@pytest.mark.parametrize("temperature", [-100.1, 200.1, -9999.0, np.nan])
def test_outside_the_fits(temperature: float) -> None:
    with pytest.raises(OutOfRange):
        saturation_pressure(temperature)


@pytest.mark.parametrize("humidity", [50.0, -0.01, np.nan])
def test_humidity_is_a_share(humidity: float) -> None:
    with pytest.raises(OutOfRange):
        vapour_pressure(20.0, humidity)
