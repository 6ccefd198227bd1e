"""Step 6: publish a set of documents, completely or not at all, without losing other files."""

from __future__ import annotations

import errno
import json
import logging
import operator
import os
import re
import secrets
import shutil
from contextlib import ExitStack, contextmanager, suppress
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, NamedTuple

from handover.base.atomic import (
    carry_missing,
    exchange_names,
    flush,
    hold_lock_file,
    keep_rights,
    lock_path,
    replace_folder,
    restore_backup,
    walk,
    write_new_file,
)
from handover.base.regular_files import read_regular
from handover.errors import RenderingFailed, UnusableInput

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping
    from pathlib import Path

LOG = logging.getLogger("handover")

INPUTS_FOLDER = "inputs/"
"""Folder of the inputs in a set."""

EARLIER_WEATHER_FOLDER = "earlier-weather/"
"""Folder, among the inputs, of the weather of earlier issues from which a set has its first hours."""

SCHEDULE_FILE = "schedule.json"
CREW_CALENDAR_FILE = "crew.ics"
MESSAGE_FILE = "message.eml"


class SetKind(NamedTuple):
    """A kind of set: the file that identifies it, and the key of its job or project in this file."""

    file: str
    key: str


JOB_SET = SetKind(SCHEDULE_FILE, "job")
PROJECT_SET = SetKind("slabs.json", "project")

_AT_WORK = "another run is at work on it"

OWN_NAMES = re.compile(
    r"(care-sheet|care-page|owner|crew|crew-sheet|data-sheet|message)(\.[a-z]{2,3}(-[A-Za-z]+)?)?\.(pdf|html|ics|eml)"
    r"|schedule\.json|slabs\.json|inputs"
)
"""Names of a set's files, in any language, which a later set of the same job replaces."""


def publish(files: Mapping[str, bytes], folder: Path, job: str) -> None:
    """Write a set of documents to a folder, completely or not at all.

    The files are written to a temporary folder beside the target, checked, and published by a rename. Other
    files in the folder of an earlier set of the same job get a second name in the new one. The earlier set
    stays until all of the new one is on the disk.

    Args:
        files: The contents by name, "/" between folder and file.
        folder: The target.
        job: The id of the job, which identifies an earlier set.

    Raises:
        UnusableInput: The target is something else than an earlier set of this job: a later issue, or another
            of the same revision, is never overwritten.
        RenderingFailed: A document is empty.
    """
    with lock_folder(folder):
        publish_locked(files, folder, job)


@contextmanager
def lock_folder(folder: Path) -> Iterator[None]:
    """Lock the target of a set while its revision is chosen and the set is written; wait for another lock.

    The folders above it are created. If the block fails, the empty ones are removed again.

    Raises:
        UnusableInput: They cannot be made.
    """
    folder = folder.resolve()
    made: list[Path] = []
    with ExitStack() as held:
        while True:
            made += _make_parents(folder)
            with suppress(FileNotFoundError):  # another run has failed and removed the folders above
                lock = folder.with_name(f".{folder.name}.lock")
                held.enter_context(hold_lock_file(lock, lambda: LOG.warning("%s: %s", folder, _AT_WORK)))
                break
        try:
            _recover(folder)
            yield
        except BaseException:
            held.close()
            for each in made:
                with suppress(OSError):  # another run has begun to write there
                    each.rmdir()
            raise


def publish_locked(files: Mapping[str, bytes], folder: Path, job: str, kind: SetKind = JOB_SET) -> None:
    """Write a set of documents to a folder that the caller has locked by `lock_folder`; see `publish`."""
    LOG.info("6 publish")
    _require_documents(files)
    folder = folder.resolve()
    _require_later_issue(json.loads(files[kind.file]), check_folder(folder, job, kind), folder)
    with _temporary_folder(folder) as fresh:
        _write(files, fresh)
        if not folder.exists():
            _swap(fresh, folder)
            return
        with lock_path(folder):  # a run that sends from it ends first
            _carry_foreign_files(folder, fresh)
            _keep_rights(folder, fresh)
            _swap(fresh, folder)


