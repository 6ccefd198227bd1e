"""The BagIt format, version 1.0 (RFC 8493): manifests, bag-info, and a bag opened to be read.

The reader reads what our own writer makes: SHA-256 and SHA-512 manifests, UTF-8. A manifest may still come
from anywhere, so its paths must be inside the bag (section 5.2).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from hashlib import sha256, sha512
from typing import TYPE_CHECKING, NamedTuple

from handover.archive.entry import JobEntry, read_entry
from handover.archive.errors import CorruptBag
from handover.base.regular_files import read_regular

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from pathlib import Path

ALGORITHMS = ("sha256", "sha512")
DECLARATION_FILE = "bagit.txt"
DECLARATION = b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
DATA_FOLDER = "data/"
ISSUES_FOLDER = "data/issues/"
ENTRY_FILE = "entry.json"
REMOVED_FILE = "removed.json"
INFO_FILE = "bag-info.txt"

MANIFESTS = tuple(f"manifest-{each}.txt" for each in ALGORITHMS)
TAG_MANIFESTS = tuple(f"tagmanifest-{each}.txt" for each in ALGORITHMS)

Info = tuple[tuple[str, str], ...]
"""Labels and values of `bag-info.txt`, in order."""

_ESCAPED = {"%": "%25", "\r": "%0D", "\n": "%0A"}  # section 2.1.3: these and only these


class Digests(NamedTuple):
    """The digests of one file, in hexadecimal, by the algorithms of our manifests."""

    sha256: str
    sha512: str


BLOCK_BYTES = 1 << 20
"""Of a file that is read block by block."""


def digests(data: bytes | Path) -> Digests:
    """Return the digests of a file's contents: of bytes, or of a file, which is read block by block."""
    if isinstance(data, bytes):
        return Digests(sha256(data).hexdigest(), sha512(data).hexdigest())
    one, other = sha256(), sha512()
    with data.open("rb") as stream:
        while block := stream.read(BLOCK_BYTES):
            one.update(block)
            other.update(block)
    return Digests(one.hexdigest(), other.hexdigest())


def size_of(data: bytes | Path) -> int:
    """Return the length of a file's contents, in bytes."""
    return len(data) if isinstance(data, bytes) else data.stat().st_size


# ---- manifests --------------------------------------------------------------------------------------


def manifests(files: Mapping[str, Digests]) -> tuple[bytes, bytes]:
    """Return the text of the manifest of each algorithm."""
    one, other = (
        "".join(f"{files[path][which]}  {_escape(path)}\n" for path in sorted(files)).encode()
        for which in range(len(ALGORITHMS))
    )
    return one, other


def read_manifest(text: bytes) -> dict[str, str]:
    """Return the digest of each path of a manifest.

    Raises:
        ValueError: A line is not one of a manifest, names a path outside the bag, or repeats a path.
    """
    listed: dict[str, str] = {}
    for number, line in enumerate(_lines(text), start=1):
        found = re.fullmatch(r"([0-9a-fA-F]+)[ \t]+\*?(.+)", line)
        path = _unescape(found[2]) if found else ""
        if not found or _leads_out(path):
            raise ValueError(f"line {number} is not a digest with a path inside the bag")
        if path in listed:
            raise ValueError(f"line {number} names {path} again")
        listed[path] = found[1].lower()
    return listed


def both_manifests(folder: Path, names: Iterable[str]) -> dict[str, Digests]:
    """Return the digests of each path, from the manifests of both algorithms.

    Raises:
        ValueError: One is unreadable, or they name different files.
        OSError: One is missing.
    """
    first, second = (read_manifest(read_regular(folder / name)) for name in names)
    if first.keys() != second.keys():
        odd = ", ".join(sorted(first.keys() ^ second.keys()))
        raise ValueError(f"the two manifests do not name the same files: {odd}")
    return {path: Digests(digest, second[path]) for path, digest in first.items()}


def _lines(text: bytes) -> list[str]:
    """Return the lines of a tag file: ended by LF, CR, or CRLF, and by nothing else that Unicode knows."""
    return [line for line in re.split("\r\n|\r|\n", text.decode("utf-8")) if line]


def _escape(path: str) -> str:
    return re.sub("[%\r\n]", lambda found: _ESCAPED[found[0]], path)


def _unescape(path: str) -> str:
    return re.sub("%(25|0D|0A)", lambda found: bytes.fromhex(found[1]).decode(), path, flags=re.IGNORECASE)


def _leads_out(path: str) -> bool:
    parts = path.split("/")
    return any(part in {"", ".", ".."} for part in parts) or path.startswith("~") or "\\" in path


# ---- bag-info ---------------------------------------------------------------------------------------


