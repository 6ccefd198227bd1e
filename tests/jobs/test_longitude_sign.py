"""A latitude or longitude without its minus sign is noticed where all else speaks of another place.

The places are facts of geography: 36 N 79.95 E is in China, its mirror image in North Carolina; Berlin's
is at sea; Almaty's (43.2 N 76.9 E) in New York. Rio de Janeiro (22.9 S 43.2 W) is mirrored to the sea and
to Arabia, Johannesburg (26.2 S 28.0 E) to Egypt, Porto (41.16 N 8.6 W) to Italy, Nelson (41.27 S 173.28 E) to
the sea, Toronto (43.7 N 79.4 W) to China.
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


@pytest.mark.parametrize(
    ("changes", "reason", "lines"),
    [
        (
            {"site.latitude": 26.2, "site.longitude": 28.0, "placement.start": "2026-07-14T06:40:00+02:00"},
            None,  # Egypt has summer time then
            ["latitude = -26.2"],
        ),
        (
            {
                "site.latitude": 41.16,
                "site.longitude": 8.6,
                "site.address": "Rua das Flores 8\nPorto, Portugal",
            },
            "the address of the record is in Portugal",
            ["longitude = -8.6"],
        ),
        (
            {"site.latitude": 43.7, "site.longitude": 79.4, "site.timezone": "America/New_York"},
            "America/New_York has another time",  # Toronto has its clock, and is in another country
            ["longitude = -79.4"],
        ),
        ({"site.latitude": 41.27, "site.longitude": 173.28}, "on land", ["latitude = -41.27"]),
        (
            {"site.latitude": 22.9, "site.longitude": -43.2},
            "on land",
            ["longitude = 43.2", "latitude = -22.9"],
        ),
    ],
)
def test_a_sign_is_asked_about_in_every_country(
    spoil: Spoil, changes: dict[str, Any], reason: str | None, lines: list[str]
) -> None:
    found = spoil({**METRIC, **changes}).findings
    [finding] = [each for each in found if "is its sign right?" in each.problem]
    assert reason is None or reason in finding.problem
    assert finding.example is not None
    assert {each.replace('"', "").replace(":", " =") for each in finding.example.split("   or   ")} == {
        *lines
    }


def test_a_state_with_the_name_of_a_country_does_not_hide_the_question(spoil: Spoil) -> None:
    atlanta = {
        "site.latitude": 33.75,
        "site.longitude": 84.39,
        "site.address": "4 Quarry Road, Atlanta, Georgia",
    }
    [problem] = doubts(spoil(atlanta))
    assert "United States" in problem
