"""The catalog for other programs."""

from __future__ import annotations

import csv
import io
import json
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handover.archive.entry import JobEntry, read_entry
from handover.archive.export import EXPORT_COLUMNS, export_csv, export_jsonl

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime


def as_csv(*entries: JobEntry) -> list[list[str]]:
    """Return entries exported and read back by the standard library."""
    out = io.StringIO(newline="")
    assert export_csv(entries, out) == len(entries)
    return list(csv.reader(io.StringIO(out.getvalue(), newline="")))


def test_csv_has_a_header_and_a_line_for_each_job(entry: Callable[..., JobEntry], at: datetime) -> None:
    header, *lines = as_csv(entry(), entry("birch", acknowledged=at, cylinder_low=True, remarks='"a", b\nc'))
    assert header == list(EXPORT_COLUMNS)
    first, second = (dict(zip(header, line, strict=True)) for line in lines)
    assert first["job"] == "2026-07-14-alder"
    assert (first["placed"], first["revision"]) == ("2026-07-14T06:40:00-04:00", "1")
    assert (first["acknowledged"], first["cylinder_low"]) == ("", "no")
    assert (second["acknowledged"], second["cylinder_low"]) == ("2026-07-14T12:30:00-04:00", "yes")
    assert second["remarks"] == '"a", b\nc'


# OWASP, "CSV Injection": these begin a formula; the full-width forms do so in East Asian settings.
@pytest.mark.parametrize("sign", ["=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠", " =", "  @"])  # noqa: RUF001
def test_a_formula_becomes_a_text(entry: Callable[..., JobEntry], sign: str) -> None:
    text = f'{sign}HYPERLINK("http://example.com")'
    _, line = as_csv(entry(owner=text))
    assert line[EXPORT_COLUMNS.index("owner")] == f"'{text}"


def test_what_is_no_formula_stays_as_it_is(entry: Callable[..., JobEntry]) -> None:
    _, line = as_csv(entry(owner="O'Prueba-Lee", street="12 = 12"))
    assert line[EXPORT_COLUMNS.index("owner")] == "O'Prueba-Lee"
    assert line[EXPORT_COLUMNS.index("street")] == "12 = 12"


@given(st.text("=+-@\t\r\n ab,\"'\ud800"))
def test_no_cell_of_any_export_begins_a_formula(text: str) -> None:
    placed = read_entry('{"version": 1, "tasks": [], "job": "a", "placed": "2026-07-14T06:40:00-04:00",'
                        ' "issued": "2026-07-14T06:40:00-04:00", "revision": 1}')  # fmt: skip
    _, line = as_csv(JobEntry(text, placed.placed, 1, placed.issued, remarks=text))
    assert not any(cell.lstrip(" ").startswith(("=", "+", "-", "@", "\t", "\r", "\n")) for cell in line)


def test_json_lines_hold_everything(entry: Callable[..., JobEntry], at: datetime) -> None:
    entries = [entry(remarks="=1+1\u2028 \ud800", acknowledged=at), entry("birch")]
    out = io.StringIO()
    assert export_jsonl(entries, out) == 2
    lines = out.getvalue().split("\n")
    assert [read_entry(line) for line in lines[:-1]] == entries
    assert json.loads(lines[0])["tasks"][0]["kind"] == "strip-edge-forms"
    assert lines[-1] == ""
    out.getvalue().encode()


def test_nothing_to_export_is_a_header_and_no_lines() -> None:
    assert as_csv() == [list(EXPORT_COLUMNS)]
    assert export_jsonl([], io.StringIO()) == 0
