"""An archived set: the contents of its bag, and its entry in the catalog."""

from __future__ import annotations

import json
import shutil
from datetime import datetime, timedelta
from hashlib import sha256
from typing import TYPE_CHECKING, Any

import bagit
import icalendar
import pytest

from handover.archive.catalog import JobState, Query, states_of
from handover.archive.store import Archive
from handover.errors import UnusableInput
from handover.jobs.record import Acknowledgement, Cylinder, WalkthroughItem
from handover.schedule.model import MilestoneKind
from handover.service.archiving import (
    CALL_OWNER,
    archive_documents,
    archive_issue,
    contact_for,
    entry_of,
    issued_folders,
    issued_record,
    read_issued,
    read_issued_record,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from handover.archive.entry import JobEntry
    from handover.jobs.record import JobRecord

AT = datetime.fromisoformat("2026-07-14T18:00:00-04:00")
GARAGE, SHOP, PATIO = "2026-07-14-test-slab", "2026-11-10-shop", "2026-07-14-patio"


@pytest.fixture
def archive(tmp_path: Path) -> Iterator[Archive]:
    """Return an archive that does not exist yet."""
    with Archive(tmp_path / "archive") as made:
        yield made


@pytest.fixture
def garage(issued: Path, tmp_path: Path) -> Path:
    """Copy an issued folder; lay into it what belongs to the job, and what does not."""
    folder = tmp_path / "garage"
    shutil.copytree(issued / "garage", folder)
    (folder / "photos").mkdir()
    (folder / "photos" / "edge.jpg").write_bytes(b"a photo")
    (folder / "signed.pdf").write_bytes(b"a scan")
    (folder / "sent.json").write_bytes(b'{"sent": []}')
    (folder / ".hidden").write_bytes(b"a lock")
    (folder / "Thumbs.db").write_bytes(b"of a desktop")
    return folder


def documents_of(issued: Path, name: str) -> dict[str, bytes]:
    return read_issued(issued / name)[0]


def changed(documents: dict[str, bytes], **said: Any) -> dict[str, bytes]:
    """Return documents whose schedule says something else."""
    schedule = json.loads(documents["schedule.json"]) | said
    return {**documents, "schedule.json": json.dumps(schedule).encode()}


# ---- the bag ----------------------------------------------------------------------------------------


def test_the_bag_holds_all_there_is_of_the_job(archive: Archive, garage: Path, issued: Path) -> None:
    filed = archive_issue(archive, garage, AT)
    data = filed.folder / "data"
    first = data / "issues" / "0001"
    assert (first / "inputs" / "garage.toml").read_bytes() == (issued / "garage.toml").read_bytes()
    assert (first / "inputs" / "garage.json").read_bytes() == (issued / "garage.json").read_bytes()
    for file in (issued / "garage").glob("*.*"):
        assert (first / file.name).read_bytes() == file.read_bytes()
    settings = json.loads((first / "inputs" / "settings.json").read_bytes())
    assert settings["settings"]["units"] is None  # those of the record
    assert len(settings["templates"]["ours"]) == len(sha256().hexdigest())
    assert (data / "beside" / "photos" / "edge.jpg").read_bytes() == b"a photo"
    assert (data / "beside" / "signed.pdf").read_bytes() == b"a scan"
    assert (data / "messages" / "0001" / "sent.json").read_bytes() == b'{"sent": []}'
    assert not [each for each in data.rglob("*") if each.name in {".hidden", "Thumbs.db"}]


def test_the_bag_opens_with_the_library_of_congress(archive: Archive, garage: Path) -> None:
    """`bagit`, its own reader of the format; RFC 8493 names the labels of bag-info."""
    bag = bagit.Bag(str(archive_issue(archive, garage, AT).folder))
    bag.validate()
    assert bag.version_info == (1, 0)
    assert set(bag.algorithms) == {"sha256", "sha512"}
    assert bag.info["External-Identifier"] == GARAGE
    assert bag.info["Bagging-Date"] == "2026-07-14"
    assert bag.info["Source-Organization"] == "Example Flatwork"
    assert (bag.info["Contact-Phone"], bag.info["Contact-Email"]) == ("555-0142", "office@example.com")
    assert bag.info["Bag-Size"].endswith((" kB", " MB"))
    assert bag.info["Payload-Oxum"].endswith(f".{len(list(bag.payload_files()))}")


def test_the_same_folder_again_changes_nothing(archive: Archive, garage: Path) -> None:
    assert archive_issue(archive, garage, AT).changed
    assert not archive_issue(archive, garage, AT + timedelta(days=9)).changed


def test_what_is_laid_in_later_is_filed_beside(archive: Archive, garage: Path) -> None:
    archive_issue(archive, garage, AT)
    (garage / "sent.json").write_bytes(b'{"sent": [1]}')
    assert archive_issue(archive, garage, AT).changed
    bag = archive.bag(GARAGE)
    assert bag.read("data/messages/0001/sent.json") == b'{"sent": []}'
    assert bag.read("data/messages/0001/sent-2.json") == b'{"sent": [1]}'


def test_a_revision_never_changes_an_earlier_one(archive: Archive, issued: Path) -> None:
    first = documents_of(issued, "garage")
    job = read_issued_record(first)
    second = changed(first, revision=2, issued_at="2026-07-15T09:00:00-04:00")
    archive_documents(archive, job, first, AT)
    archive_documents(archive, job, second, AT)
    assert archive.bag(GARAGE).issue(1) == first
    assert archive.bag(GARAGE).issue(2) == second
    assert archive.bag(GARAGE).entry.revision == 2
    with pytest.raises(UnusableInput, match=r"revision 2 .* in the archive with other documents"):
        archive_documents(archive, job, {**second, "care-sheet.pdf": b"another"}, AT)


def test_an_earlier_issue_filed_again_leaves_the_catalog_with_the_last(
    archive: Archive, garage: Path, issued: Path
) -> None:
    first = documents_of(issued, "garage")
    job = read_issued_record(first)
    archive_documents(archive, job, first, AT)
    archive_documents(archive, job, changed(first, revision=2), AT)
    assert archive_issue(archive, garage, AT).changed, "the photo and the scan are new"
    assert archive.bag(GARAGE).entry.revision == 2
    assert archive.catalog.find(Query()).entries[0].revision == 2


@pytest.mark.parametrize("text", [None, b"", b"[]", b"{}", b'{"job": "a", "revision": 1}'])
def test_a_folder_that_was_not_issued(archive: Archive, tmp_path: Path, text: bytes | None) -> None:
    folder = tmp_path / "other"
    folder.mkdir()
    if text is not None:
        (folder / "schedule.json").write_bytes(text)
    with pytest.raises(UnusableInput, match=r"schedule\.json"):
        archive_issue(archive, folder, AT)
    assert not archive.folder.exists()


@pytest.mark.parametrize(
    "said",
    [
        {"job": 5}, {"job": ["a"]}, {"revision": "1"}, {"revision": None}, {"revision": 10**30},
        {"issued_at": 5}, {"issued_at": "0001-01-01T00:00:00+14:00"}, {"issued_at": "2026-07-14T12:30:00"},
        {"timezone": "../etc/passwd"}, {"timezone": None}, {"milestones": None}, {"milestones": [None]},
        {"milestones": [{}]}, {"risks": 5}, {"risks": [{"code": "frost"}]}, {"cautions": [1]},
        {"tasks": [{"by": "crew"}]}, {"tasks": None}, {"placement_end": []},
    ],
    ids=str,
)  # fmt: skip
def test_a_schedule_that_is_not_as_published_is_refused(
    archive: Archive, garage: Path, said: dict[str, Any]
) -> None:
    file = garage / "schedule.json"
    file.write_text(json.dumps(json.loads(file.read_bytes()) | said))
    with pytest.raises(UnusableInput, match=r"schedule\.json|no record of the job"):
        archive_issue(archive, garage, AT)
    assert archive.names() == []


def test_a_set_without_its_record(archive: Archive, garage: Path) -> None:
    (garage / "inputs" / "garage.toml").unlink()
    with pytest.raises(UnusableInput, match=f"no record of the job {GARAGE}"):
        archive_issue(archive, garage, AT)


def test_the_record_is_known_by_its_id_among_other_files(issued: Path) -> None:
    documents = documents_of(issued, "garage")
    others = {"inputs/a.toml": b'id = "another"', "inputs/b.json": b"{", "inputs/c.toml": b"\xff"}
    assert issued_record({**others, **documents}).name == "inputs/garage.toml"


# ---- which folders are meant ------------------------------------------------------------------------


def test_folders_are_found_at_any_depth_and_bags_are_not_looked_into(
    archive: Archive, garage: Path, tmp_path: Path
) -> None:
    shutil.copytree(garage, tmp_path / "2026" / "july" / "copy")
    shutil.copytree(garage, tmp_path / ".hidden" / "copy")
    archive_issue(archive, garage, AT)
    assert issued_folders(tmp_path) == [tmp_path / "2026" / "july" / "copy", garage]
    assert issued_folders(garage) == [garage]


def test_a_record_means_the_folder_beside_it(issued: Path, garage: Path, tmp_path: Path) -> None:
    record = tmp_path / "any.toml"
    shutil.copy(issued / "garage.toml", record)
    assert issued_folders(record) == [garage]
    shutil.copytree(garage, tmp_path / "copy")
    with pytest.raises(UnusableInput, match="several folders: copy, garage"):
        issued_folders(record)
    shutil.rmtree(tmp_path / "copy")
    shutil.rmtree(garage)
    with pytest.raises(UnusableInput, match=r"is a job record.*handover issue .*any\.toml -o out/any"):
        issued_folders(record)


def test_what_means_no_folder(garage: Path, tmp_path: Path) -> None:
    with pytest.raises(UnusableInput, match="does not exist"):
        issued_folders(tmp_path / "nowhere")
    with pytest.raises(UnusableInput, match="is not a job record"):
        issued_folders(garage / "care-sheet.pdf")
    with pytest.raises(UnusableInput, match="has no issued documents"):
        issued_folders(garage / "photos")


# ---- what the catalog knows -------------------------------------------------------------------------


@pytest.fixture
def entry(issued: Path) -> Callable[..., JobEntry]:
    """Return what is known of a set, with changes to its record and to its schedule."""

    def known(name: str, earlier: JobEntry | None = None, said: Any = None, **record: Any) -> JobEntry:
        documents = documents_of(issued, name)
        job: JobRecord = read_issued_record(documents).model_copy(update=record)
        return entry_of(job, changed(documents, **(said or {})), earlier)

    return known


def test_what_is_searched_by_word(entry: Callable[..., JobEntry]) -> None:
    garage = entry("garage")
    assert garage.owner == "Ana Prueba"
    assert garage.street == "Test slab, 118 Alder Lane, Greensboro"
    assert garage.contractor == "Example Flatwork"
    assert garage.mix == "3000 psi (20.68 MPa), cement I"  # 3000 psi = 20.684 MPa, NIST SP 811
    assert "Honeycomb" in garage.remarks
    assert entry("patio").supplier == "Copper Kettle Ready Mix"
    assert entry("patio").remarks == "Beautiful broom finish"


def test_times_are_at_the_offset_of_the_site(entry: Callable[..., JobEntry]) -> None:
    shop = entry("shop")
    assert shop.placed.isoformat() == "2026-11-10T06:40:00-05:00"  # standard time since 1 November 2026
    assert {each.start.utcoffset() for each in shop.tasks} == {timedelta(hours=-5)}


def test_dates_are_those_of_the_schedule(issued: Path, entry: Callable[..., JobEntry]) -> None:
    schedule = json.loads((issued / "shop" / "schedule.json").read_bytes())
    shop = entry("shop")
    ends = next(each for each in schedule["milestones"] if each["kind"] == MilestoneKind.CURING_ENDS)
    frosts = [each for each in schedule["risks"] if each["code"] == "frost"]
    assert frosts
    assert shop.curing_ends == datetime.fromisoformat(ends["printed"]["instant"])
    assert shop.frost_until == max(datetime.fromisoformat(each["end"]) for each in frosts)
    assert entry("garage").frost_until is None


def test_visits_are_those_of_the_crews_calendar(issued: Path, entry: Callable[..., JobEntry]) -> None:
    for name in ("garage", "shop", "patio"):
        calendar = icalendar.Calendar.from_ical((issued / name / "crew.ics").read_bytes())
        visits = {each.uid: each for each in entry(name).tasks if each.kind != CALL_OWNER}
        assert visits.keys() == {str(each["uid"]) for each in calendar.events}
        for event in calendar.events:
            start, task = event.decoded("dtstart"), visits[str(event["uid"])]
            assert (task.start if isinstance(start, datetime) else task.start.date()) == start
            assert f"{task.text}, {entry(name).street.split(', ')[0]}" == str(event["summary"])
    kinds = {each.kind for each in entry("garage").tasks}
    assert kinds == {"surface", "bring-cover", "saw-joints", "strip-edge-forms", "rub-edges", "walk-through"}


def test_a_visit_that_was_withdrawn_is_none(issued: Path) -> None:
    documents = documents_of(issued, "garage")
    job = read_issued_record(documents)
    text = documents["crew.ics"].replace(b"STATUS:CONFIRMED", b"STATUS:CANCELLED", 1)
    before, after = (entry_of(job, {**documents, "crew.ics": each}) for each in (documents["crew.ics"], text))
    assert len(after.tasks) == len(before.tasks) - 1


def test_a_set_without_the_calendar_of_the_crew_is_refused_in_words(issued: Path) -> None:
    """Seen: "an error in the program itself: KeyError"."""
    documents = documents_of(issued, "garage")
    del documents["crew.ics"]
    with pytest.raises(UnusableInput, match=r"has no crew\.ics as issued"):
        entry_of(read_issued_record(documents), documents)


def test_an_owner_is_rung_on_the_day_before_a_frost(entry: Callable[..., JobEntry]) -> None:
    frosts = [
        {"code": "frost", "start": start, "peak_at": start, "end": "2026-11-16T08:00:00-05:00"}
        for start in ("2026-11-09T23:00:00-05:00", "2026-11-10T22:00:00-05:00", "2026-11-15T02:00:00-05:00")
    ]
    calls = [each for each in entry("shop", said={"risks": frosts}).tasks if each.kind == CALL_OWNER]
    past, tonight, later = "2026-11-09", "2026-11-10", "2026-11-14"
    assert [each.start.date().isoformat() for each in calls] == [tonight, later], f"none on {past}"
    assert calls[0].end == datetime.fromisoformat("2026-11-10T22:00:00-05:00"), "by then they must know"
    assert calls[1].text == "Call the owner: frost is forecast from Sun Nov 15, 2:00 am"


STRENGTH = 3000 * 0.00689476
"""What is specified, 3000 psi in MPa (NIST SP 811)."""


@pytest.mark.parametrize(
    ("cured", "days", "share", "low"),
    [
        ("standard", 28, 0.9, True),
        ("standard", 28, 1.1, False),
        ("standard", 7, 0.7, False),
        ("field", 28, 0.9, False),
    ],
)
def test_a_cylinder_is_low_at_its_full_age(
    entry: Callable[..., JobEntry], cured: str, days: int, share: float, low: bool
) -> None:
    """Standard-cured ones are held against what is specified at 28 days: common practice, no source."""
    broken = Cylinder(age=24.0 * days, strength=share * STRENGTH, cured=cured)
    assert entry("garage", cylinder=(broken,)).cylinder_low is low


def test_a_cylinder_below_the_estimate_is_low_at_any_age(entry: Callable[..., JobEntry]) -> None:
    weak = {"cautions": [{"code": "cylinders-weak"}]}
    assert entry("garage", said=weak).cylinder_low
    assert entry("patio").cylinder_low


def test_the_walk_through_is_open_while_a_repair_is_due(
    entry: Callable[..., JobEntry],
) -> None:
    assert entry("garage").walkthrough_open
    for fine in (True, None):
        assert not entry("garage", walkthrough=(WalkthroughItem(item="Edge", ok=fine),)).walkthrough_open


def test_an_owner_acknowledges_the_issue_they_received(entry: Callable[..., JobEntry]) -> None:
    signed = Acknowledgement(name="Ana Prueba", time=datetime.fromisoformat("2026-07-15T09:00:00-04:00"))
    first = entry("garage")
    assert first.acknowledged is None
    second = {"revision": 2, "issued_at": "2026-07-15T10:00:00-04:00"}
    with_his_word = entry("garage", first, second, acknowledgement=signed)
    assert with_his_word.acknowledged == signed.time, "printed on the set that was made for it"
    third = {"revision": 3, "issued_at": "2026-07-16T10:00:00-04:00"}
    assert entry("garage", with_his_word, third, acknowledgement=signed).acknowledged is None
    assert entry("garage", with_his_word, second, acknowledgement=signed) == with_his_word


def test_the_contractor_is_the_contact(issued: Path) -> None:
    contact = contact_for(read_issued_record(documents_of(issued, "garage")))
    assert (contact.organization, contact.phone) == ("Example Flatwork", "555-0142")


def test_the_catalog_finds_a_state_where_the_entry_says_so(archive: Archive, issued: Path) -> None:
    for each in ("garage", "shop", "patio"):
        archive_issue(archive, issued / each, AT)
    entries = [*archive.catalog.entries()]
    for days in range(0, 140, 7):
        at = AT + timedelta(days=days)
        for state in JobState:
            found = archive.catalog.find(Query(states=frozenset({state}), at=at)).entries
            assert {each.job for each in found} == {e.job for e in entries if state in states_of(e, at)}
