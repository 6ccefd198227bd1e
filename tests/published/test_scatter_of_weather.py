"""How changeable weather is, against the spreads that the schedule draws its cases with.

Source: the TMY3 years of Greensboro and Sand Point and the TMY2 year of Miami inside the pvlib wheel, read
here apart from the code. A typical day is the yearly course, by hour of the day, of a mean and two harmonics;
that of a month is the mean of its days.
"""

import csv
from functools import cache
from importlib.resources import files

import numpy as np
import pytest

from handover.practice.rules import practice
from handover.weather.climate import climate_at
from handover.weather.location import Location

TOWNS = ("723170TYA.CSV", "703165TY.csv")
COLUMNS = {"air_c": (31, 1.0), "relative_humidity": (37, 0.01), "wind_ms": (46, 1.0), "cloud": (25, 0.1)}
WINTER = slice(0, 59)  # days of January and February
WINTER_HALF = np.r_[0:90, 304:365]


@cache
def rows_of(file: str) -> list[list[str]]:
    """Return the rows of a year, one for each hour."""
    return list(csv.reader(files("pvlib").joinpath("data", file).read_text().splitlines()))[2:]


def days(file: str, name: str) -> np.ndarray:
    """Return the hours of a year, shape (365, 24)."""
    column, to_si = COLUMNS[name]
    return np.array([float(row[column]) for row in rows_of(file)]).reshape(365, 24) * to_si


def departures(file: str, name: str) -> np.ndarray:
    """Return how far each hour is from the typical day; of wind, as a share of it."""
    result = days(file, name)
    turn = 2 * np.pi * np.arange(365) / 365
    course = np.stack([np.ones(365), np.cos(turn), np.sin(turn), np.cos(2 * turn), np.sin(2 * turn)], axis=1)
    typical = course @ np.linalg.lstsq(course, result, rcond=None)[0]
    return result / typical - 1.0 if name == "wind_ms" else result - typical


@pytest.mark.parametrize("name", COLUMNS)
def test_the_farthest_forecast_is_as_good_as_the_typical_day(name: str) -> None:
    """The more changeable of the two towns, air in winter; 5 %: one year represents many."""
    season = WINTER if name == "air_c" else slice(None)
    scatter = max(departures(town, name)[season].std() for town in TOWNS)
    assert practice()[f"forecast.{name}-most"] == pytest.approx(scatter, rel=0.05)


@pytest.mark.parametrize("town", TOWNS)
@pytest.mark.parametrize("apart_h", [24, 48])
def test_the_air_hangs_together_as_long_as_is_said(town: str, apart_h: int) -> None:
    """Correlation of two hours; 0.10: what one year differs by from another."""
    air = departures(town, "air_c").ravel()
    found = np.corrcoef(air[:-apart_h], air[apart_h:])[0, 1]
    assert found == pytest.approx(np.exp(-apart_h / practice()["forecast.memory"]), abs=0.10)


def test_the_weeks_differ_from_the_last_three_days_by_the_stated_spread() -> None:
    """Mean of the week after three days, less their mean, winter half; 5 % as above."""
    scatter = []
    for town in TOWNS:
        daily = np.tile(days(town, "air_c").mean(axis=1), 2)
        apart = [daily[day + 3 : day + 10].mean() - daily[day : day + 3].mean() for day in WINTER_HALF]
        scatter.append(np.std(apart))
    assert practice()["forecast.beyond"] == pytest.approx(max(scatter), rel=0.05)


# ---- about the climate of the place

PLACES = {"723170TYA.CSV": (36.1, -79.95), "703165TY.csv": (55.317, -160.517), "12839.tm2": (25.8, -80.267)}
MONTH = np.repeat(np.arange(12), [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])


def air(file: str) -> np.ndarray:
    """Return the air of a year, shape (365, 24)."""
    if not file.endswith("tm2"):
        return days(file, "air_c")
    lines = files("pvlib").joinpath("data", file).read_text().splitlines()[1:]
    return np.array([float(line[67:71]) / 10 for line in lines]).reshape(365, 24)


def months(file: str) -> tuple[np.ndarray, np.ndarray]:
    """Return the mean of each month, and the scatter of its hours about its typical day."""
    found = [air(file)[month == MONTH] for month in range(12)]
    return np.array([each.mean() for each in found]), np.array(
        [(each - each.mean(axis=0)).std() for each in found]
    )


@cache
def season(file: str) -> tuple[np.ndarray, float]:
    """Return the mean of the map for each day, shape (365,), and for the warmest month."""
    climate = climate_at(Location(*PLACES[file]))
    assert climate is not None
    noons = np.datetime64("2025-01-01T12:00:00") + np.arange(365) * np.timedelta64(86400, "s")
    return climate.air_c(noons), climate.warmest_c


def test_hours_scatter_more_the_colder_the_season_is_than_the_warmest_month() -> None:
    """The line through the 36 months, and how well they follow it."""
    colder, scatter = [], []
    for file, place in PLACES.items():
        climate = climate_at(Location(*place))
        assert climate is not None
        colder += [climate.warmest_c - each for each in climate.months_c]
        scatter += list(months(file)[1])
    slope, start = np.polyfit(colder, scatter, 1)
    rules = practice()
    assert rules["forecast.scatter-warmest"] == pytest.approx(start, abs=0.1)
    assert rules["forecast.scatter-per-kelvin"] == pytest.approx(slope, abs=0.01)
    assert rules["forecast.scatter-most"] == pytest.approx(max(scatter), abs=0.1)
    assert np.corrcoef(colder, scatter)[0, 1] > 0.85


def test_the_days_after_the_last_three_return_to_the_season_as_fast_as_is_said() -> None:
    """Regression of a later day's departure from the map on that of three days; mean of the two TMY3 years.

    0.12: what one year differs by from another; the middle of the day counts.
    """
    memory = practice()["forecast.memory"]
    for later in range(1, 6):
        found = []
        for town in TOWNS:
            departure = np.tile(air(town).mean(axis=1) - season(town)[0], 2)
            three = np.array([departure[day : day + 3].mean() for day in range(365)])
            after = np.array([departure[day + 2 + later] for day in range(365)])
            found.append((three @ after) / (three @ three))
        assert np.exp(-(24 * later - 12) / memory) == pytest.approx(np.mean(found), abs=0.12)


def test_months_differ_from_the_map_by_no_more_than_is_said() -> None:
    """The scatter of hours that are correlated over the memory, averaged over a month, and what is added."""
    rules = practice()
    memory, month_h = rules["forecast.memory"], 365 * 24 / 12
    averaged = 2 * memory / month_h * (1 - memory / month_h)
    for file in PLACES:
        course, warmest = season(file)
        departure = np.array(
            [(air(file).mean(axis=1) - course)[month == MONTH].mean() for month in range(12)]
        )
        hours = rules["forecast.scatter-warmest"] + rules["forecast.scatter-per-kelvin"] * (warmest - course)
        stated = averaged * (np.minimum(hours, rules["forecast.scatter-most"]) ** 2).mean()
        assert (departure**2).mean() <= stated + rules["forecast.beyond-climate"] ** 2
