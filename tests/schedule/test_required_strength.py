"""The strength that a date waits for, from the figures of its conditions."""

from __future__ import annotations

import pytest

from handover.schedule.model import Figure, Gate, Reason


def gate(*figures: Figure) -> Gate:
    return Gate("any", None, None, "", "computed", figures)


@pytest.mark.parametrize(
    ("figures", "needed"),
    [
        ((Figure("needed", 3.5, "MPa"),), 3.5),
        ((Figure("needed", 0.5, "1"), Figure("specified_strength", 20.0, "MPa")), 10.0),
        ((Figure("needed", 24.0, "h"),), None),
        ((Figure("needed", 0.26, "1"), Figure("water_cementitious", 0.5, "1")), None),
    ],
)
def test_the_strength_a_date_waits_for(figures: tuple[Figure, ...], needed: float | None) -> None:
    assert Reason(gate(*figures)).required_strength_mpa == needed


def test_the_highest_of_several_conditions_counts() -> None:
    low, high, other = (
        gate(Figure("needed", value, unit)) for value, unit in ((3.5, "MPa"), (7.0, "MPa"), (24.0, "h"))
    )
    assert Reason(low, (other, high)).required_strength_mpa == 7.0
