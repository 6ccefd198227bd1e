"""Names of files: no way out of the bag, no two that some system takes for one."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handover.archive.safe_names import MAX_NAME_BYTES, NameAllocator, casefold_path, safe_name, safe_path
from handover.errors import UnusableInput


@pytest.mark.parametrize("path", ["../x", "a/../../x", "/etc/passwd", "a//b", "a/", "", ".", "a/./b"])
def test_a_name_that_leads_out_is_refused(path: str) -> None:
    with pytest.raises(UnusableInput, match="leads out"):
        safe_path(path)


# Reserved names and characters: Microsoft, "Naming Files, Paths, and Namespaces"; RFC 8493, section 6.2.2.
@pytest.mark.parametrize(
    ("given_name", "safe"),
    [
        ("care-sheet.es.pdf", "care-sheet.es.pdf"),
        ("Straße 12 (Süd).jpg", "Straße 12 (Süd).jpg"),
        ("a\\..\\b", "a-..-b"),
        ("CON", "_CON"),
        ("aux.txt", "_aux.txt"),
        ("com1", "_com1"),
        ("console.txt", "console.txt"),
        ('<>:"|?*.txt', "-------.txt"),
        ("100%.txt", "100-.txt"),
        ("ends. . ", "ends"),
        (".hidden", "_.hidden"),
        ("~root", "_~root"),
        ("two\nlines\x00", "two-lines-"),
        ("evil\u202efdp.exe", "evil-fdp.exe"),
        ("undecodable\udcff", "undecodable-"),
        ("cafe\u0301", "caf\u00e9"),
    ],
)
def test_a_name_becomes_one_that_any_system_takes(given_name: str, safe: str) -> None:
    assert safe_name(given_name) == safe


def test_long_names_are_cut_and_still_told_apart() -> None:
    one, other = safe_name("ü" * 300 + "1.jpg"), safe_name("ü" * 300 + "2.jpg")
    assert one != other
    assert one.endswith(".jpg")
    assert len(one.encode()) <= MAX_NAME_BYTES


@given(st.text(min_size=1))
def test_a_safe_name_is_safe(name: str) -> None:
    safe = safe_name(name)
    assert safe_name(safe) == safe
    assert unicodedata.is_normalized("NFC", safe)
    assert 0 < len(safe.encode()) <= MAX_NAME_BYTES
    assert not set(safe) & set('/\\<>:"|?*%\0\n')
    assert safe not in {".", ".."}
    assert safe[-1] not in ". "


@given(st.lists(st.text("aAßsSé\u0301e~", min_size=1, max_size=4), max_size=12))
def test_no_two_names_on_a_shelf_fold_alike(wanted: list[str]) -> None:
    shelf = NameAllocator({})
    placed = [shelf.allocate(name, mark) for mark, name in enumerate(wanted)]
    assert len({casefold_path(path) for path in placed}) == len(wanted)


def test_the_same_file_again_keeps_its_place_and_another_gets_a_number() -> None:
    shelf = NameAllocator({"photos/edge.jpg": "mark 1"})
    assert shelf.allocate("photos/edge.jpg", "mark 1") == "photos/edge.jpg"
    assert shelf.allocate("Photos/EDGE.jpg", "mark 2") == "photos/EDGE-2.jpg"
    assert shelf.allocate("photos/edge.jpg", "mark 2") == "photos/EDGE-2.jpg"
    assert shelf.allocate("photos/edge.jpg", "mark 3") == "photos/edge-3.jpg"


def test_a_file_is_no_folder() -> None:
    shelf = NameAllocator({"photos": "mark"})
    with pytest.raises(UnusableInput, match="has a file"):
        shelf.allocate("Photos/edge.jpg", "mark 1")


def test_a_folder_is_no_file() -> None:
    shelf = NameAllocator({"photos/edge.jpg": "mark"})
    assert shelf.allocate("PHOTOS", "mark 1") == "PHOTOS-2"
