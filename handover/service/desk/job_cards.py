"""Job cards: the record of a slab while its crew fills it in during the day, on one phone or several.

A card is the sum of its changes, in the order in which they arrived. A phone may send a change hours after it
was typed. A change replaces the texts that its phone had seen; a text of another phone that it had not seen
stays beside the new one, until a person chooses. The choice is a change like any other.

    card = fold_changes(changes)
    card.text("placement.start")      the text of a field, "" where there is none
    card.conflicts                    the fields that two phones filled in differently
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import datetime  # noqa: TC003 - a type of the values
from typing import TYPE_CHECKING, Any, get_origin

from handover.errors import Finding, UnusableInput
from handover.jobs.fields import FlagField, NumberField
from handover.jobs.record import JobRecord, declaration_of, fields_of, mark_of, tables

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

MAX_ENTRY = 2000
"""Characters of a text on a card: as the longest remark of a record, with room for a finding about it."""

MAX_ROW = 200
"""Rows of a list of a record."""

CARD_KEY = re.compile(r"[a-z0-9]{8,40}")
"""The key of a card, which the phone draws: a card may begin without signal."""

CHANGE_KEY = re.compile(r"[A-Za-z0-9-]{8,64}")
"""The key of a change: what arrives twice counts once."""

_FIELD = re.compile(r"([a-z_]+)(?:\[([a-z0-9-]{1,40})\])?\.([a-z_]+)")


@dataclass(frozen=True)
class FieldName:
    """The name of a field on a card: "slab.thickness", "ticket[2].slump", "walkthrough[joints].ok".

    Attributes:
        table: Table of the record.
        row: Of a list of tables: the number of the row from 1, or the code of its item; else "".
        key: Key in the table.
    """

    table: str
    row: str
    key: str


@dataclass(frozen=True)
class CardEntry:
    """A text in a field, and when it was typed, aware, by the clock of the phone."""

    text: str
    entered_at: datetime


@dataclass(frozen=True)
class CardChange:
    """What a phone sends at once.

    Attributes:
        key: Drawn by the phone; a change that arrives twice has the same.
        phone: The phone, or the session of a browser.
        base: Number of changes of the card that the phone had seen.
        entries: The texts by the name of their field. An empty text clears the field.
    """

    key: str
    phone: str
    base: int
    entries: Mapping[str, CardEntry]


@dataclass(frozen=True)
class JobCard:
    """A card as it is now.

    Attributes:
        number: Number of changes in it.
        entries: By field; several where phones differ, the latest to arrive last.
    """

    number: int = 0
    entries: Mapping[str, tuple[CardEntry, ...]] = field(default_factory=dict)

    def text(self, name: str) -> str:
        """Return the text of a field, "" where it has none; of several, the one that arrived last."""
        found = self.entries.get(name)
        return found[-1].text if found else ""

    @property
    def texts(self) -> dict[str, str]:
        """The texts by field, without the empty ones."""
        return {name: text for name in self.entries if (text := self.text(name)).strip()}

    @property
    def conflicts(self) -> dict[str, tuple[CardEntry, ...]]:
        """The fields in which phones differ, with all their texts."""
        return {name: found for name, found in self.entries.items() if len(found) > 1}


def read_field_name(name: str) -> FieldName | None:
    """Return the parts of the name of a field; None where no record has it."""
    found = _FIELD.fullmatch(name)
    table = tables().get(found[1]) if found else None
    if found is None or table is None or found[3] not in fields_of(table):
        return None
    row = found[2] or ""
    if is_list(found[1]) != bool(row) or (row.isdigit() and not 1 <= int(row) <= MAX_ROW):
        return None
    return FieldName(found[1], row, found[3])


def is_list(table: str) -> bool:
    """Return whether a record may have a table several times."""
    return get_origin(JobRecord.model_fields[table].annotation) is tuple


def read_entries(texts: Mapping[str, object], entered_at: Mapping[str, datetime]) -> dict[str, CardEntry]:
    """Return the entries of what a phone sent, with spaces around them dropped.

    Args:
        texts: By the name of the field.
        entered_at: When each was typed, aware.

    Raises:
        UnusableInput: A name is of no field, or a text is none or too long.
    """
    unusable = [found for name, text in texts.items() if (found := _problem(name, text))]
    if unusable:
        raise UnusableInput(unusable)
    return {name: CardEntry(str(text).strip(), entered_at[name]) for name, text in texts.items()}


def _problem(name: str, text: object) -> Finding | None:
    if read_field_name(name) is None:
        return Finding("is not a field of a job card", field=name[:80], expected="a field of the job record")
    if not isinstance(text, str):
        return Finding("is not text", field=name, expected="text")
    if len(text) > MAX_ENTRY or "\0" in text:
        return Finding(f"has more than {MAX_ENTRY} characters", field=name, expected="a shorter text")
    return None


def fold_changes(changes: Iterable[CardChange]) -> JobCard:
    """Return the card that its changes make, in the order in which they arrived."""
    kept: dict[str, list[tuple[CardEntry, str, int]]] = {}
    keys: set[str] = set()
    for change in changes:
        if change.key in keys:
            continue
        keys.add(change.key)
        for name, entry in change.entries.items():
            others = [
                each
                for each in kept.get(name, ())
                if each[2] > change.base and each[1] != change.phone and each[0].text != entry.text
            ]
            kept[name] = [*others, (entry, change.phone, len(keys))]
    return JobCard(len(keys), {name: tuple(each[0] for each in found) for name, found in kept.items()})


def changed_texts(card: JobCard, texts: Mapping[str, str]) -> dict[str, str]:
    """Return those texts of a whole form that differ from a card: the form was made of it."""
    return {name: text for name, text in texts.items() if text.strip() != card.text(name)}


def plain_value(name: FieldName, text: str) -> Any:
    """Return a text as the record has it: a number or a flag where it is one, else the text."""
    declared = declaration_of(f"{name.table}.{name.key}")
    reader = mark_of(declared, NumberField) or mark_of(declared, FlagField)
    value = reader.parse(text) if reader else text
    return text if isinstance(value, Finding) else value
