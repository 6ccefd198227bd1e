"""A longitude without its minus sign is noticed where all else speaks of the United States.

The places are facts of geography: 36 N 79.95 E is in China, its mirror image in North Carolina; Berlin's
is at sea; Almaty's (43.2 N 76.9 E) in New York.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from collections.abc import Callable

    from handover.jobs.reading import ExaminedRecord

    Spoil = Callable[..., ExaminedRecord]

METRIC = {"slab.length": "10 m", "slab.width": "8 m", "slab.thickness": "100 mm"}


def doubts(examined: ExaminedRecord) -> list[str]:
    assert examined.record is not None, examined.findings
    return [each.problem for each in examined.findings if each.field == "site.longitude"]


@pytest.mark.parametrize(
    "expected",
    [
        {"site.longitude": 79.95},  # 4 in
        {"site.longitude": 79.95, **METRIC, "site.address": "118 Alder Lane\nGreensboro, NC 27401"},
        {"site.longitude": 79.95, **METRIC, "contractor.address": "4 Quarry Road, Greensboro NC 27401-1234"},
    ],
)
def test_a_sign_that_was_forgotten_is_asked_about(spoil: Spoil, expected: dict[str, Any]) -> None:
    [problem] = doubts(spoil(expected))
    assert "79.95 is in China" in problem
    assert "is its sign right?" in problem


@pytest.mark.parametrize(
    "expected",
    [
        {},
        {"site.longitude": 79.95, **METRIC},  # nothing speaks of the United States
        {"site.longitude": 79.95, **METRIC, "site.address": "4 Quarry Road, 27401 Almaty"},
        {"site.latitude": 43.2, "site.longitude": 76.9, "site.country": "KZ"},  # said to be meant
        {"site.latitude": 52.52, "site.longitude": 13.40},  # mirrored, it would be in the sea
    ],
)
def test_a_place_that_nothing_speaks_against(spoil: Spoil, expected: dict[str, Any]) -> None:
    assert doubts(spoil(expected)) == []
