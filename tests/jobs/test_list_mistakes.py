"""A mistake in a list: where it is, what is wrong, and the line that mends it."""

from __future__ import annotations

import tomllib

import pytest

from handover.jobs.parse import parse_text

HOURS = ["07:00-08:00", "17:00-20:00"]
NOT_CLOSED = "has quotes that are not closed"
BEFORE = 'id = "a"\n\n[curing]\nmethod = "sprinkler"\n'
AFTER = "\ntimer = true\n\n[forms]\nedge = true\n"


@pytest.mark.parametrize(
    ("line", "problem"),
    [
        ('available = ["07:00-08:00, "17:00-20:00"]', NOT_CLOSED),
        ('available = ["07:00-08:00", "17:00-20:00]', NOT_CLOSED),
        ('available = [07:00-08:00", "17:00-20:00"]', NOT_CLOSED),
        ('available = ["07:00-08:00", 17:00-20:00"]', NOT_CLOSED),
        ("available = ['07:00-08:00, '17:00-20:00']", NOT_CLOSED),
        ('available = ["07:00-08:00, "17:00-20:00"]   # mornings, evenings', NOT_CLOSED),
        ('available = ["07:00-08:00, "17:00-20:00"', NOT_CLOSED),
        ('available = ["07:00-08:00" "17:00-20:00"]', "has no comma between its values"),
        ('available = ["07:00-08:00", "17:00-20:00"', "has a [ that is not closed"),
        ('available = "07:00-08:00", "17:00-20:00"', "has several values; write them between [ and ]"),
        ("available = [07:00-08:00, 17:00-20:00]", "has no quotes around its text"),
        (
            "available = [\u201c07:00-08:00\u201d, \u201c17:00-20:00\u201d]",
            'has curly quotes; write straight ones "',
        ),
        ('available = ["07:00-08:00", 17:00-20:00]', "has a value without quotes, or a quote too many"),
    ],
)
def test_a_mistake_in_a_list_shows_the_line_to_paste(line: str, problem: str) -> None:
    found = parse_text(BEFORE + line + AFTER)
    assert isinstance(found, list)
    (finding,) = found
    assert (finding.line, finding.field, finding.problem) == (5, "available", problem)
    assert finding.expected.startswith('name = ["first", "second"]')
    pasted = tomllib.loads(BEFORE + (finding.example or "") + AFTER)
    assert pasted["curing"]["available"] == HOURS


@pytest.mark.parametrize(
    ("lines", "number"),
    [
        (["available = [", '  "07:00-08:00,', '  "17:00-20:00",', "]"], 6),
        (["available = [", '  "07:00-08:00",', '  17:00-20:00"', "]"], 7),
        (["available = [", '  "07:00-08:00"', '  "17:00-20:00"', "]"], 6),
        (["available = [", '  "07:00-08:00",  # before work', '  "17:00-20:00]'], 7),
        (['available = ["07:00-08:00,', '  "17:00-20:00"]'], 5),
        (["available = [", '  "07:00-08:00",', '  "17:00-20:00"', ""], 7),
    ],
)
def test_in_a_list_of_several_lines_the_line_of_the_item_is_shown(lines: list[str], number: int) -> None:
    found = parse_text(BEFORE + "\n".join(lines) + AFTER)
    assert isinstance(found, list)
    (finding,) = found
    assert (finding.line, finding.field) == (number, "available")
    lines[number - 5] = finding.example or ""
    assert tomllib.loads(BEFORE + "\n".join(lines) + AFTER)["curing"]["available"] == HOURS


def test_a_list_as_it_must_be_is_no_mistake_beside_another_fault() -> None:
    """Only the fault is named; several lines, comments and an apostrophe are all right."""
    lists = (
        'available = [\n  "07:00-08:00",  # early\n\n  "17:00-20:00",\n]\nadmixtures = ["Lee\'s \\"best\\""]'
    )
    found = parse_text(f"{BEFORE}{lists}\nrate: 5{AFTER}")
    assert isinstance(found, list)
    assert [each.field for each in found] == ["rate"]
