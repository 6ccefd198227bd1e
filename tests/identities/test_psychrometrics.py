"""What must hold of water vapour whatever the numbers."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from handover.concrete.psychrometrics import (
    TRIPLE_POINT_C,
    dew_point,
    relative_humidity,
    saturation_over_ice,
    saturation_over_water,
    saturation_pressure,
    vapour_pressure,
)
from handover.errors import OutOfRange

temperatures = st.floats(-60.0, 80.0)


@given(temperatures, st.floats(1e-3, 1.0))
def test_dew_point_inverts_saturation(temperature: float, humidity: float) -> None:
    pressure = vapour_pressure(temperature, humidity)
    assert saturation_pressure(dew_point(temperature, humidity)) == pytest.approx(pressure, rel=1e-8)


@given(temperatures, st.floats(0.01, 1.0))
def test_humidity_there_and_back(temperature: float, humidity: float) -> None:
    assert relative_humidity(temperature, dew_point(temperature, humidity)) == pytest.approx(
        humidity, rel=1e-8
    )


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


def test_saturated_air_is_at_its_dew_point() -> None:
    temperatures_c = np.array([-20.0, -0.3, 0.0, 0.01, 0.4, 30.0])
    np.testing.assert_allclose(dew_point(temperatures_c, 1.0), temperatures_c, atol=1e-9)


def test_fog_is_saturated_and_no_more() -> None:
    """A sensor that reports a dew point above the air's temperature means saturation."""
    assert relative_humidity(10.0, 10.4) == 1.0


def test_scalar_equals_array() -> None:
    mixed = np.array([-12.0, 3.0, 25.0])
    np.testing.assert_array_equal(saturation_pressure(mixed), [saturation_pressure(each) for each in mixed])
    np.testing.assert_array_equal(dew_point(mixed, 0.5), [dew_point(each, 0.5) for each in mixed])


@pytest.mark.parametrize("temperature", [-100.1, 200.1, -9999.0, np.nan])
def test_outside_the_fits(temperature: float) -> None:
    with pytest.raises(OutOfRange):
        saturation_pressure(temperature)


@pytest.mark.parametrize("humidity", [50.0, -0.01, np.nan])
def test_humidity_is_a_share(humidity: float) -> None:
    with pytest.raises(OutOfRange):
        vapour_pressure(20.0, humidity)


def test_dry_air_has_no_dew_point() -> None:
    with pytest.raises(OutOfRange, match="dry air"):
        dew_point(20.0, [0.5, 0.0])
