"""The job record of a card, and its findings at the fields of the card, by the code of `check`."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, get_args
from zoneinfo import ZoneInfo

import tomli_w

from handover.base.file_names import plain_slug
from handover.documents.translations import load_translations, slug
from handover.errors import Finding
from handover.jobs.attached_files import MemoryFiles
from handover.jobs.clock import find_zone, zone_at
from handover.jobs.fields import plain_name
from handover.jobs.place_text import read_pair
from handover.jobs.reading import RecordSource, examine_tables
from handover.jobs.record import SlabUse, tables
from handover.jobs.source_map import join_path
from handover.jobs.time_windows import split_windows
from handover.practice.walkthrough import walkthrough_items
from handover.service.desk.job_cards import FieldName, plain_value, read_field_name

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from datetime import datetime

    from handover.documents.translations import Translations
    from handover.jobs.source_map import Path
    from handover.service.desk.job_cards import JobCard

MAX_SITE_NAME = 120
"""Characters of the name of a site in a record."""

WALK = "walkthrough"
_LISTS = {("mix", "admixtures"), ("curing", "available")}
"""Fields with a list of texts, which a card has in one text, with commas between."""

_SHOWN_AT = {
    "slab": "slab.length",
    "slab.area": "slab.length",
    "site.timezone": "site.latitude",
    "site.longitude": "site.latitude",
}
"""The field of the card that shows a finding about another field, or a table, of the record."""

_SIZE = ("slab.length", "slab.width", "slab.area")
_PLACE = ("site.latitude", "site.longitude", "site.timezone")
_TOGETHER = (_SIZE, _PLACE)
"""Fields of which some are enough."""


@dataclass(frozen=True)
class CardFindings:
    """What `check` says of a card.

    Attributes:
        at_fields: Findings about what the card has, by the name of the field that shows them.
        missing: The fields that the record still needs, with the finding of each, in the order of the record.
        others: Findings about no field of the card.
    """

    at_fields: Mapping[str, tuple[Finding, ...]]
    missing: Mapping[str, Finding]
    others: tuple[Finding, ...]

    @property
    def open_count(self) -> int:
        """How many fields are to be filled in or corrected before papers can be issued."""
        faulty = [name for name, some in self.at_fields.items() if any(_is_fault(each) for each in some)]
        return len(self.missing) + len(faulty) + len([*filter(_is_fault, self.others)])

    @property
    def is_complete(self) -> bool:
        """Whether papers can be issued: nothing is missing, and there is no fault."""
        return self.open_count == 0


@dataclass(frozen=True)
class CardPicture:
    """A picture of a card: the name of its file, and what it shows: "ticket[1]", "walkthrough[joints]"."""

    name: str
    about: str


def _is_fault(finding: Finding) -> bool:
    return finding.severity == "fault"


def job_name(card: JobCard) -> str:
    """Return what the job is called: by its own name, else the street, else the owner; "" if unknown."""
    street = card.text("site.address").splitlines()[:1]
    first = street[0].partition(",")[0].strip() if street else ""
    return card.text("site.name") or first or card.text("owner.name")


def site_name(card: JobCard) -> str:
    """Return the name of the site in the record: its own, else street and use: no paper says a house twice.

    The use is in the owner's language: "Alder Lane, garage floor".
    """
    own, first = card.text("site.name"), job_name(card)
    street = re.sub(r"^[0-9]+[a-zA-Z]?\s+", "", first)
    if own or first == card.text("owner.name") or street == first:
        return first[:MAX_SITE_NAME]
    words, key = _owners_words(card), f"use.{slug(card.text('slab.use'))}"
    use = words.say(key) if card.text("slab.use") and words.has(key) else ""
    return ", ".join(filter(None, (street, use)))[:MAX_SITE_NAME]


def _owners_words(card: JobCard) -> Translations:
    """Return the words of the owner's language; English where there are none."""
    language = card.text("owner.language") or "en"
    return load_translations("es" if language.startswith("es") else "en")


def job_id(card: JobCard, day: str) -> str:
    """Return an id of the job: its day, "2026-07-14", and its name, fit for a folder."""
    return f"{day}-{plain_slug(job_name(card))}"[:60].rstrip("-")


def record_tables(card: JobCard, job: str, pictures: Iterable[CardPicture] = ()) -> dict[str, Any]:
    """Return the tables of the record of a card, with the tables that every record needs.

    Args:
        card: The card.
        job: The id of the job.
        pictures: Its pictures; one of an item of the walk-through is named in the record.
    """
    return _tables(card, job, pictures)[0]


def card_source(
    card: JobCard, job: str, pictures: Iterable[CardPicture], files: Mapping[str, bytes]
) -> RecordSource:
    """Return the record of a card in TOML, with its files, as an issue receives it."""
    text = tomli_w.dumps(record_tables(card, job, pictures))
    return RecordSource("job.toml", text.encode(), MemoryFiles(files))