def _require_documents(files: Mapping[str, bytes]) -> None:
    if empty := [name for name, content in files.items() if not content]:
        raise RenderingFailed(f"nothing was rendered into {', '.join(empty)}")


def _require_later_issue(issue: Mapping[str, Any], earlier: Mapping[str, Any] | None, folder: Path) -> None:
    """Refuse to overwrite a later issue, or another one of the same revision."""
    if earlier is None:
        return
    there, new = _issue_of(earlier), _issue_of(issue)
    if there[0] < new[0] or there == new:
        return
    raise UnusableInput.with_finding(
        f"holds revision {there[0]} of {there[1]}; the new set would be revision {new[0]} of {new[1]}",
        file=str(folder),
        expected="a later revision; another run may have issued this job meanwhile: issue it again",
    )


def _issue_of(schedule: Mapping[str, Any]) -> tuple[int, str]:
    """Return revision and time of issue of a schedule."""
    try:
        issued_at = datetime.fromisoformat(schedule["issued_at"])
        return int(schedule["revision"]), issued_at.astimezone(UTC).isoformat()
    except (ValueError, TypeError, LookupError):
        return 0, ""


def check_folder(folder: Path, job: str, kind: SetKind = JOB_SET) -> Mapping[str, Any] | None:
    """Return what identifies the earlier set in a folder, such as its schedule; None if the folder is free.

    Raises:
        UnusableInput: The folder has something else than a set of documents of this job.
    """
    if not os.path.lexists(folder):
        return None
    if not folder.is_dir():
        raise _refusal(folder, "is a file, not a folder")
    if not any(folder.iterdir()):
        return None
    try:
        earlier: Mapping[str, Any] = json.loads(read_regular(folder / kind.file, follow=True))
        of = earlier[kind.key]
    except (OSError, ValueError, TypeError, LookupError, RecursionError):
        raise _refusal(folder, "has files, but no set of documents of this program") from None
    if of != job:
        raise _refusal(folder, f"has the documents of another {kind.key}, {of}")
    return earlier


def next_revision(
    job: str,
    as_of: datetime,
    *,
    folder: Path | None = None,
    made_from: Mapping[str, bytes] | None = None,
    archived: Iterable[int] = (),
) -> int:
    """Return the revision of a set to issue: one more than the last one, in the folder or in the archive.

    The same time of issue in a folder is the same issue, made again, if it is made from the same. What is
    archived is never made again.

    Args:
        job: The id of the job.
        as_of: Time of issue, aware.
        folder: The target folder, if there is one; the caller has locked it by `lock_folder`.
        made_from: The inputs of the set, by file name, as below `inputs/`; None to ignore them.
        archived: The revisions in the archive.

    Raises:
        UnusableInput: The folder has something else than a set of documents of this job.
    """
    in_folder = 1 if folder is None else _next_in_folder(folder, job, as_of, made_from)
    return max(in_folder, *(each + 1 for each in archived), 1)


def _next_in_folder(folder: Path, job: str, as_of: datetime, made_from: Mapping[str, bytes] | None) -> int:
    earlier = check_folder(folder, job)
    if earlier is None:
        return 1
    try:
        again = datetime.fromisoformat(earlier["issued_at"]) == as_of and _is_made_from(folder, made_from)
        revision: int = operator.index(earlier["revision"])
        return revision + (not again)
    except (ValueError, TypeError, LookupError):
        raise _refusal(folder, "has a set of documents whose schedule.json was changed") from None


def _is_made_from(folder: Path, made_from: Mapping[str, bytes] | None) -> bool:
    """Return whether the set in a folder has these inputs, and no others; one of them may be missing."""
    if made_from is None:
        return True
    inputs = folder / INPUTS_FOLDER
    files = walk(inputs) if inputs.is_dir() else ()
    received = (name for name, each in files if each.is_file() and _is_received(name))
    return all(made_from.get(name) == read_regular(inputs / name, follow=True) for name in received)


