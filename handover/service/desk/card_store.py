"""Job cards in the firm's database: what phones send, each once, and the files of each card."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import count
from typing import TYPE_CHECKING

from sqlalchemy import func, insert, select, update
from sqlalchemy.dialects.postgresql import insert as pg_insert
from sqlalchemy.dialects.sqlite import insert as sqlite_insert

from handover.errors import Finding, UnusableInput
from handover.service.desk.card_record import CardPicture, job_id
from handover.service.desk.card_tables import CARD, CARD_CHANGE, CARD_FILE
from handover.service.desk.job_cards import CARD_KEY, CHANGE_KEY, CardChange, CardEntry, JobCard, fold_changes

if TYPE_CHECKING:
    from collections.abc import Callable

    from sqlalchemy import Connection, Engine

MAX_FILES = 60
"""Files of one card."""

SIGNATURES = ("owner", "crew")
"""Who signs."""


@dataclass(frozen=True)
class StoredCard:
    """A card with what the database knows of it.

    Attributes:
        key: Its key.
        job: The id of its job; None until its link or its papers were asked for.
        begun: When it began.
        card: What is on it.
        pictures: Its pictures, in the order in which they came.
        signed: Who has signed: "owner", "crew".
        request: Key of the last request for its papers; None before.
    """

    key: str
    job: str | None
    begun: datetime
    card: JobCard
    pictures: tuple[CardPicture, ...]
    signed: frozenset[str]
    request: str | None


@dataclass(frozen=True)
class WaitingFacts:
    """What an owner's page needs before there are papers: language and telephone, "" where unknown."""

    language: str
    phone: str