def examine_card(card: JobCard, pictures: Iterable[CardPicture] = ()) -> CardFindings:
    """Return what `check` says of a card, at the fields of the card."""
    pictures = tuple(pictures)
    made, rows = _tables(card, "card", pictures)
    _, found = examine_tables(made, MemoryFiles(dict.fromkeys((each.name for each in pictures), b"")))
    texts, missing = card.texts, dict[str, Finding]()
    at_fields: dict[str, list[Finding]] = {}
    others: list[Finding] = []
    for path, finding in found:
        name = _field_of(path, rows)
        shown = _SHOWN_AT.get(name, name)
        named = replace(finding, field=shown)
        if finding.severity == "fault" and not _is_filled(name, texts):
            missing.setdefault(shown, named)
        elif read_field_name(shown) is None:
            others.append(named)
        else:
            at_fields.setdefault(shown, []).append(named)
    return CardFindings({name: tuple(some) for name, some in at_fields.items()}, missing, tuple(others))


def walk_items(card: JobCard) -> tuple[str, ...]:
    """Return the codes of the items of the walk-through that go with the slab."""
    use, joints = (plain_name(card.text(each)) for each in ("slab.use", "slab.joints"))
    known = use if use in get_args(SlabUse) else "other"
    return walkthrough_items(known, jointed=joints != "none")


def _is_filled(name: str, texts: Mapping[str, str]) -> bool:
    """Return whether the card has a text for a field, or for one of those that go with it."""
    for some in _TOGETHER:
        if name in some or _SHOWN_AT.get(name) in some:
            return any(each in texts for each in some)
    return name in texts


def _field_of(path: Path, rows: Mapping[tuple[str, int], str]) -> str:
    """Return the field of a card for a path of the record: rows have the numbers or codes of the card."""
    if len(path) > 1 and isinstance(path[1], int) and (str(path[0]), path[1]) in rows:
        rest = ".".join(str(each) for each in path[2:3])
        return f"{path[0]}[{rows[str(path[0]), path[1]]}].{rest}".rstrip(".")
    return ".".join(str(each) for each in path[:2] if isinstance(each, str)) or join_path(path) or ""


def _tables(
    card: JobCard, job: str, pictures: Iterable[CardPicture]
) -> tuple[dict[str, Any], dict[tuple[str, int], str]]:
    """Return the tables of a card, and the row of the card for each item of a list."""
    made: dict[str, Any] = {"site": {}, "slab": {}, "placement": {}, "mix": {}}
    lists: dict[str, dict[str, dict[str, Any]]] = {}
    for field, text in card.texts.items():
        name = read_field_name(field)
        if name is None:
            continue  # a field that an earlier version had
        table = lists.setdefault(name.table, {}).setdefault(name.row, {}) if name.row else made
        row = table if name.row else made.setdefault(name.table, {})
        row[name.key] = _value(name, text)
    for each in pictures:
        if each.about.startswith(f"{WALK}[") and each.about.endswith("]"):
            lists.setdefault(WALK, {}).setdefault(each.about[len(WALK) + 1 : -1], {})["photo"] = each.name
    _name_items(lists.get(WALK, {}), card)
    if "name" not in made["site"] and (name_of_site := site_name(card)):
        made["site"]["name"] = name_of_site
    rows = {(table, at): row for table, some in lists.items() for at, row in enumerate(_row_order(some))}
    made |= {table: [some[row] for row in _row_order(some)] for table, some in lists.items() if some}
    return {"id": job, **{name: made[name] for name in tables() if name in made}}, rows


def _name_items(walk: dict[str, dict[str, Any]], card: JobCard) -> None:
    """Name the usual items of a walk-through in the owner's language; leave out rows that say nothing."""
    words = _owners_words(card)
    for row, values in list(walk.items()):
        if not values.keys() - {"item"}:
            del walk[row]
        elif "item" not in values and not row.isdigit():
            key = f"look-at.{row}"
            values["item"] = words.say(key) if words.has(key) else row


def _row_order(rows: Iterable[str]) -> list[str]:
    """Return the rows of a list: the usual items as they came, then numbers."""
    return sorted(rows, key=lambda row: (row.isdigit(), int(row) if row.isdigit() else 0))


def _value(name: FieldName, text: str) -> Any:
    if (name.table, name.key) == ("curing", "available"):
        return split_windows(text)
    if (name.table, name.key) in _LISTS:
        return [each.strip() for each in text.split(",") if each.strip()]
    return plain_value(name, text)


def zone_of_card(card: JobCard, otherwise: ZoneInfo) -> ZoneInfo:
    """Return the time zone of a card's place, or of its field; another one where it has neither."""
    pair = read_pair(card.text("site.latitude"))
    name = (pair and zone_at(*pair)) or card.text("site.timezone")
    zone = find_zone(name) if name else otherwise
    return zone if isinstance(zone, ZoneInfo) else otherwise


def hour_text(at: datetime, zone: ZoneInfo) -> str:
    """Return a time as a field of the card has it, by the clock of the site: "2026-07-14T06:40"."""
    return at.astimezone(zone).strftime("%Y-%m-%dT%H:%M")
