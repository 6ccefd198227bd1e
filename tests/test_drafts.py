"""Records that are being written: nothing typed is lost, faults are reported, a good one can be issued."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import pytest

from handover.errors import UnusableInput
from handover.service.drafts import Drafts

if TYPE_CHECKING:
    from pathlib import Path

AT = datetime(2026, 7, 14, 16, 30, tzinfo=UTC)


@pytest.fixture
def drafts(tmp_path: Path) -> Drafts:
    return Drafts(tmp_path / "drafts")


def test_a_half_written_record_is_kept_with_its_findings(drafts: Drafts) -> None:
    draft = drafts.save("Alder", b'id = "alder"\n', AT)
    assert draft.job is None
    assert any(each.field == "slab" for each in draft.findings)
    assert drafts.names() == ("alder",)
    assert drafts.read("alder") == draft


def test_a_whole_record_is_a_job_and_its_files_are_there(drafts: Drafts, record_text: str) -> None:
    draft = drafts.save("slab", record_text.encode(), AT, files={"photos/door.jpg": b"picture"})
    assert draft.job is not None
    assert draft.source.files.read("photos/door.jpg") == b"picture"


def test_every_revision_stays(drafts: Drafts) -> None:
    for number, data in enumerate((b"a = 1\n", b"a = 1\n", b'{"a": 2}')):
        drafts.save("slab", data, AT + timedelta(minutes=number))
    history = drafts.history("slab")
    assert [(each.number, each.data) for each in history] == [(1, b"a = 1\n"), (2, b'{"a": 2}')]
    assert [each.saved_at for each in history] == [AT, AT + timedelta(minutes=2)]
    assert drafts.read("slab").source.name == "record.json"


def test_who_changed_an_older_revision_is_refused(drafts: Drafts) -> None:
    drafts.save("slab", b"a = 1\n", AT, after=0)
    drafts.save("slab", b"a = 2\n", AT, after=1)
    with pytest.raises(UnusableInput, match="somebody else"):
        drafts.save("slab", b"a = 3\n", AT, after=1)
    assert [each.data for each in drafts.history("slab")] == [b"a = 1\n", b"a = 2\n"]


@pytest.mark.parametrize("name", ["../door.jpg", "/door.jpg", "a/../../door.jpg", ""])
def test_no_file_leads_out(drafts: Drafts, tmp_path: Path, name: str) -> None:
    with pytest.raises(UnusableInput, match="leads out"):
        drafts.save("slab", b"a = 1\n", AT, files={name: b"picture"})
    assert drafts.names() == ()
    assert not [each for each in tmp_path.rglob("*") if each.name == "door.jpg"]


def test_a_name_leads_out_of_no_folder(drafts: Drafts, tmp_path: Path) -> None:
    drafts.save("../../etc", b"a = 1\n", AT)
    assert {each.name for each in tmp_path.iterdir()} == {"drafts"}


NAMES = [
    "a/b",
    "a:b",
    "a-b",
    "a\\b",
    "a*b",
    "con",
    "_con",
    ".a",
    "_.a",
    "\ud800",
    "x" * 200,
    "x" * 199 + "/",
    "",
]


def test_no_two_names_are_one_draft(drafts: Drafts) -> None:
    for number, name in enumerate(NAMES):
        drafts.save(name, f"a = {number}\n".encode(), AT)
    assert len(drafts.names()) == len(NAMES)
    for number, name in enumerate(NAMES):
        draft = drafts.read(name)
        assert draft.source.data == f"a = {number}\n".encode()
        assert drafts.read(draft.name) == draft


@pytest.mark.parametrize(
    ("name", "example"),
    [("photos/door: left.jpg", "photos/door- left.jpg"), ("con.jpg", "_con.jpg"), ("a\\b.jpg", "a-b.jpg")],
)
def test_a_file_has_a_name_that_every_system_takes(drafts: Drafts, name: str, example: str) -> None:
    with pytest.raises(UnusableInput, match="every system") as refused:
        drafts.save("slab", b"a = 1\n", AT, files={name: b"picture"})
    assert [each.example for each in refused.value.findings] == [example]
    drafts.save("slab", b"a = 1\n", AT, files={example: b"picture"})


def test_a_draft_that_is_not_there(drafts: Drafts) -> None:
    assert drafts.names() == ()
    with pytest.raises(UnusableInput, match="no draft"):
        drafts.read("slab")


@pytest.mark.parametrize("name", ["../" + "x" * 5000, "x" * 5000])
def test_a_long_name_of_a_file_is_not_repeated_whole(drafts: Drafts, name: str) -> None:
    with pytest.raises(UnusableInput) as refused:
        drafts.save("alder", b"id = 1", AT, files={name: b"x"})
    assert all(len(str(each)) < 1000 for each in refused.value.findings)
