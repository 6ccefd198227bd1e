"""Respirators when sawing, against the OSHA fact sheet on 29 CFR 1926.1153, table 1. Exact."""

from __future__ import annotations

from typing import get_args

import pytest

from handover.errors import OutOfRange
from handover.practice.rules import Mark
from handover.practice.silica import respirator, respirators


@pytest.mark.parametrize(
    ("enclosed", "hours", "factor"),
    [(False, 3.0, 0.0), (False, 4.0, 0.0), (False, 5.0, 10.0), (True, 1.0, 10.0)],
)
def test_hand_held_saw_with_water(enclosed: bool, hours: float, factor: float) -> None:
    """Hand-held saw with continuous water feed: outdoors up to 4 h none, over 4 h 10; indoors 10."""
    assert respirator("hand-held", enclosed=enclosed, hours=hours).protection_factor == factor


def test_more_hours_never_ask_for_less() -> None:
    for saw in ("hand-held", "walk-behind"):
        for enclosed in (False, True):
            factors = [
                respirator(saw, enclosed=enclosed, hours=each).protection_factor
                for each in (0.5, 4.0, 4.5, 8.0)
            ]
            assert factors == sorted(factors)


def test_every_row_says_where_it_comes_from() -> None:
    for row in respirators():
        assert "OSHA" in row.source
        assert row.mark in get_args(Mark)


def test_an_unknown_saw_is_refused() -> None:
    with pytest.raises(OutOfRange):
        respirator("chain", enclosed=False, hours=1.0)
