"""The height of the sun, against the position that pvlib computes."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from pvlib.solarposition import get_solarposition

from handover.weather.daylight import sun_height

PLACES = [(36.10, -79.95), (42.03, -93.62), (-33.87, 151.21), (64.15, -21.94), (0.0, 0.0)]


@pytest.mark.parametrize(("latitude", "longitude"), PLACES)
def test_the_height_is_that_of_pvlib(latitude: float, longitude: float) -> None:
    times = pd.date_range("2026-01-01", "2026-12-31", freq="37h", tz="UTC")
    seconds = np.array([each.timestamp() for each in times])
    expected = get_solarposition(times, latitude, longitude, method="nrel_numpy")["elevation"].to_numpy()
    assert np.abs(sun_height(seconds, latitude, longitude) - expected).max() < 0.05
