"""A new record by questions: each answer is checked by the code of `check`, with those before it.

interview = RecordInterview()
for question in interview.questions:
findings = interview.accept(question, text)      # faults: ask again; cautions: keep or ask again
interview.record()
"""

from __future__ import annotations

import copy
import re
import tomllib
from dataclasses import dataclass, replace
from datetime import datetime
from functools import partial
from typing import TYPE_CHECKING, Any, get_args

from handover.base.file_names import plain_slug
from handover.base.text import quoted_text
from handover.errors import Finding
from handover.jobs.attached_files import MemoryFiles
from handover.jobs.fields import ChoiceField, FlagField, plain_name
from handover.jobs.place_text import read_pair
from handover.jobs.reading import country_as_written, examine_tables
from handover.jobs.record import Method, Placement, SlabUse, declaration_of, mark_of, required_fields
from handover.jobs.record_template import fill_record
from handover.jobs.source_map import join_path
from handover.jobs.time_spelling import spell_times
from handover.jobs.time_windows import TimeWindowField, split_windows
from handover.service.record_template import record_to_fill_in
from handover.units import read_quantity

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

Tables = dict[str, dict[str, Any]]


@dataclass(frozen=True)
class Question:
    """One question.

    Attributes:
        text: The question.
        example: An answer.
        fields: The fields of the record that an answer may fill.
        is_required: Whether it must be answered now; the others can be left out.
    """

    text: str
    example: str
    fields: tuple[str, ...]
    is_required: bool = True


@dataclass(frozen=True)
class WrittenRecord:
    """The record of an interview, and the fields that it still needs."""

    text: str
    missing: tuple[str, ...]


QUESTION_OF_USE = Question(
    f"What is the slab for? {', '.join(get_args(SlabUse))}", "garage floor", ("slab.use",)
)

QUESTIONS = (
    Question("What do you call the job?", "Alder Lane garage", ("site.name",)),
    Question("What is its address?", "12 Alder Lane, Greensboro NC", ("site.address",), is_required=False),
    Question("Who owns it?", "Lee Park", ("owner.name",), is_required=False),
    Question(
        "Where is it? Latitude and longitude, as the map on your phone shows them, or the time zone",
        "36.10, -79.95",
        ("site.latitude", "site.longitude", "site.timezone"),
    ),
    QUESTION_OF_USE,
    Question(
        "How long and how wide is it? Or its area, if it is no rectangle",
        "34 ft x 26 ft",
        ("slab.length", "slab.width", "slab.area"),
    ),
    Question("How thick?", "4 in", ("slab.thickness",)),
    Question(
        "Is it outdoors, roofed (no doors yet) or indoors? Indoors, also how warm, or heated, unheated",
        "indoors, 60 degF",
        ("slab.exposure", "site.room_temperature", "site.room_heated"),
        is_required=False,
    ),
    Question(
        "When did the first concrete come?", "2026-07-14 6:40 AM", ("placement.start",), is_required=False
    ),
    Question("When was the last concrete placed?", "8:05 AM", ("placement.end",), is_required=False),
    Question(
        "When was the last pass of trowel or broom? Leave it out if it is still to come",
        "12:10 PM",
        ("placement.finished",),
        is_required=False,
    ),
    Question("Which strength was ordered?", "3000 psi", ("mix.specified_strength",)),
    Question(
        f"How is it kept moist or warm? {', '.join(get_args(Method))}",
        "sprinkler",
        ("curing.method",),
        is_required=False,
    ),
    Question(
        "At which hours of the day can somebody be there to water?",
        "6:30 AM to 8 AM, 5 PM to 9 PM",
        ("curing.available",),
        is_required=False,
    ),
    Question(
        "Which telephone number does the owner call with a question?",
        "336-555-0142",
        ("contractor.phone",),
        is_required=False,
    ),
)
"""What a record must have, and what its owner would miss first."""


_CHOICES: Mapping[str, type[ChoiceField | FlagField]] = {
    "slab.use": ChoiceField,
    "slab.exposure": ChoiceField,
    "curing.method": ChoiceField,
    "site.room_heated": FlagField,
}
"""The fields that the record names by a word of its own, by their type."""

_BETWEEN_SIDES = re.compile(
    r"\s*(?:\bx\b|(?<=[\d'\"a-z])x(?=\s*\d)|\u00d7|\bby\b|\bpor\b|\*)\s*", re.IGNORECASE
)


