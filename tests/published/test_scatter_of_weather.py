"""How changeable weather is, against the spreads that the schedule draws its cases with.

Source: the TMY3 years of Greensboro and Sand Point inside the pvlib wheel, read here apart from the code. A
typical day is the yearly course, by hour of the day, of a mean and two harmonics.
"""

import csv
from importlib.resources import files

import numpy as np
import pytest

from handover.practice.rules import practice

TOWNS = ("723170TYA.CSV", "703165TY.csv")
COLUMNS = {"air_c": (31, 1.0), "relative_humidity": (37, 0.01), "wind_ms": (46, 1.0), "cloud": (25, 0.1)}
WINTER = slice(0, 59)  # days of January and February
WINTER_HALF = np.r_[0:90, 304:365]


def days(file: str, name: str) -> np.ndarray:
    """Return the hours of a year, shape (365, 24)."""
    column, to_si = COLUMNS[name]
    text = files("pvlib").joinpath("data", file).read_text()
    rows = list(csv.reader(text.splitlines()))[2:]
    return np.array([float(row[column]) for row in rows]).reshape(365, 24) * to_si


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
