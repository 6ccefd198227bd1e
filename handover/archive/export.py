"""The catalog for other programs: CSV and JSON lines."""

from __future__ import annotations

import csv
from dataclasses import fields
from datetime import datetime
from typing import TYPE_CHECKING, Any, TextIO

from handover.archive.entry import JobEntry, entry_line

if TYPE_CHECKING:
    from collections.abc import Iterable

EXPORT_COLUMNS = tuple(each.name for each in fields(JobEntry) if each.name not in {"tasks", "more"})

_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")  # noqa: RUF001 - spreadsheets take these for formulas, too


def export_csv(entries: Iterable[JobEntry], out: TextIO) -> int:
    """Write entries as CSV (RFC 4180), a header first; return how many.

    A text that a spreadsheet would take for a formula gets an apostrophe before it. Open ``out`` with
    ``newline=""``.
    """
    writer = csv.writer(out)
    writer.writerow(EXPORT_COLUMNS)
    count = 0
    for count, entry in enumerate(entries, start=1):  # noqa: B007 - the count is what is returned
        writer.writerow([csv_cell(getattr(entry, name)) for name in EXPORT_COLUMNS])
    return count


def export_jsonl(entries: Iterable[JobEntry], out: TextIO) -> int:
    """Write entries as JSON lines, tasks and all; return how many."""
    count = 0
    for count, entry in enumerate(entries, start=1):  # noqa: B007 - the count is what is returned
        out.write(f"{entry_line(entry)}\n")
    return count


def csv_cell(value: Any) -> str:
    """Return a value as a cell of a CSV that no spreadsheet takes for a formula."""
    match value:
        case None:
            return ""
        case bool():
            return "yes" if value else "no"
        case datetime():
            return value.isoformat()
    text = str(value).encode(errors="replace").decode()  # half of a surrogate pair has no UTF-8
    return f"'{text}" if text.lstrip(" ").startswith(_FORMULA) else text
