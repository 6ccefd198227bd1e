"""The fall of a slab, as crews say it: inches in a foot."""

from __future__ import annotations

import pytest

from handover.errors import Finding
from handover.jobs.fields import FallField
from handover.jobs.record import declaration_of, mark_of


def field() -> FallField:
    found = mark_of(declaration_of("slab.slope"), FallField)
    assert found is not None
    return found


@pytest.mark.parametrize(
    ("text", "share"),
    [
        ("1/4 in in a foot", 1 / 48),
        ("1/8 in per foot", 1 / 96),
        ("1 in/ft", 1 / 12),
        ('1/4"/ft', 1 / 48),
        ("2 %", 0.02),
    ],
)
def test_a_fall_in_inches_a_foot_is_a_share(text: str, share: float) -> None:
    """Identity: a foot has 12 inches."""
    found = field().parse(text)
    assert found == pytest.approx(share)


@pytest.mark.parametrize("text", ["1/4 in", "4 in in a foot", "1/0 in per foot", "1/4 in per yard"])
def test_what_is_no_fall_is_a_finding(text: str) -> None:
    assert isinstance(field().parse(text), Finding)