class RecordInterview:
    """The answers so far."""

    questions = QUESTIONS

    def __init__(self) -> None:
        self._tables: Tables = {}

    def accept(self, question: Question, text: str) -> list[Finding]:
        """Take an answer; return the findings about it. A fault leaves the answers as they were.

        Args:
            question: One of the questions.
            text: The answer, or the whole line that a finding showed; blank to leave it out.
        """
        tables = copy.deepcopy(self._tables)
        for path in question.fields:
            tables.get(path.partition(".")[0], {}).pop(path.partition(".")[2], None)
        if not text.strip():
            if not question.is_required:
                self._tables = tables
                return []
            return [Finding("needs an answer", expected=question.text, example=question.example)]
        for path, value in _values(question, text.strip()):
            table, _, key = path.partition(".")
            tables.setdefault(table, {})[key] = value
        _, found = examine_tables(tables, MemoryFiles({}))
        findings = [
            _in_words_of(question, text.strip(), replace(finding, field=name))
            for path, finding in found
            if (name := join_path(path) or "").partition("[")[0] in question.fields
            or (name == "slab" and "slab.area" in question.fields)
        ]
        if not any(each.severity == "fault" for each in findings):
            self._tables = tables
        return findings

    @property
    def name(self) -> str:
        """The id of the record: the day of the pour and the name of the job, fit for a folder."""
        placement = self._plain_tables().get("placement", {})
        day = f"{placement['start']!s:.10}-" if "start" in placement else ""
        return f"{day}{plain_slug(str(self._tables.get('site', {}).get('name', 'job')))}"[:60].rstrip("-")

    def record(self) -> WrittenRecord:
        """Return the record: all its fields, those that were answered filled in."""
        return WrittenRecord(self._text(), tuple(self._missing()))

    def _text(self) -> str:
        tables = self._plain_tables()
        values: dict[str, str | float | list[str]] = {"id": self.name}
        for table, row in tables.items():
            values |= {
                f"{table}.{key}": value.isoformat(sep=" ", timespec="minutes")
                if isinstance(value, datetime)
                else value
                for key, value in row.items()
            }
        use = values.get("slab.use")
        text = fill_record(record_to_fill_in(str(use) if use else None), values)
        assert _holds(tomllib.loads(text), values)  # noqa: S101 - what is written is what was answered
        return text

    def _missing(self) -> Iterable[str]:
        """Return the fields of the unanswered questions without which no set can be issued."""
        placement = self._tables.get("placement", {})
        return [f"placement.{key}" for key in required_fields(Placement) if key not in placement]

    def _plain_tables(self) -> Mapping[str, Any]:
        """Return the answers as the record has them: times in full, choices by their own names."""
        spelled, _ = spell_times(self._tables, partial(country_as_written, self._tables))
        tables: Tables = copy.deepcopy(dict(spelled))
        for path, kind in _CHOICES.items():
            table, _, key = path.partition(".")
            choice = mark_of(declaration_of(path), kind)
            if choice is not None and key in tables.get(table, {}):
                tables[table][key] = choice.parse(tables[table][key])
        if (curing := tables.get("curing", {})).get("available"):
            curing["available"] = [TimeWindowField().parse(each) for each in curing["available"]]
        return tables


def _in_words_of(question: Question, text: str, finding: Finding) -> Finding:
    """Return a finding with what the question asks for, where it asks for an area or two sides."""
    if finding.field != "slab.area":
        return finding
    expected, example = "length and width with their units, or an area", question.example
    if isinstance(read_quantity(text, "length"), Finding):
        return replace(finding, expected=expected, example=example)
    return replace(finding, problem=f"{quoted_text(text)} is one side", expected=expected, example=example)


def _values(question: Question, text: str) -> Iterable[tuple[str, str | float | list[str]]]:
    """Yield the fields of an answer with their values."""
    first, *others = question.fields
    keys = [each.partition(".")[2] for each in question.fields]
    lines = re.findall(rf"\b({'|'.join(keys)})\s*=\s*(?:\"([^\"]*)\"|([^\s,]+))", text)
    if lines:  # the line, or the lines, that a finding showed
        if first == "slab.exposure" and "exposure" not in {key for key, _, _ in lines}:
            yield first, "indoors"
        yield from ((question.fields[keys.index(key)], quoted or bare) for key, quoted, bare in lines)
    elif "site.timezone" in others:
        if (pair := read_pair(text)) is not None:
            yield from zip(question.fields, pair, strict=False)
        elif re.search("[A-Za-z]{3}", text):
            yield "site.timezone", text
        else:
            yield first, text
    elif "slab.area" in others:
        sides = [each.strip() for each in _BETWEEN_SIDES.split(text)]
        if len(sides) == 2 and re.fullmatch(r"[0-9.,]+", sides[0]):  # noqa: PLR2004 - "40 x 4 ft"
            unit = re.sub(r"^[0-9.,\s]+", "", sides[1])
            sides[0] = f"{sides[0]} {unit}".strip()
        yield from zip(question.fields, sides, strict=False) if len(sides) == 2 else [("slab.area", text)]  # noqa: PLR2004
    elif first == "curing.available":
        yield first, split_windows(text)
    elif first == "slab.exposure":
        yield from _place_and_room(text)
    else:
        yield first, text


_HEATED = {
    "heated": "yes",
    "unheated": "no",
    "not heated": "no",
    "no heat": "no",
    "con calefaccion": "yes",
    "sin calefaccion": "no",
}
"""What people say of a room, and the flag of the record."""


def _place_and_room(text: str) -> Iterable[tuple[str, str]]:
    """Yield where the slab is and, after a comma, how warm the room is, or whether it is heated.

    Who says something of the room alone has a slab indoors.
    """
    place, _, room = (each.strip() for each in text.partition(","))
    if plain_name(place) in _HEATED or not isinstance(read_quantity(place, "temperature"), Finding):
        place, room = "indoors", place
    yield "slab.exposure", place
    if room:
        heated = _HEATED.get(plain_name(room))
        yield ("site.room_temperature", room) if heated is None else ("site.room_heated", heated)


def _holds(tables: Mapping[str, Any], values: Mapping[str, Any]) -> bool:
    """Return whether tables have each value at its path."""
    flat = {"id": tables["id"]} | {
        f"{table}.{key}": value
        for table, row in tables.items()
        if isinstance(row, dict)
        for key, value in row.items()
    }
    return all(flat.get(path) == value for path, value in values.items())