def write_info(info: Info) -> bytes:
    """Return the text of `bag-info.txt`: one line a value, values that say nothing left out."""
    lines = ((label, " ".join(value.split())) for label, value in info)
    return "".join(f"{label}: {value}\n" for label, value in lines if value).encode(errors="replace")


def read_info(text: bytes) -> Info:
    """Return labels and values of `bag-info.txt`; a line that begins with a space carries on the last."""
    unfolded = re.sub(rb"(\r\n|\r|\n)[ \t]+", b" ", text)
    pairs = (line.partition(":") for line in _lines(unfolded) if ":" in line)
    return tuple((label.strip(), value.strip()) for label, _, value in pairs)


def human_size(octets: int) -> str:
    """Return a size as people say it: "2.3 MB"."""
    size, unit = float(octets), "B"
    for larger in ("kB", "MB", "GB", "TB"):
        if size < 1000:  # noqa: PLR2004 - the step from one unit to the next
            break
        size, unit = size / 1000, larger
    return f"{size:.0f} {unit}" if unit == "B" else f"{size:.1f} {unit}"


# ---- reading ----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Bag:
    """A bag that is open to be read.

    Attributes:
        folder: Where it is.
        payload: Digests by path, "data/" before each.
        info: What `bag-info.txt` says.
        entry: What the catalog knows of the job.
        removed: The list of what was removed for privacy, as JSON text; empty where nothing was.
        listed_files: The path of every file that is to be there.
        seal: SHA-256 of the tag manifest, and so of all that the bag holds.
    """

    folder: Path
    payload: Mapping[str, Digests]
    info: Info
    entry: JobEntry
    removed: bytes
    listed_files: frozenset[str]
    seal: str

    @classmethod
    def open(cls, folder: Path) -> Bag:
        """Read the manifests and the entry of a bag; its other files are not looked at.

        Raises:
            CorruptBag: They are not what they should be.
        """
        try:
            listed = both_manifests(folder, TAG_MANIFESTS)
            tags = {name: _check(folder, name, made) for name, made in listed.items()}
            payload = both_manifests(folder, MANIFESTS)
            _revisions(payload)
            return cls(
                folder=folder,
                payload=payload,
                info=read_info(tags[INFO_FILE]),
                entry=read_entry(tags[ENTRY_FILE]),
                removed=tags.get(REMOVED_FILE, b""),
                listed_files=frozenset({*payload, *tags, *TAG_MANIFESTS}),
                seal=seal_of(folder),
            )
        except (OSError, ValueError, KeyError) as fault:
            raise CorruptBag(f"{folder}: cannot be read as a bag: {fault}") from None

    @property
    def job(self) -> str:
        """The id of the job."""
        return self.entry.job

    @property
    def revisions(self) -> tuple[int, ...]:
        """The revisions whose documents the bag holds, in order."""
        return _revisions(self.payload)

    def read(self, path: str) -> bytes:
        """Return a file of the payload.

        Raises:
            KeyError: There is none at this path.
            CorruptBag: It is not what the manifests say.
        """
        try:
            return _check(self.folder, path, self.payload[path])
        except (OSError, ValueError) as fault:
            raise CorruptBag(f"{self.folder}: {fault}") from None

    def issue(self, revision: int) -> dict[str, bytes]:
        """Return the files of one issue, by their names in the deposit."""
        folder = issue_folder(revision)
        return {
            path.removeprefix(folder): self.read(path) for path in self.payload if path.startswith(folder)
        }


def seal_of(folder: Path) -> str:
    """Return the seal of a bag, see `Bag`."""
    return sha256(read_regular(folder / TAG_MANIFESTS[0])).hexdigest()


def issue_folder(revision: int) -> str:
    """Return the folder of one issue inside the bag."""
    return f"{ISSUES_FOLDER}{revision:04}/"


def _revisions(payload: Iterable[str]) -> tuple[int, ...]:
    """Return the revisions among the paths of a payload, in order.

    Raises:
        ValueError: The folder of an issue has another name than `issue_folder` gives.
    """
    issues = [path for path in payload if path.startswith(ISSUES_FOLDER)]
    names = {path.removeprefix(ISSUES_FOLDER).split("/")[0] for path in issues}
    if odd := sorted(name for name in names if not re.fullmatch(r"[0-9]{4,9}", name)):
        raise ValueError(f"{ISSUES_FOLDER}{odd[0]} is not the folder of an issue")
    return tuple(sorted(map(int, names)))


def _check(folder: Path, path: str, expected: Digests) -> bytes:
    data = read_regular(folder / path)
    if digests(data) != expected:
        raise ValueError(f"{path} was changed")
    return data