def _is_received(name: str) -> bool:
    """Return whether a file among the inputs is of this issue: no note of a program, no earlier weather."""
    return not name.startswith((".", EARLIER_WEATHER_FOLDER))


def _refusal(folder: Path, problem: str) -> UnusableInput:
    return UnusableInput.with_finding(
        problem,
        file=str(folder),
        expected="a new folder, or one with an earlier set of the same job",
        example=f"{folder}-2",
    )


def _make_parents(folder: Path) -> list[Path]:
    """Create the folders above the target; return the new ones, the innermost first."""
    missing = [each for each in folder.parents if not each.exists()]
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        problem = f"cannot be made: {fault.strerror}"
        raise UnusableInput.with_finding(problem, file=str(folder.parent)) from None
    return missing


@contextmanager
def _temporary_folder(folder: Path) -> Iterator[Path]:
    """Yield a temporary folder beside the target. It is locked while this run lives, see `_recover`."""
    fresh = folder.with_name(f".{folder.name}.issuing-{secrets.token_hex(8)}")
    fresh.mkdir()
    with lock_path(fresh):
        try:
            yield fresh
        finally:
            shutil.rmtree(fresh, ignore_errors=True)


def _recover(folder: Path) -> None:
    """Recover from a killed run: restore or remove what it left beside the target."""
    earlier = _backup_path(folder)
    restore_backup(folder, earlier)
    shutil.rmtree(earlier, ignore_errors=True)
    for left in folder.parent.iterdir():
        if not left.name.startswith(f".{folder.name}.issuing-"):
            continue
        # another run may be working on it, or has just finished
        with suppress(OSError), lock_path(left, wait=False):
            shutil.rmtree(left, ignore_errors=True)


def _backup_path(folder: Path) -> Path:
    return folder.with_name(f".{folder.name}.earlier")


def _write(files: Mapping[str, bytes], fresh: Path) -> None:
    for name, content in files.items():
        file = fresh / name
        file.parent.mkdir(parents=True, exist_ok=True)
        write_new_file(file, content)
        flush(file)
    for each in {(fresh / name).parent for name in files} | {fresh}:
        flush(each)


def _carry_foreign_files(folder: Path, new: Path) -> None:
    """Give other files in the folder of the earlier set a second name in the new one, on the disk."""
    for each in sorted(folder.iterdir()):
        if not OWN_NAMES.fullmatch(each.name):
            carry_missing(each, new / each.name)
    flush(new)


def _keep_rights(folder: Path, fresh: Path) -> None:
    """Give the new folders of a set the group and the mode of the earlier ones."""
    if (folder / INPUTS_FOLDER).is_dir() and (fresh / INPUTS_FOLDER).is_dir():
        keep_rights(folder / INPUTS_FOLDER, fresh / INPUTS_FOLDER)
    keep_rights(folder, fresh)


def _swap(fresh: Path, folder: Path) -> None:
    """Replace the earlier set by the new one, on the disk; restore the earlier one if that fails."""
    earlier = _backup_path(folder)
    try:
        replace_folder(fresh, folder, earlier)
    except OSError as fault:
        if fault.errno not in {errno.ENOTEMPTY, errno.EEXIST}:
            raise
        problem, expected = f"was filled meanwhile: {_AT_WORK}", "no other program that writes there"
        raise UnusableInput.with_finding(problem, file=str(folder), expected=expected) from None
    before = next((each for each in (fresh, earlier) if each.exists()), None)
    try:
        flush(folder.parent)  # the new set is durable before the earlier one is removed
        if before is not None:
            _carry_foreign_files(before, folder)  # what was laid there meanwhile
    except BaseException:
        if before is not None:
            _swap_back(folder, before)
        raise
    shutil.rmtree(earlier, ignore_errors=True)


def _swap_back(folder: Path, before: Path) -> None:
    """Give the earlier set its name again."""
    if not exchange_names(before, folder):
        shutil.rmtree(folder)
        before.rename(folder)
