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
    + ((MONTHS + np.timedelta64(1, "M")).astype("datetime64[s]") - MONTHS.astype("datetime64[s]")) // 2
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


class TestGround:
    """The yearly wave in the ground, by the properties of its equation."""

    SOIL = 5e-7
    YEAR = np.datetime64("2025-01-01T00:00:00") + np.arange(0, 365 * 24, 6) * np.timedelta64(3600, "s")

    def test_the_mean_of_the_year_is_that_of_the_air_at_every_depth(self) -> None:
        climate = at(44.98, -93.27)
        for depth in (0.0, 1.5, 5.0):
            ground = climate.ground_c(self.YEAR, depth, self.SOIL)
            assert ground.mean() == pytest.approx(np.mean(climate.months_c), abs=0.05)

    def test_at_the_surface_it_is_the_air(self) -> None:
        """But for what is no single wave in the months, 1.5 K in a climate of four seasons."""
        climate = at(44.98, -93.27)
        assert climate.ground_c(self.YEAR, 0.0, self.SOIL) == pytest.approx(climate.air_c(self.YEAR), abs=1.5)

    def test_it_is_smaller_and_later_with_depth(self) -> None:
        """At the depth where it is 1/e of the air's, it is a radian late: 58 days."""
        climate = at(44.98, -93.27)
        depth = np.sqrt(self.SOIL * 365.25 * 86400 / np.pi)
        above, below = (climate.ground_c(self.YEAR, each, self.SOIL) for each in (0.0, depth))
        assert np.ptp(below) == pytest.approx(np.ptp(above) / np.e, rel=0.01)
        late = self.YEAR[np.argmax(below)] - self.YEAR[np.argmax(above)]
        assert late / np.timedelta64(86400, "s") == pytest.approx(58.1, abs=0.5)

    def test_in_fall_it_is_warmer_than_the_air_and_in_spring_colder(self) -> None:
        climate = at(44.98, -93.27)
        days = np.array(["2025-04-15T12:00:00", "2025-11-01T12:00:00"], dtype="datetime64[s]")
        spring, fall = climate.ground_c(days, 1.5, self.SOIL) - climate.air_c(days)
        assert spring < -1.0
        assert fall > 1.0
