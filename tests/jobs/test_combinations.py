"""What does not go together in a slab is a question with a line to paste, and never a stop."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest

from handover.jobs.reading import ExaminedRecord
from handover.jobs.record import Curing, Site, Slab, fields_of
from handover.practice.combinations import combinations

Examine = Callable[..., ExaminedRecord]

METHOD = "curing.method"
COLOURED = {"slab.coloured": True}
HEATED = {"slab.heated": True, "slab.on": "insulation", "slab.joints": "tooled"}
FLOORED = {"slab.flooring": True, "slab.on": "vapor retarder"}
ROOM_OF_60 = {"slab.exposure": "indoors", "site.room_temperature": "60 degF"}
APART: list[tuple[dict[str, Any], str]] = [
    (COLOURED | {METHOD: "plastic sheet"}, METHOD),
    (COLOURED | {METHOD: "wet burlap"}, METHOD),
    (COLOURED | {METHOD: "insulating blanket"}, METHOD),
    (COLOURED | {METHOD: "hose by hand"}, METHOD),
    (COLOURED | {METHOD: "curing compound", "curing.colour": "white"}, "curing.colour"),
    ({"slab.finish": "stamped", "slab.coloured": False, METHOD: "plastic sheet"}, METHOD),
    ({"slab.finish": "stamped"}, "slab.coloured"),
    ({"slab.slope": 0.02, METHOD: "ponding"}, METHOD),
    ({"slab.slope": "4 %", METHOD: "sprinkler"}, METHOD),
    (HEATED | {"slab.on": None}, "slab.on"),
    (HEATED | {"slab.joints": "sawn"}, "slab.joints"),
    (FLOORED | {METHOD: "curing compound"}, METHOD),
    (FLOORED | {"slab.on": "gravel"}, "slab.on"),
    ({"slab.exposure": "indoors"}, "site.room_heated"),
    ({"slab.exposure": "indoors", "site.room_heated": False}, "slab.exposure"),
    (ROOM_OF_60 | {"site.room_heated": False}, "site.room_temperature"),
    ({"site.room_temperature": "60 degF"}, "site.room_temperature"),
    ({"slab.exposure": "roofed", "site.room_heated": False}, "site.room_heated"),
]
TOGETHER: list[dict[str, Any]] = [
    COLOURED | {METHOD: "curing compound", "curing.colour": "clear"},
    COLOURED | {METHOD: "sprinkler"},
    {"slab.finish": "stamped", "slab.coloured": False},
    {"slab.slope": 0.02, METHOD: "sprinkler"},
    {"slab.slope": 0.06, METHOD: "soaker hose"},
    HEATED,
    FLOORED | {METHOD: "wet burlap"},
    ROOM_OF_60,
    ROOM_OF_60 | {"site.room_heated": True},
    {"slab.exposure": "indoors", "site.room_heated": True},
]


@pytest.mark.parametrize(("changes", "field"), APART)
def test_what_does_not_go_together_is_a_question(spoil: Examine, changes: dict[str, Any], field: str) -> None:
    examined = spoil(changes)
    assert examined.record is not None
    (finding,) = examined.findings
    assert (finding.field, finding.severity) == (field, "caution")
    assert json.loads(f"{{{finding.example}}}")  # the record is JSON here, and so is the line to paste


@pytest.mark.parametrize("changes", TOGETHER)
def test_what_goes_together_is_read_in_silence(spoil: Examine, changes: dict[str, Any]) -> None:
    assert spoil(changes).findings == ()


def test_every_combination_is_tried_here() -> None:
    assert len(APART) == len(combinations())


@pytest.mark.parametrize(
    ("reinforcement", "has"),
    [
        ("fibers", True),
        ("microfibre 0.9 kg/m3", True),
        ("fibras de polipropileno", True),
        ("mesh, no fibers", False),
        ("without steel fibres", False),
        ("sin fibras", False),
        ("6x6 W2.9 mesh", False),
        (None, False),
    ],
)
def test_fibres_are_found_in_the_words_of_the_record(reinforcement: str | None, *, has: bool) -> None:
    slab = Slab.model_construct(reinforcement=reinforcement)
    assert slab.has_fibres() is has


def test_the_fields_of_the_combinations_are_fields_of_site_slab_and_curing() -> None:
    """One name has one field: the tables have no name in common."""
    site, slab, curing = (set(fields_of(each)) for each in (Site, Slab, Curing))
    assert len(site | slab | curing) == len(site) + len(slab) + len(curing)
    assert {name for each in combinations() for name in each.when} <= site | slab | curing
