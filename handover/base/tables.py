"""Tables of comma-separated values: rows with the numbers of their lines, words of a heading, cells.

A line of column names, then one row on each line; a comma, a semicolon or a tab between cells, whichever the
line of names has most of. With semicolons a comma in a number is its decimal point. Lines before the names
may be empty or begin with "#".
"""

from __future__ import annotations

import csv
import re
import unicodedata
from dataclasses import dataclass
from datetime import datetime
from math import nan
from typing import Any

EMPTY_CELLS = frozenset({"", "na", "n/a", "nan", "null", "none", "-", "--"})
"""What programs write where they have no value, in small letters."""

# Sixteen digits and more before the point are no measurement; programs write up to 17 significant digits.
_NUMBER = re.compile(r"[+-]?([0-9]{1,15}(\.[0-9]{0,30})?|\.[0-9]{1,30})(e[+-]?[0-9]{1,2})?", re.IGNORECASE)
_UTC = re.compile(r"\s*(utc|gmt)$", re.IGNORECASE)
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")  # noqa: RUF001 - spreadsheets take these for formulas, too
_BETWEEN_WORDS = re.compile(r"[^a-z0-9°%]+")


@dataclass(frozen=True)
class Row:
    """A row that has something in it, with the number of its last line in the file."""

    line: int
    cells: list[str]


@dataclass(frozen=True)
class Table:
    """A table as far as it could be read.

    Attributes:
        preamble: Lines before the line of column names.
        rows: Rows, the line of column names first.
        delimiter: What separates cells.
        size: How many lines there are from the line of column names on.
        fault: What the text cannot be read beyond; None where all was read.
        fault_line: Line of it.
    """

    preamble: tuple[str, ...]
    rows: tuple[Row, ...]
    delimiter: str
    size: int
    fault: str | None = None
    fault_line: int | None = None

    @property
    def decimal(self) -> str:
        """The decimal point of numbers."""
        return "," if self.delimiter == ";" else "."


def read_rows(text: str, most: int | None = None) -> Table:
    """Return the rows of a text; none where it has more lines than `most`."""
    lines = text.splitlines()
    start = 0
    while start < len(lines) and (not lines[start].strip() or lines[start].startswith("#")):
        start += 1
    preamble, body = tuple(lines[:start]), lines[start:]
    delimiter = max(",;\t", key=body[0].count) if body else ","
    rows: list[Row] = []
    if most is not None and len(body) > most:
        return Table(preamble, (), delimiter, len(body))
    reader = csv.reader(body, delimiter=delimiter)
    try:
        rows.extend(
            Row(start + reader.line_num, cells) for cells in reader if any(cell.strip() for cell in cells)
        )
    except csv.Error as error:
        return Table(preamble, tuple(rows), delimiter, len(body), str(error), start + reader.line_num)
    return Table(preamble, tuple(rows), delimiter, len(body))


def heading_words(title: str) -> list[str]:
    """Return the words of a column's name, in small letters without accents: "Air temp [degF]" has three."""
    plain = "".join(each for each in unicodedata.normalize("NFKD", title) if not unicodedata.combining(each))
    return [word for word in _BETWEEN_WORDS.split(plain.lower()) if word]


def parse_cell(text: str, decimal: str = ".") -> float | None:
    """Return the number in a cell: NaN for an empty one, None where it is not a number."""
    text = text.strip()
    if text.lower() in EMPTY_CELLS:
        return nan
    plain = text.replace(",", ".") if decimal == "," else text
    return float(plain) if _NUMBER.fullmatch(plain) else None


def spell_offset(time: str) -> str:
    """Return a time in which "UTC" or "GMT" at the end is written as an offset: "2026-07-14 06:00+00:00"."""
    return _UTC.sub("+00:00", time.strip())


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
