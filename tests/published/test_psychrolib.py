"""PsychroLib 2.5.0, an independent implementation of the ASHRAE Handbook of Fundamentals (2017), ch. 1."""

import numpy as np
import psychrolib
import pytest

from handover.air.psychrometrics import (
    humidity_from_dew_point,
    saturation_over_ice,
    saturation_over_water,
    saturation_pressure,
    vapour_pressure,
)


@pytest.fixture(autouse=True)
def _si_units() -> None:
    psychrolib.SetUnitSystem(psychrolib.SI)


def test_saturation_pressure() -> None:
    """Tolerance 1e-9 relative: the same published coefficients, so only rounding may differ."""
    temperatures = np.concatenate([np.linspace(-100.0, 200.0, 301), [-0.01, 0.009, 0.01, 0.011]])
    expected = [psychrolib.GetSatVapPres(float(each)) for each in temperatures]
    np.testing.assert_allclose(saturation_pressure(temperatures), expected, rtol=1e-9)


def test_saturation_pressure_over_one_phase() -> None:
    """Tolerance as above. The phase is the caller's to know."""
    assert saturation_over_water(20.0) == pytest.approx(psychrolib.GetSatVapPres(20.0), rel=1e-9)
    assert saturation_over_ice(-20.0) == pytest.approx(psychrolib.GetSatVapPres(-20.0), rel=1e-9)


def test_vapour_pressure() -> None:
    """Tolerance 1e-9 relative, as for saturation."""
    for temperature, humidity in [(-15.0, 0.9), (5.0, 0.35), (35.0, 0.6)]:
        expected = psychrolib.GetVapPresFromRelHum(temperature, humidity)
        assert vapour_pressure(temperature, humidity) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(("temperature", "dew"), [(1.0, 0.5), (10.0, 3.0), (25.0, 21.3), (40.0, 5.0)])
def test_relative_humidity(temperature: float, dew: float) -> None:
    """Tolerance 1e-9 relative, as for saturation. Below freezing PsychroLib takes ice."""
    expected = psychrolib.GetRelHumFromTDewPoint(temperature, dew)
    assert humidity_from_dew_point(temperature, dew) == pytest.approx(expected, rel=1e-9)


def test_humidity_of_the_docstring() -> None:
    """25 degC and a dew point of 21.3094 degC: 80 %, printed in PsychroLib's docstring; to its last digit."""
    assert humidity_from_dew_point(25.0, 21.3094) == pytest.approx(0.80, abs=1e-5)
