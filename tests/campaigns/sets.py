"""Issued sets of which a file was changed: each is used, or refused in words by itself."""

from __future__ import annotations

import json
import shutil
from typing import TYPE_CHECKING

from campaign import Case, campaign
from mutations import spoil, spoil_bytes, spoil_tree
from program import GARAGE, LATER, command, issue_command, office

if TYPE_CHECKING:
    from pathlib import Path
    from random import Random

OFTEN = ("schedule.json", "owner.ics", "crew.ics", "message.eml", "inputs/job.toml", "inputs/settings.json")


def damage(random: Random, file: Path) -> None:
    """Change, remove or replace a file."""
    how = random.random()
    if how < 0.05:
        file.unlink()
    elif how < 0.1:
        file.unlink()
        file.mkdir()
    elif how < 0.15:
        file.unlink()
        file.symlink_to(random.choice(["/dev/null", "nowhere", file.name, "..", "/etc/hostname"]))
    else:
        file.write_bytes(_changed(random, file))


def _changed(random: Random, file: Path) -> bytes:
    data = file.read_bytes()
    if file.suffix == ".json" and random.random() < 0.6:
        tree = json.loads(data)
        for _ in range(random.randrange(1, 4)):
            spoil_tree(random, tree)
        return json.dumps(tree).encode("utf-8", "surrogatepass")
    if file.suffix in {".pdf", ".sqlite"} or random.random() < 0.2:
        return random.choice([b"", spoil_bytes(random, data)])
    return spoil(random, data.decode("utf-8", "replace"))


def pick(random: Random, folder: Path, often: tuple[str, ...]) -> Path:
    """Return a file of a folder, some of them more often than others."""
    if random.random() < 0.7:
        chosen = [each for each in (folder / name for name in often) if each.is_file()]
        return random.choice(chosen)
    return random.choice(sorted(each for each in folder.rglob("*") if each.is_file()))


@campaign(in_suite=2)
def sets(case: Case) -> None:
    """A set of which a file was changed; the sound one beside it is archived and sent all the same."""
    root = office(case.folder)
    one, two, archive = root / "one", root / "two", case.folder / "archive"
    file = pick(case.random, one, OFTEN)
    damage(case.random, file)
    case.keep("which", file.relative_to(root).as_posix().encode())
    _keep_as_spoilt(case, file)

    command("archive", one, two, "--to", archive)
    assert command("archive", two, "--to", archive).text.count("already archived") == 1
    assert command("verify", archive).status == 0
    said = command("send", "--dry-run", one, two)
    assert "two" in said.text
    assert "two: not" not in said.text, said.text

    command(
        "reissue",
        _id(root, "one"),
        "--same-weather",
        "--anyway",
        "--in",
        archive,
        "-o",
        one,
        "--as-of",
        LATER,
    )
    again = command(*issue_command(root / "one.toml", GARAGE / "weather.csv", one, LATER))
    assert again.status in {0, 2}, again.text
    assert (again.status == 0) or "Nothing was written." in again.text, again.text


def _keep_as_spoilt(case: Case, file: Path) -> None:
    """Keep the spoilt file, which a later command may replace."""
    if file.is_file() and not file.is_symlink():
        shutil.copyfile(file, case.folder / f"spoilt-{file.name}")


def _id(root: Path, name: str) -> str:
    line = (root / f"{name}.toml").read_text("utf-8").split('id = "', 1)[1]
    return line.partition('"')[0]
