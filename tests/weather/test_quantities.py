"""The units of weather files, by their definitions."""

from __future__ import annotations

import numpy as np
import pytest

from handover.weather.quantities import WeatherQuantity, find_unit

Q = WeatherQuantity


@pytest.mark.parametrize(
    ("quantity", "unit", "number", "si"),
    [
        (Q.AIR, "degC", 21.5, 21.5),
        (Q.AIR, "wmoUnit:degF", 212.0, 100.0),
        (Q.AIR, "°F", -40.0, -40.0),
        (Q.DEW_POINT, "degrees Celsius", 4.0, 4.0),
        (Q.DEW_POINT, "K", 273.15, 0.0),
        (Q.HUMIDITY, "%", 62.0, 0.62),
        (Q.HUMIDITY, "fraction", 0.62, 0.62),
        (Q.WIND, "wmoUnit:km_h-1", 36.0, 10.0),
        (Q.WIND, "m/s", 7.0, 7.0),
        (Q.WIND, "mp/h", 10.0, 4.4704),
        (Q.WIND, "kn", 3600.0, 1852.0),
        (Q.WIND, "ft/s", 10.0, 3.048),
        (Q.CLOUD, "oktas", 4.0, 0.5),
        (Q.CLOUD, "tenths", 7.0, 0.7),
        (Q.SHORTWAVE, "W/m²", 500.0, 500.0),
        (Q.SHORTWAVE, "kWh/m2", 0.5, 500.0),
        (Q.RAIN, "inch", 2.0, 50.8),
        (Q.RAIN, "kg m-2", 3.0, 3.0),
        (Q.RAIN, "cm", 1.5, 15.0),
        (Q.RAIN, "m", 0.002, 2.0),
        (Q.RAIN_CHANCE, "percent", 30.0, 0.3),
    ],
)
def test_a_number_in_a_unit(quantity: WeatherQuantity, unit: str, number: float, si: float) -> None:
    """International yard and pound, nautical mile of 1852 m: exact. Tolerance: rounding."""
    known = find_unit(quantity, unit)
    assert known is not None
    assert known.to_si(np.array([number]))[0] == pytest.approx(si, rel=1e-12, abs=1e-12)


@pytest.mark.parametrize(
    ("quantity", "unit"), [(Q.WIND, "degC"), (Q.AIR, "degR"), (Q.RAIN, ""), (Q.WIND, None)]
)
def test_a_unit_of_something_else_is_none(quantity: WeatherQuantity, unit: str | None) -> None:
    assert find_unit(quantity, unit) is None
