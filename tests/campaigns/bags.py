"""Bags that were changed behind the program's back: `verify` names them, the others are found and indexed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from campaign import Case, campaign
from mutations import TEXTS
from program import FIRST, command, contents, office
from sets import damage, pick

if TYPE_CHECKING:
    from pathlib import Path
    from random import Random

OFTEN = (
    "entry.json",
    "manifest-sha256.txt",
    "manifest-sha512.txt",
    "tagmanifest-sha256.txt",
    "bag-info.txt",
    "bagit.txt",
)


def _lay_beside(random: Random, bag: Path) -> None:
    """Lay a file that is not of the bag into it, or an odd folder beside it."""
    name = random.choice(
        [each for each in TEXTS if 0 < len(each) < 100 and not set(each) & {"/", "\0", "\ud800"}]
    )
    place = random.choice([bag, bag / "data", bag.parent]) / f"x{name}"
    place.mkdir() if random.random() < 0.3 else place.write_bytes(b"x")


def _said_by(bag: Path) -> dict[str, bytes]:
    """Return the files of a bag; of a manifest without its last line break, which RFC 8493 leaves open."""
    files = contents(bag)
    return {name: each.rstrip(b"\n") if "manifest-" in name else each for name, each in files.items()}


@campaign(in_suite=2)
def bags(case: Case) -> None:
    """A changed bag is named by `verify`; nothing that reads the archive stops at it."""
    root = office(case.folder)
    archive = root / "archive"
    bag = min(each for each in (archive / "bags").iterdir() if "one" in each.name)
    before = _said_by(bag)
    for _ in range(case.random.randrange(1, 3)):
        damage(case.random, pick(case.random, bag, OFTEN))
    if case.random.random() < 0.2:
        _lay_beside(case.random, bag)
    changed = _said_by(bag) != before or any(each.is_symlink() for each in bag.rglob("*"))
    case.keep("changed", str(changed).encode())

    said = command("verify", archive)
    assert said.status == int(changed) or said.status, said.text
    assert not changed or bag.name in said.text, said.text
    for rebuilt in (False, True):
        if rebuilt:
            command("reindex", archive)
        assert "two" in command("find", "--in", archive, "--as-of", FIRST).text
        command("due", "--in", archive, "--as-of", FIRST)
        command("export", archive, "-o", case.folder / f"export-{rebuilt}")
    command("archive", root / "one", root / "two", "--to", archive)
    command("verify", "--repair", archive)
    assert "two" in command("find", "--in", archive, "--as-of", FIRST).text
