"""What the crew's pages show: frozen values, in the words of the reader."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Literal, get_args

from handover.documents.translations import slug
from handover.jobs.fields import ChoiceField, FlagField, MomentField
from handover.jobs.record import SlabUse, declaration_of, fields_of, mark_of, tables
from handover.practice.walkthrough import all_items, walkthrough_items
from handover.service.desk.card_record import examine_card, job_name, walk_items
from handover.service.desk.card_suggestions import OFFERED
from handover.service.desk.job_cards import JobCard, is_list, read_field_name

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from handover.documents.translations import Translations
    from handover.errors import Finding
    from handover.service.desk.card_record import CardFindings, CardPicture
    from handover.service.desk.card_store import StoredCard

Kind = Literal["text", "tel", "email", "hour", "choice", "chips", "long"]

HOURS = (
    ("placement.start", "first-concrete"),
    ("placement.end", "last-concrete"),
    ("placement.finished", "trowel-off"),
)
"""The fields with a button, and the words on it."""

SECTIONS = (
    ("owner", ("owner.name", "owner.phone", "site.address")),
    ("place", ("site.latitude",)),
    ("slab", ("slab.use", "slab.length", "slab.width", "slab.thickness", "slab.exposure")),
    ("concrete", ("mix.supplier", "mix.specified_strength")),
    ("curing", ("curing.method", "curing.available")),
)
"""What a crew fills in, in the order in which it knows it."""

REST = ("owner", "site", "slab", "placement", "mix", "curing", "forms", "contractor")
"""The tables whose other fields are folded."""

ELSEWHERE = ("site.longitude", "contractor.logo", "contractor.page_url")
"""Fields that the card has elsewhere, or the desk fills in."""

TICKET = ("number", "volume", "slump", "temperature", "water_added", "batched", "discharge_limit")
TRUCKS = 2
"""Trucks that an empty card has room for."""

_OPTION_WORDS = {
    "slab.use": "use",
    "slab.on": "base",
    "slab.exposure": "exposure",
    "slab.finish": "finish",
    "curing.method": "method",
    "slab.joints": "crew-option.slab.joints",
    "curing.colour": "crew-option.curing.colour",
}
_KINDS: Mapping[str, Kind] = {
    "slab.use": "chips",
    "slab.exposure": "chips",
    "owner.phone": "tel",
    "contractor.phone": "tel",
    "owner.email": "email",
    "contractor.email": "email",
    "site.address": "text",
    "acknowledgement.remarks": "long",
}
_EXAMPLES = {
    "site.latitude": "36.10, -79.95",
    "slab.width": "26 ft",
    "slab.joint_spacing": "10 ft",
    "curing.available": "6:30 to 8 am, 5 to 9 pm",
    "mix.admixtures": "retarder, air entrainer",
}
_UNITS = ("slab.length", "slab.width", "slab.thickness")


@dataclass(frozen=True)
class Says:
    """What `check` says of a field."""

    text: str
    severity: str


@dataclass(frozen=True)
class FieldShape:
    """A field of the card.

    Attributes:
        name: Its name on the card and in the form.
        label: In words.
        kind: How it is typed.
        text: What it has.
        options: Of a choice: the values with their words.
        example: Of a text.
        unit: The unit that a bare number gets.
        offers: What the firm has used.
        carried: Whether its text is that of the last job.
        says: Findings.
        choices: The texts of phones that differ.
    """

    name: str
    label: str
    kind: Kind = "text"
    text: str = ""
    options: tuple[tuple[str, str], ...] = ()
    example: str = ""
    unit: str = ""
    offers: tuple[str, ...] = ()
    carried: bool = False
    says: tuple[Says, ...] = ()
    choices: tuple[str, ...] = ()


@dataclass(frozen=True)
class SectionShape:
    """Fields under a heading."""

    title: str
    fields: tuple[FieldShape, ...]
    key: str = ""


@dataclass(frozen=True)
class PhotoShape:
    """A picture of the card: its address, and what it shows."""

    address: str
    about: str


@dataclass(frozen=True)
class WalkShape:
    """An item of the walk-through: for which uses of a slab, with commas, and whether this slab has it."""

    about: str
    item: str
    good: str
    note: FieldShape
    uses: str
    shown: bool


@dataclass(frozen=True)
class CardShape:
    """A card, whole."""

    key: str
    number: int
    name: str
    hours: tuple[FieldShape, ...]
    sections: tuple[SectionShape, ...]
    trucks: tuple[SectionShape, ...]
    walk: tuple[WalkShape, ...]
    acknowledgement: tuple[FieldShape, ...]
    rest: tuple[SectionShape, ...]
    photos: tuple[PhotoShape, ...]
    signed: frozenset[str]
    missing: tuple[Says, ...] = field(default=())

    def photos_of(self, about: str) -> tuple[PhotoShape, ...]:
        """Return the pictures of a truck, of an item, or of the slab."""
        return tuple(each for each in self.photos if each.about == about)


class CardShapes:
    """Makes the shape of a card, for one reader.

    Args:
        words: The reader's language.
        carried: The texts of the last job, for a card that has none yet.
        offers: By field, what the firm has used.
        units: The units of the firm: "us" or "si".
    """

    def __init__(
        self,
        words: Translations,
        carried: Mapping[str, str],
        offers: Mapping[str, tuple[str, ...]],
        units: str = "us",
    ) -> None:
        self._words = words
        self._carried = carried
        self._offers = offers
        self._units = {"us": ("ft", "ft", "in"), "si": ("m", "m", "mm")}[units]

    def card(self, stored: StoredCard | None, key: str = "") -> CardShape:
        """Return the shape of a card; of a new one, where there is none."""
        card = stored.card if stored else JobCard()
        pictures = stored.pictures if stored else ()
        found = examine_card(card, pictures)
        make = _FieldMaker(self, card, found, is_new=stored is None)
        say = self._words.say
        return CardShape(
            key=stored.key if stored else key,
            number=card.number,
            name=job_name(card),
            hours=tuple(replace(make.field(name), label=say(f"crew-desk.{words}")) for name, words in HOURS),
            sections=tuple(
                SectionShape(say(f"crew-desk.{title}"), tuple(map(make.field, names)), title)
                for title, names in SECTIONS
            ),
            trucks=tuple(make.trucks(pictures)),
            walk=tuple(make.walk()),
            acknowledgement=tuple(map(make.field, ("acknowledgement.name", "acknowledgement.remarks"))),
            rest=tuple(make.rest()),
            photos=tuple(photo_shape(stored.key, each) for each in pictures) if stored else (),
            signed=stored.signed if stored else frozenset(),
        )

    def unit(self, name: str) -> str:
        """Return the unit that a bare number of a field gets, or ""."""
        return self._units[_UNITS.index(name)] if name in _UNITS else ""

    @property
    def words(self) -> Translations:
        """The words of the reader."""
        return self._words

    def carried_text(self, name: str) -> str:
        """Return what the last job says of a field, or ""."""
        return self._carried.get(name, "")

    def offers(self, name: str) -> tuple[str, ...]:
        """Return what the firm has used in a field."""
        return self._offers.get(name, ()) if name in OFFERED else ()


class _FieldMaker:
    """Makes the fields of one card."""

    def __init__(self, of: CardShapes, card: JobCard, found: CardFindings, *, is_new: bool) -> None:
        self._of, self._card, self._found, self._is_new = of, card, found, is_new

    def field(self, name: str) -> FieldShape:
        """Return the shape of a field."""
        parts = read_field_name(name)
        assert parts is not None  # noqa: S101 - names are those of the record
        path = f"{parts.table}.{parts.key}"
        own = self._card.text(name)
        carried = self._of.carried_text(name)
        text = own or (carried if self._is_new else "")
        options = self._options(path, text)
        return FieldShape(
            name=name,
            label=self._of.words.say(f"crew-field.{path}"),
            kind=_kind(path, options=bool(options)),
            text=text,
            options=options,
            example=_example(path),
            unit=self._of.unit(name),
            offers=tuple(each for each in self._of.offers(name) if each != text),
            carried=bool(carried) and text == carried,
            says=finding_shapes(self._found.at_fields.get(name, ())),
            choices=tuple(each.text for each in self._card.conflicts.get(name, ())),
        )

    def trucks(self, pictures: Iterable[CardPicture]) -> Iterable[SectionShape]:
        """Yield the trucks on the card, and one more."""
        numbers = [
            int(parts.row)
            for name in (*self._card.texts, *(f"{each.about}.number" for each in pictures))
            if (parts := read_field_name(name)) and parts.table == "ticket"
        ]
        for number in range(1, max([TRUCKS - 1, *numbers]) + 2):
            fields = tuple(self.field(f"ticket[{number}].{key}") for key in TICKET)
            title = self._of.words.say("crew-desk.truck", number=number)
            yield SectionShape(title, fields, f"ticket[{number}]")

    def walk(self) -> Iterable[WalkShape]:
        """Yield the usual items of every walk-through; those that go with the slab are shown."""
        here = walk_items(self._card)
        for code in all_items():
            about = f"walkthrough[{code}]"
            note = FieldShape(f"{about}.note", self._of.words.say("crew-desk.note"), "text")
            yield WalkShape(
                about,
                self._of.words.say(f"look-at.{code}"),
                self._card.text(f"{about}.ok"),
                replace(note, text=self._card.text(note.name)),
                ",".join(each for each in get_args(SlabUse) if code in walkthrough_items(each)),
                code in here,
            )

    def rest(self) -> Iterable[SectionShape]:
        """Yield the other fields of the record, by table."""
        shown = {*ELSEWHERE, *(name for name, _ in HOURS), *(name for _, names in SECTIONS for name in names)}
        for table in REST:
            assert not is_list(table)  # noqa: S101
            names = (f"{table}.{key}" for key in fields_of(tables()[table]))
            fields = tuple(self.field(each) for each in names if each not in shown)
            if fields:
                key = "crew-desk.owner" if table == "owner" else f"crew-table.{table}"
                yield SectionShape(self._of.words.say(key), fields, table)

    def _options(self, path: str, text: str) -> tuple[tuple[str, str], ...]:
        """Return the values of a choice with their words; of a flag, yes and no."""
        say = self._of.words.say
        declared = declaration_of(path)
        if path == "owner.language":
            return tuple((each, say(f"crew-option.owner.language.{each}")) for each in ("en", "es"))
        if mark_of(declared, FlagField):
            return tuple((each, say(f"crew-desk.{each}")) for each in ("yes", "no"))
        choice = mark_of(declared, ChoiceField)
        if choice is None:
            return ()
        known = tuple((each, say(f"{_OPTION_WORDS[path]}.{slug(each)}")) for each in choice.options)
        # What an earlier record calls by another name stays what it is.
        return known if text in ("", *choice.options) else (*known, (text, text))


def finding_shapes(found: Iterable[Finding]) -> tuple[Says, ...]:
    """Return findings in the words of `check`, without the place, which is the field itself."""
    return tuple(Says(str(replace(each, field=None, file=None, line=None)), each.severity) for each in found)


def photo_shape(key: str, picture: CardPicture) -> PhotoShape:
    """Return a picture with its address."""
    return PhotoShape(f"/crew/card/{key}/{picture.name}", picture.about)


def _kind(path: str, *, options: bool) -> Kind:
    if path in _KINDS:
        return _KINDS[path]
    if options:
        return "choice"
    return "hour" if mark_of(declaration_of(path), MomentField) else "text"


def _example(path: str) -> str:
    """Return an example of a text, as the reader of the field has it."""
    if path in _EXAMPLES:
        return _EXAMPLES[path]
    for mark in declaration_of(path).metadata:
        schema = getattr(mark, "schema", None)
        if callable(schema):
            return str(next(iter(schema().get("examples", ())), ""))
    return ""
