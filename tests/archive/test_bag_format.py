"""The BagIt format, against RFC 8493 and the validator of the Library of Congress."""

from __future__ import annotations

import re
import subprocess
from hashlib import sha256
from typing import TYPE_CHECKING

import bagit
import pytest
from hypothesis import given
from hypothesis import strategies as st

from handover.archive.bag import Digests, Info, human_size, manifests, read_info, read_manifest, write_info
from handover.archive.deposit import Deposit, deposit_files

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime
    from pathlib import Path

    from handover.archive.store import Archive


def test_the_library_of_congress_finds_the_bag_valid(bag_folder: Path) -> None:
    bag = bagit.Bag(str(bag_folder))
    bag.validate()
    assert bag.version_info == (1, 0)
    assert set(bag.algorithms) == {"sha256", "sha512"}
    assert bag.info == {
        "Source-Organization": "Example Flatwork",
        "Contact-Name": "Bo Muster",
        "Contact-Phone": "555-0101",
        "Contact-Email": "office@example.com",
        "External-Identifier": "2026-07-14-alder",
        "Bagging-Date": "2026-07-14",
        "Bag-Size": "30 B",
        "Payload-Oxum": "30.3",  # "first sheet", 'id = "alder"', "a photo": 11 + 12 + 7 octets in 3 files
        "Bag-Software-Agent": bag.info["Bag-Software-Agent"],
    }


@pytest.mark.parametrize("change", ["damage", "remove", "add"])
def test_the_library_of_congress_finds_what_is_wrong_with_it(bag_folder: Path, change: str) -> None:
    sheet = bag_folder / "data" / "issues" / "0001" / "care-sheet.pdf"
    match change:
        case "damage":
            sheet.write_bytes(b"FIRST sheet")
        case "remove":
            sheet.unlink()
        case "add":
            sheet.with_name("care-sheet.es.pdf").write_bytes(b"hoja")
    with pytest.raises(bagit.BagValidationError):
        bagit.Bag(str(bag_folder)).validate()


def test_sha256sum_reads_our_manifests(bag_folder: Path) -> None:
    for manifest in ("manifest-sha256.txt", "tagmanifest-sha256.txt"):
        subprocess.run(["sha256sum", "--check", "--strict", "--quiet", manifest], cwd=bag_folder, check=True)
    subprocess.run(
        ["sha512sum", "--check", "--strict", "--quiet", "manifest-sha512.txt"], cwd=bag_folder, check=True
    )


def test_odd_names_make_a_valid_bag(archive: Archive, deposit: Callable[..., Deposit], at: datetime) -> None:
    names = [
        "ünïcode/фото.jpg",
        "100%.txt",
        "a  b .txt",
        "two\nlines",
        "con",
        "Photo.JPG",
        "photo.jpg",
        "x" * 300,
    ]
    filed = deposit_files(archive, deposit(**{name: name.encode() for name in names}), at)
    bagit.Bag(str(filed.folder)).validate()
    for name in names:
        assert (filed.folder / filed.paths[name]).read_bytes() == name.encode()


# RFC 8493, section 2.1.3: a percent sign, CR and LF in a path are percent-encoded, and nothing else is.
def test_paths_are_escaped_as_the_standard_says() -> None:
    path = "data/100% \r\n%41 é.txt"
    text = manifests({path: Digests("aa", "bb")})[0]
    assert text == "aa  data/100%25 %0D%0A%2541 é.txt\n".encode()
    assert read_manifest(text) == {path: "aa"}


@given(
    st.dictionaries(st.text("ab%\r\n é25AD.", min_size=1).map(lambda text: f"data/x{text}"), st.just("0f"))
)
def test_manifests_read_back(files: dict[str, str]) -> None:
    files = {path.rstrip() + "x": digest for path, digest in files.items()}
    text, _ = manifests({path: Digests(digest, digest) for path, digest in files.items()})
    assert read_manifest(text) == files


# RFC 8493, section 5.2: paths that point outside of the bag, or into somebody's home.
@pytest.mark.parametrize("path", ["/etc/passwd", "data/../../x", "~/x", "data\\..\\x", "./data/x", "data//x"])
def test_a_manifest_that_points_outside_is_refused(path: str) -> None:
    with pytest.raises(ValueError, match="line 1 is not a digest"):
        read_manifest(f"aa  {path}\n".encode())


def test_a_manifest_does_not_name_a_file_twice() -> None:
    with pytest.raises(ValueError, match="line 2 names data/x again"):
        read_manifest(b"aa  data/x\nbb  data/x\n")


def test_a_manifest_of_another_program_is_read() -> None:
    # Section 2.1.3: any white space between, GNU's asterisk of binary mode, hexadecimal of any case.
    assert read_manifest(b"AA *data/x\r\nbb\tdata/y\n") == {"data/x": "aa", "data/y": "bb"}


def test_values_of_bag_info_stay_on_their_line() -> None:
    info = (("Contact-Name", "Bo\r\nPayload-Oxum: 0.0"), ("Contact-Phone", " "), ("Note", "a: b"))
    assert write_info(info) == b"Contact-Name: Bo Payload-Oxum: 0.0\nNote: a: b\n"


def test_folded_values_of_bag_info_are_read() -> None:
    # Section 2.2.2: "long values may be continued onto the next line by ... indenting".
    info: Info = (("Source-Organization", "Example Flatwork of the South"), ("Contact-Name", "Bo"))
    assert read_info(b"Source-Organization: Example Flatwork\n   of the South\nContact-Name : Bo\n") == info


@pytest.mark.parametrize(
    ("octets", "said"),
    [(0, "0 B"), (999, "999 B"), (1000, "1.0 kB"), (2_340_000, "2.3 MB"), (5 * 10**12, "5.0 TB")],
)
def test_a_size_is_said_as_people_say_it(octets: int, said: str) -> None:
    assert human_size(octets) == said


def test_the_seal_is_the_digest_of_the_tag_manifest(filed: Archive, bag_folder: Path) -> None:
    expected = sha256((bag_folder / "tagmanifest-sha256.txt").read_bytes()).hexdigest()
    assert filed.bag("2026-07-14-alder").seal == expected
    assert re.search(rb"  manifest-sha512\.txt\n", (bag_folder / "tagmanifest-sha256.txt").read_bytes())
