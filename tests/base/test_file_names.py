"""Names of files: any system takes them, no command obeys them, and those that exist do not change."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handover.base.file_names import MAX_NAME_BYTES, ascii_name, casefold_path, free_name, safe_name
from handover.service.inputs import unique_names


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


def test_long_names_are_cut_and_stay_distinct() -> None:
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


@pytest.mark.parametrize(
    ("name", "safe"),
    [
        ("alder-garage.toml", "alder-garage.toml"),
        ("../../etc/passwd", "passwd"),
        (".hidden", "hidden"),
        ("-o", "o"),
        ("Job für Ana (2).toml", "Job-f-r-Ana-2-.toml"),
        ("a\nb\x1b.json", "a-b-.json"),
        ("....", "file"),
        ("x" * 20 + "-" + "y" * 99, "y" * 99),
        ("x" * 300 + ".csv", "x" * 96 + ".csv"),
    ],
)
def test_a_name_of_plain_letters(name: str, safe: str) -> None:
    assert ascii_name(name) == safe


@given(st.text())
def test_a_plain_name_is_no_option_and_no_hidden_file(name: str) -> None:
    plain = ascii_name(name)
    assert ascii_name(plain) == plain
    assert plain.isascii()
    assert plain[0] not in ".-"
    assert len(plain) <= 100


CORPUS = (
    ("care-page.html", "care-page.html", "care-page.html"),
    ("photos of day 1.zip", "photos of day 1.zip", "photos-of-day-1.zip"),
    ("Año nuevo — losa.jpg", "Año nuevo — losa.jpg", "A-o-nuevo-losa.jpg"),
    ("IMG_2041 (1).HEIC", "IMG_2041 (1).HEIC", "IMG_2041-1-.HEIC"),
    ("logger 50%.csv", "logger 50-.csv", "logger-50-.csv"),
    ("_draft.toml", "_draft.toml", "_draft.toml"),
    ("nul.json", "_nul.json", "nul.json"),
    ("..", "_", "file"),
    ("写真.png", "写真.png", "png"),
    ("a.tar.gz", "a.tar.gz", "a.tar.gz"),
    ("two  blanks.csv", "two  blanks.csv", "two-blanks.csv"),
    ("trailing .", "trailing", "trailing-."),
)
"""A snapshot: names, and what version 0.1 made of each in a bag and among the inputs of a set."""


@pytest.mark.parametrize(("name", "in_bag", "in_inputs"), CORPUS)
def test_names_in_bags_and_inputs_stay_as_they_are(name: str, in_bag: str, in_inputs: str) -> None:
    assert (safe_name(name), ascii_name(name)) == (in_bag, in_inputs)


def test_a_name_that_is_taken_gets_the_next_number() -> None:
    taken = {"photos/edge.jpg", "photos/edge-2.jpg"}
    assert free_name("photos/edge.jpg", taken.__contains__) == "photos/edge-3.jpg"
    assert free_name("photos/door.jpg", taken.__contains__) == "photos/door.jpg"


def test_inputs_that_some_system_takes_for_one_file_get_numbers() -> None:
    files = [("Weather.csv", b"1"), ("weather.csv", b"2"), ("caf\u00e9", b"3"), ("cafe\u0301", b"4")]
    named = unique_names(files, reserved=["settings.json"])
    assert list(named.values()) == [b"1", b"2", b"3", b"4"]
    assert len({casefold_path(each) for each in named}) == 4
    assert list(unique_names([("SETTINGS.json", b"1")], ["settings.json"])) == ["SETTINGS-2.json"]