class CardStore:
    """The job cards of a firm."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine

    def read(self, key: str, until: int | None = None) -> StoredCard | None:
        """Return a card, or what it was after its first changes; None if no phone has sent any of it."""
        with self._engine.begin() as connection:
            return _read(connection, key, until)

    def open_cards(self) -> tuple[StoredCard, ...]:
        """Return the cards whose papers nobody has asked for, the last one first."""
        return self._cards(CARD.c.request.is_(None))

    def passed_on(self, most: int = 10) -> tuple[StoredCard, ...]:
        """Return the last cards whose papers were asked for, the last one first."""
        return self._cards(CARD.c.request.is_not(None))[:most]

    def add_change(self, key: str, change: CardChange, person: str, at: datetime) -> StoredCard:
        """Add a change to a card, which begins with its first one; return the card.

        A change that came before changes nothing. Two that arrive at once are added one after the other.

        Raises:
            UnusableInput: The key of card or change is none.
        """
        _check_key(key, change.key)
        with self._writing() as connection, connection.begin():
            _begin(connection, key, at)
            if not _has(connection, CARD_CHANGE, key, change.key):
                entries = {
                    name: [each.text, int(each.entered_at.timestamp())]
                    for name, each in change.entries.items()
                }
                connection.execute(
                    insert(CARD_CHANGE).values(
                        card=key,
                        number=_count(connection, CARD_CHANGE, key) + 1,
                        key=change.key,
                        phone=change.phone,
                        base=change.base,
                        entries=json.dumps(entries),
                        person=person,
                        received=int(at.timestamp()),
                    )
                )
            return _require(_read(connection, key))

    def add_file(
        self, key: str, file_key: str, name: str, about: str, data: bytes, person: str, at: datetime
    ) -> StoredCard:
        """Add a file to a card; return the card. A file that came before is kept once.

        Args:
            key: Of the card.
            file_key: Drawn by the phone.
            name: Its name in the folder of the record, such as "photos/1.jpg"; "{number}" is its number.
            about: What it shows: "ticket[1]", "walkthrough[joints]", "slab".
            data: Its bytes, written anew by the caller.
            person: Who sent it.
            at: When it arrived, aware.

        Raises:
            UnusableInput: A key is none, or the card has too many files.
        """
        _check_key(key, file_key)
        with self._writing() as connection, connection.begin():
            _begin(connection, key, at)
            if not _has(connection, CARD_FILE, key, file_key):
                number = _count(connection, CARD_FILE, key) + 1
                if number > MAX_FILES:
                    raise UnusableInput([Finding(f"has {MAX_FILES} files already", expected="fewer")])
                values = {"card": key, "key": file_key, "name": name.format(number=number), "about": about}
                sent = {"data": data, "person": person, "received": int(at.timestamp())}
                connection.execute(insert(CARD_FILE).values(**values, **sent))
            return _require(_read(connection, key))

    def files(self, key: str) -> dict[str, bytes]:
        """Return the files of a card by name; of several signatures of one person, the last."""
        with self._engine.begin() as connection:
            rows = connection.execute(
                select(CARD_FILE.c.name, CARD_FILE.c.about, CARD_FILE.c.data)
                .where(CARD_FILE.c.card == key)
                .order_by(CARD_FILE.c.received, CARD_FILE.c.name)
            )
            last = {f"{about}.svg" if about in _SIGNED else name: bytes(data) for name, about, data in rows}
            return {name: data for name, data in last.items() if data}

    def file(self, key: str, name: str) -> bytes | None:
        """Return one file of a card, or None."""
        with self._engine.begin() as connection:
            found = connection.execute(
                select(CARD_FILE.c.data).where(CARD_FILE.c.card == key, CARD_FILE.c.name == name)
            ).scalar()
            return None if found is None else bytes(found)

    def name_job(self, key: str, day: str, is_taken: Callable[[str], bool] = lambda _: False) -> str:
        """Return the id of the job of a card, which it keeps from the first time on.

        Args:
            key: Of the card.
            day: Of the pour, "2026-07-14".
            is_taken: Whether another job has an id.

        Raises:
            UnusableInput: There is no such card.
        """
        with self._writing() as connection, connection.begin():
            stored = _require(_read(connection, key))
            if stored.job is not None:
                return stored.job
            others = set(connection.execute(select(CARD.c.job)).scalars())
            first = job_id(stored.card, day)
            names = (_with_number(first, each) for each in count(1))
            job = next(each for each in names if each not in others and not is_taken(each))
            connection.execute(update(CARD).where(CARD.c.card == key).values(job=job))
            return job

    def note_request(self, key: str, request: str) -> None:
        """Note the request for the papers of a card."""
        with self._writing() as connection, connection.begin():
            connection.execute(update(CARD).where(CARD.c.card == key).values(request=request))

    def card_of_job(self, job: str) -> StoredCard | None:
        """Return the card of a job, or None."""
        with self._engine.begin() as connection:
            key = connection.execute(select(CARD.c.card).where(CARD.c.job == job)).scalar()
            return None if key is None else _read(connection, key)

    def waiting_facts(self, job: str) -> WaitingFacts:
        """Return what the owner may know of a job before there are papers."""
        stored = self.card_of_job(job)
        card = stored.card if stored else JobCard()
        return WaitingFacts(card.text("owner.language")[:2], card.text("contractor.phone"))

    def _cards(self, condition: object) -> tuple[StoredCard, ...]:
        with self._engine.begin() as connection:
            keys = connection.execute(
                select(CARD.c.card).where(condition).order_by(CARD.c.begun.desc())  # type: ignore[arg-type]
            ).scalars()
            return tuple(_require(_read(connection, each)) for each in keys.all())

    def _writing(self) -> Connection:
        return self._engine.connect().execution_options(begin="IMMEDIATE")


_SIGNED = tuple(f"signature-{each}" for each in SIGNATURES)


def _check_key(card: str, key: str) -> None:
    if not CARD_KEY.fullmatch(card) or not CHANGE_KEY.fullmatch(key):
        raise UnusableInput([Finding("is not the key of a card", expected="what the phone drew")])


def _begin(connection: Connection, key: str, at: datetime) -> None:
    """Lock a card until the end of the transaction; make it where there is none."""
    made = pg_insert if connection.dialect.name == "postgresql" else sqlite_insert
    values = {"card": key, "begun": int(at.timestamp())}
    connection.execute(made(CARD).values(**values).on_conflict_do_nothing())
    connection.execute(select(CARD.c.card).where(CARD.c.card == key).with_for_update())


def _has(connection: Connection, table: object, card: str, key: str) -> bool:
    columns = table.c  # type: ignore[attr-defined]
    found = connection.execute(select(columns.key).where(columns.card == card, columns.key == key))
    return found.first() is not None


def _count(connection: Connection, table: object, card: str) -> int:
    columns = table.c  # type: ignore[attr-defined]
    counted = connection.execute(select(func.count()).select_from(table).where(columns.card == card))  # type: ignore[arg-type]
    return int(counted.scalar() or 0)


def _with_number(job: str, number: int) -> str:
    return job if number == 1 else f"{job}-{number}"


def _require(stored: StoredCard | None) -> StoredCard:
    if stored is None:
        raise UnusableInput([Finding("there is no such card", expected="the key of a card")])
    return stored


def _read(connection: Connection, key: str, until: int | None = None) -> StoredCard | None:
    row = connection.execute(select(CARD).where(CARD.c.card == key)).first()
    if row is None:
        return None
    changes = connection.execute(
        select(CARD_CHANGE).where(CARD_CHANGE.c.card == key).order_by(CARD_CHANGE.c.number)
    )
    files = connection.execute(
        select(CARD_FILE.c.name, CARD_FILE.c.about, func.length(CARD_FILE.c.data))
        .where(CARD_FILE.c.card == key)
        .order_by(CARD_FILE.c.received, CARD_FILE.c.name)
    ).all()
    signed = {about: size for _, about, size in files if about in _SIGNED}
    return StoredCard(
        key=row.card,
        job=row.job,
        begun=_time(row.begun),
        card=fold_changes(
            _change(each.key, each.phone, each.base, each.entries)
            for each in changes
            if until is None or each.number <= until
        ),
        pictures=tuple(CardPicture(name, about) for name, about, _ in files if about not in _SIGNED),
        signed=frozenset(about.removeprefix("signature-") for about, size in signed.items() if size),
        request=row.request,
    )


def _change(key: str, phone: str, base: int, entries: str) -> CardChange:
    texts = {name: CardEntry(text, _time(at)) for name, (text, at) in json.loads(entries).items()}
    return CardChange(key, phone, base, texts)


def _time(seconds: int) -> datetime:
    return datetime.fromtimestamp(seconds, UTC)
