"""The climate of a place, against real years and against what a map of the earth must be."""

from __future__ import annotations

import csv
from importlib.resources import files

import numpy as np
import pytest

from handover.weather.climate import Climate, climate_at
from handover.weather.location import Location

MONTHS = np.arange("2025-01", "2026-01", dtype="datetime64[M]")
MIDDLES = (
    MONTHS.astype("datetime64[s]")
    + ((MONTHS + 1).astype("datetime64[s]") - MONTHS.astype("datetime64[s]")) // 2
)


def at(latitude: float, longitude: float) -> Climate:
    climate = climate_at(Location(latitude, longitude))
    assert climate is not None
    return climate


def months_of(file: str) -> np.ndarray:
    """Return the monthly mean air of a TMY3 file inside the pvlib wheel, read apart from the code."""
    rows = list(csv.reader(files("pvlib").joinpath("data", file).read_text().splitlines()))[2:]
    air = np.array([float(row[31]) for row in rows])
    month = np.array([int(row[0][:2]) for row in rows])
    return np.array([air[month == each].mean() for each in range(1, 13)])


@pytest.mark.parametrize(
    ("file", "latitude", "longitude"),
    [("723170TYA.CSV", 36.1, -79.95), ("703165TY.csv", 55.317, -160.517)],
)
def test_months_are_those_of_real_years(file: str, latitude: float, longitude: float) -> None:
    """Within 2 K (rms), what a single month differs from the mean of many, and hardly off on average."""
    difference = months_of(file) - at(latitude, longitude).months_c
    assert np.sqrt((difference**2).mean()) < 2.0
    assert abs(difference.mean()) < 1.0


def test_seasons_are_opposite_south_of_the_equator() -> None:
    sydney, minneapolis = at(-33.87, 151.21), at(44.98, -93.27)
    assert np.argmax(sydney.months_c) in {0, 1}
    assert np.argmax(minneapolis.months_c) == 6
    assert minneapolis.months_c[0] < -5.0 < 15.0 < sydney.months_c[0]
    singapore = at(1.35, 103.82)
    assert max(singapore.months_c) - min(singapore.months_c) < 3.0


def test_the_map_is_whole() -> None:
    """It has no edge: the date line joins, and both poles are there."""
    for latitude in (-40.0, 0.0, 52.3):
        east, west = at(latitude, 180.0), at(latitude, -180.0)
        assert east.months_c == pytest.approx(west.months_c)
        assert at(latitude, 179.999).months_c == pytest.approx(at(latitude, -179.999).months_c, abs=0.01)
    assert at(90.0, 0.0).months_c[0] < -20.0 < 5.0
    assert at(-90.0, 0.0).months_c[6] < -40.0


def test_between_the_points_of_the_map_nothing_jumps() -> None:
    """A step of 0.01 degrees changes no month by more than the steepest slope of the map about it."""
    track = np.array([at(36.0 + 0.01 * step, -79.95).months_c for step in range(160)])
    assert np.abs(np.diff(track, axis=0)).max() < 0.05


def test_no_place_no_climate() -> None:
    assert climate_at(Location(None, None)) is None


def test_the_middle_of_a_month_has_its_mean_and_the_days_between_go_from_one_to_the_next() -> None:
    climate = at(36.1, -79.95)
    assert climate.air_c(MIDDLES) == pytest.approx(climate.months_c)
    spring = climate.air_c(np.arange(MIDDLES[1], MIDDLES[6], np.timedelta64(3600, "s")))
    assert (np.diff(spring) >= 0).all()
    turn = climate.air_c(np.arange("2025-12-30", "2026-01-03", dtype="datetime64[h]"))
    assert np.abs(np.diff(turn)).max() < 0.01
