"""Respirators when sawing, against the OSHA fact sheet on 29 CFR 1926.1153, table 1. Exact."""

from __future__ import annotations

from typing import get_args

import pytest

from handover.practice.rules import Mark
from handover.practice.silica import respirators


def protection_factor(saw: str, *, enclosed: bool, hours: float) -> float:
    """Return the factor of the last row that such a task of so many hours a day comes under."""
    rows = [row for row in respirators() if (row.saw, row.enclosed) == (saw, enclosed) and hours > row.over_h]
    return max(rows, key=lambda row: row.over_h).protection_factor


@pytest.mark.parametrize(
    ("enclosed", "hours", "factor"),
    [(False, 3.0, 0.0), (False, 4.0, 0.0), (False, 5.0, 10.0), (True, 1.0, 10.0)],
)
def test_hand_held_saw_with_water(enclosed: bool, hours: float, factor: float) -> None:
    """Hand-held saw with continuous water feed: outdoors up to 4 h none, over 4 h 10; indoors 10."""
    assert protection_factor("hand-held", enclosed=enclosed, hours=hours) == factor


def test_more_hours_never_ask_for_less() -> None:
    for saw in ("hand-held", "walk-behind"):
        for enclosed in (False, True):
            factors = [protection_factor(saw, enclosed=enclosed, hours=each) for each in (0.5, 4.0, 4.5, 8.0)]
            assert factors == sorted(factors)


def test_every_row_says_where_it_comes_from() -> None:
    for row in respirators():
        assert "OSHA" in row.source
        assert row.mark in get_args(Mark)
