"""What the catalog knows of a job. The bag holds it too, as `entry.json`; the catalog is only an index."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, field, fields
from datetime import datetime
from typing import TYPE_CHECKING, Any, TypeVar

if TYPE_CHECKING:
    from collections.abc import Mapping

ENTRY_VERSION = 1
"""Version of the format of `entry.json`."""

_TYPES: dict[str, set[type]] = {
    "str": {str},
    "int": {int},
    "bool": {bool},
    "datetime": {datetime},
    "datetime | None": {datetime, type(None)},
    "tuple[Task, ...]": {tuple},
    "Mapping[str, Any]": {dict},
}
"""The types that a field may have in a file, by its annotation."""

_YEARS = range(1900, 2300)
MAX_REVISION = 999_999_999
_MAX_DEPTH = 20

_Shape = TypeVar("_Shape", "Task", "JobEntry")


@dataclass(frozen=True)
class Task:
    """Something to do on a job: what kind, from when, until when, and a text if it has one.

    It is due on the days of ``start`` and ``end`` at the site, by the offsets that they carry. ``uid`` is the
    UID of its event in an issued calendar, if there is one.
    """

    kind: str
    start: datetime
    end: datetime | None = None
    text: str = ""
    uid: str = ""

    def __post_init__(self) -> None:
        _require_aware(self)
        if self.end is not None and self.end < self.start:
            raise ValueError(f"task {self.kind} ends before it starts")


@dataclass(frozen=True)
class Contact:
    """The contact for questions about a bag, years later."""

    organization: str = ""
    name: str = ""
    phone: str = ""
    email: str = ""


@dataclass(frozen=True)
class JobEntry:
    """What the catalog knows of a job.

    Attributes:
        job: The id of the job.
        placed: First concrete placed, at the site's offset.
        revision: Of the last issue, from 1.
        issued: Time of the last issue.
        owner, street, contractor, mix, supplier, remarks: Searched by word.
        curing_ends: When curing ends; None if not known.
        frost_until: End of the last period in which frost threatens the slab; None if there is none.
        acknowledged: When the owner acknowledged the last issue; None until then.
        walkthrough_open: An item of the walk-through is still to be repaired.
        cylinder_low: A cylinder broke below the strength that it should have had.
        tasks: What is to be done, and when.
        more: Anything else for the office (phone, language); anything that JSON can hold.
    """

    job: str
    placed: datetime
    revision: int
    issued: datetime
    owner: str = ""
    street: str = ""
    contractor: str = ""
    mix: str = ""
    supplier: str = ""
    remarks: str = ""
    curing_ends: datetime | None = None
    frost_until: datetime | None = None
    acknowledged: datetime | None = None
    walkthrough_open: bool = False
    cylinder_low: bool = False
    tasks: tuple[Task, ...] = ()
    more: Mapping[str, Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        _require_aware(self)
        if self.revision < 1:
            raise ValueError("revisions count from 1")

    @property
    def phone_or_email(self) -> str:
        """The owner with a phone number, else with a mail address, if ``more`` has one."""
        reach = self.more.get("phone") or self.more.get("email") or ""
        return ", ".join(str(each) for each in (self.owner, reach) if each)


def entry_data(entry: JobEntry) -> dict[str, Any]:
    """Return an entry as what JSON can hold: times in ISO 8601 with offset."""
    data = asdict(entry)
    data["tasks"] = [_texts(each) for each in data["tasks"]]
    return {"version": ENTRY_VERSION, **_texts(data)}


def entry_json(entry: JobEntry) -> bytes:
    """Return an entry as JSON text. The same entry gives the same bytes."""
    return f"{entry_line(entry, indent=1)}\n".encode()


def entry_line(entry: JobEntry, indent: int | None = None) -> str:
    """Return an entry as JSON on one line; half of a surrogate pair stays escaped, since it has no UTF-8."""
    text = json.dumps(entry_data(entry), ensure_ascii=False, indent=indent, sort_keys=True)
    return text.encode(errors="backslashreplace").decode()


def read_entry(text: bytes | str) -> JobEntry:
    """Return the entry in a JSON text.

    Raises:
        ValueError: It is not an entry, or of an unknown format.
    """
    try:
        data = json.loads(text)
        if data.pop("version") != ENTRY_VERSION:
            raise ValueError("is of another version")
        data["tasks"] = tuple(_require_types(Task(**_times(Task, each))) for each in data["tasks"])
        return _require_types(JobEntry(**_times(JobEntry, data)))
    except RecursionError:
        raise ValueError("is not the entry of a job: it is nested too deeply") from None
    except (TypeError, KeyError, AttributeError, OverflowError) as fault:
        raise ValueError(f"is not the entry of a job: {fault}") from None


def _require_types(values: _Shape) -> _Shape:
    """Return values whose fields have the types that they should have, in bounds that a catalog can store.

    Raises:
        ValueError: One has not.
    """
    for each in fields(values):
        value: Any = getattr(values, each.name)
        if type(value) not in _TYPES[str(each.type)]:
            raise ValueError(f"is not the entry of a job: {each.name} is of another type")
        if isinstance(value, datetime) and value.year not in _YEARS:
            raise ValueError(f"is not the entry of a job: {each.name} is in the year {value.year}")
    if isinstance(values, JobEntry):
        _check_bounds(values)
    return values


def _check_bounds(entry: JobEntry) -> None:
    if not entry.job:
        raise ValueError("is not the entry of a job: it has no id")
    if entry.revision > MAX_REVISION:
        raise ValueError(f"is not the entry of a job: the revision is {entry.revision}")
    if _is_deeper(entry.more, _MAX_DEPTH):
        raise ValueError("is not the entry of a job: it is nested too deeply")


def _is_deeper(value: Any, levels: int) -> bool:
    """Return whether a JSON value has more levels than that."""
    inside = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    return levels == 0 or any(_is_deeper(each, levels - 1) for each in inside)


def _texts(data: Mapping[str, Any]) -> dict[str, Any]:
    """Return data with its times as texts."""
    return {name: each.isoformat() if isinstance(each, datetime) else each for name, each in data.items()}


def _times(shape: type, data: Mapping[str, Any]) -> dict[str, Any]:
    """Return data with the texts of those fields that are times read."""
    timed = {each.name for each in fields(shape) if "datetime" in str(each.type)}
    return {
        name: datetime.fromisoformat(each) if name in timed and each is not None else each
        for name, each in data.items()
    }


def _require_aware(values: Task | JobEntry) -> None:
    for each in fields(values):
        time = getattr(values, each.name)
        if isinstance(time, datetime) and time.tzinfo is None:
            raise ValueError(f"{each.name} has no time zone")
