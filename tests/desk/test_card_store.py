"""Cards in the database: each change and file once, whatever a phone repeats."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import pytest

from handover.errors import UnusableInput
from handover.service.desk.card_store import CardStore
from handover.service.desk.database import open_desk
from handover.service.desk.job_cards import CardChange, CardEntry

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from handover.service.desk.database import Desk

NOW = datetime(2026, 7, 14, 10, 40, tzinfo=UTC)
KEY = "card0001"


@pytest.fixture(params=["sqlite", "postgresql"])
def store(request: pytest.FixtureRequest, desk: Desk, tmp_path: Path) -> Iterator[CardStore]:
    """Give the cards of a desk, in its own file and in a shared database."""
    if request.param == "sqlite":
        yield CardStore(desk.engine)
        return
    url = request.getfixturevalue("empty_database")
    made = open_desk(tmp_path / "other", now=desk.now, random_bytes=desk.random_bytes, url=url)
    yield CardStore(made.engine)
    made.close()


def change(key: str, base: int = 0, phone: str = "one", **texts: str) -> CardChange:
    entries = {name.replace("__", "."): CardEntry(text, NOW) for name, text in texts.items()}
    return CardChange(key, phone, base, entries)


def test_a_card_begins_with_its_first_change_and_is_read_as_it_was_typed(store: CardStore) -> None:
    assert store.read(KEY) is None
    store.add_change(KEY, change("change-1", owner__name="Zoë", slab__use="patio"), "lee", NOW)
    found = store.read(KEY)
    assert found is not None
    assert found.card.texts == {"owner.name": "Zoë", "slab.use": "patio"}
    assert found.card.entries["owner.name"][0].entered_at == NOW
    assert (found.job, found.request, found.begun) == (None, None, NOW)


def test_a_change_that_arrives_again_changes_nothing(store: CardStore) -> None:
    first = store.add_change(KEY, change("change-1", slab__width="20 ft"), "lee", NOW)
    store.add_change(KEY, change("change-2", 1, slab__width="26 ft"), "lee", NOW)
    again = store.add_change(KEY, change("change-1", slab__width="20 ft"), "lee", NOW + timedelta(hours=1))
    assert first.card.number == 1
    assert again.card.number == 2
    assert again.card.text("slab.width") == "26 ft"


def test_phones_that_send_at_once_lose_nothing(store: CardStore) -> None:
    def send(number: int) -> None:
        one = change(f"change-{number}", phone=f"phone {number}", mix__supplier=f"plant {number}")
        store.add_change(KEY, one, "lee", NOW)

    with ThreadPoolExecutor(8) as threads:
        list(threads.map(send, range(24)))
    found = store.read(KEY)
    assert found is not None
    assert {each.text for each in found.card.entries["mix.supplier"]} == {f"plant {n}" for n in range(24)}


def test_a_file_is_kept_once_and_numbered(store: CardStore) -> None:
    for key in ("file-aaa1", "file-aaa2", "file-aaa1"):
        store.add_file(KEY, key, "photos/slab-{number}.jpg", "slab", key.encode(), "lee", NOW)
    assert store.files(KEY) == {"photos/slab-1.jpg": b"file-aaa1", "photos/slab-2.jpg": b"file-aaa2"}
    assert store.file(KEY, "photos/slab-2.jpg") == b"file-aaa2"
    assert store.file(KEY, "photos/slab-9.jpg") is None


def test_the_last_signature_counts_and_one_that_was_cleared_is_none(store: CardStore) -> None:
    def sign(number: int, data: bytes) -> None:
        name = "signature-owner-{number}.svg"
        at = NOW + timedelta(minutes=number)
        store.add_file(KEY, f"sign-{number:04}", name, "signature-owner", data, "lee", at)

    sign(1, b"<svg>1</svg>")
    sign(2, b"<svg>2</svg>")
    found = store.read(KEY)
    assert found is not None
    assert found.signed == {"owner"}
    assert not found.pictures
    assert store.files(KEY) == {"signature-owner.svg": b"<svg>2</svg>"}
    sign(3, b"")
    cleared = store.read(KEY)
    assert cleared is not None
    assert not cleared.signed
    assert store.files(KEY) == {}


def test_a_job_keeps_its_id_and_two_jobs_of_one_name_have_two(store: CardStore) -> None:
    for key in (KEY, "card0002", "card0003"):
        store.add_change(key, change(f"change-{key}", owner__name="Lee Park"), "lee", NOW)
    assert store.name_job(KEY, "2026-07-14", {"2026-07-14-lee-park"}.__contains__) == "2026-07-14-lee-park-2"
    assert store.name_job("card0002", "2026-07-14") == "2026-07-14-lee-park"
    assert store.name_job("card0003", "2026-07-14") == "2026-07-14-lee-park-3"
    store.add_change(KEY, change("change-z", 1, owner__name="Dana"), "lee", NOW)
    assert store.name_job(KEY, "2026-07-15") == "2026-07-14-lee-park-2"
    found = store.card_of_job("2026-07-14-lee-park-3")
    assert found is not None
    assert found.key == "card0003"


def test_a_card_is_open_until_its_papers_are_asked_for(store: CardStore) -> None:
    store.add_change(KEY, change("change-1", owner__name="Lee"), "lee", NOW)
    assert [each.key for each in store.open_cards()] == [KEY]
    store.note_request(KEY, "request")
    assert not store.open_cards()
    assert [each.request for each in store.passed_on()] == ["request"]


@pytest.mark.parametrize(("card", "key"), [("../etc", "change-1"), (KEY, "x"), ("CARD0001", "change-1")])
def test_what_no_phone_draws_is_refused(store: CardStore, card: str, key: str) -> None:
    with pytest.raises(UnusableInput):
        store.add_change(card, change(key, owner__name="Lee"), "lee", NOW)
    assert not store.open_cards()
