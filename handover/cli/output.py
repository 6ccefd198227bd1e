"""Printing on a terminal: lines of its width, in which text from outside has no effect but to be shown."""

from __future__ import annotations

import os
import sys

from handover.base.text import for_terminal
from handover.cli.exit_codes import FAILED, UNUSABLE

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence
    from contextlib import AbstractContextManager

    from rich.table import Table

    from handover.archive.store import Archive
    from handover.errors import Finding

MAX_WIDTH = 100
"""Widest line that is printed; a narrower terminal gets narrower lines."""


def line_width() -> int:
    """Return how wide a line may be."""
    try:
        columns = int(os.environ.get("COLUMNS") or os.get_terminal_size().columns)
    except (ValueError, OSError):
        columns = MAX_WIDTH
    return max(40, min(columns, MAX_WIDTH))


def shell_word(text: object) -> str:
    """Return a path as one word of a command that can be copied."""
    from shlex import quote

    return quote(str(text))


OPENERS = {"darwin": "open", "win32": 'start ""'}
"""The command that opens a file, where it is not `xdg-open`; `start` takes the first quotes for a title."""


def open_command(path: object) -> str:
    """Return the command that opens a file in the program that the system has for it."""
    word = f'"{path}"' if sys.platform == "win32" else shell_word(path)
    return f"{OPENERS.get(sys.platform, 'xdg-open')} {word}"


def print_changes(sentences: Iterable[str]) -> None:
    """Print what changed since the issue before."""
    for each in sentences:
        print("\n".join(wrap(each)))


def print_error(line: str) -> None:
    """Print a line on standard error."""
    print(line, file=sys.stderr)


def log_steps() -> None:
    """Print each step of an issue as it begins."""
    import logging

    logging.basicConfig(format="%(message)s")
    logging.getLogger("handover").setLevel(logging.INFO)


def print_cautions(findings: Iterable[Finding]) -> None:
    """Print the findings that do not stop the command."""
    for each in findings:
        print_error(f"Caution: {for_terminal(each)}")


def print_error_of(fault: Exception, *, writes: bool = True) -> int:
    """Print what went wrong and how to fix it; return the exit status.

    Args:
        fault: What went wrong.
        writes: Whether the command would have written something: then it is said that it did not.
    """
    from handover.errors import HandoverError, MissingLibraries, UnusableInput

    if isinstance(fault, UnusableInput):
        list_findings(fault.findings, writes=writes)
        return UNUSABLE
    if isinstance(fault, MissingLibraries):
        for line in (fault.problem, *fault.remedy, *_nothing_written(writes)):
            print_error(for_terminal(line))
    elif isinstance(fault, HandoverError):
        print_error(for_terminal(fault))
    elif isinstance(fault, OSError):
        print_error(for_terminal(f"{fault.filename or 'The system'}: {fault.strerror or fault}"))
    else:
        print_error(f"A fault in the program itself: {type(fault).__name__}: {for_terminal(fault)}")
        print_error(" ".join((*_nothing_written(writes), "With --trace before the command, it shows where.")))
    return FAILED


def _nothing_written(writes: bool) -> tuple[str, ...]:
    return ("Nothing was written.",) if writes else ()


def list_findings(findings: Sequence[Finding], *, writes: bool = True) -> None:
    """Print each finding as a paragraph: where, what, what was expected, an example."""
    for each in findings:
        place = ":".join(str(part) for part in (each.file, each.line) if part is not None)
        print_error(for_terminal("  ".join(part for part in (place, each.field) if part)))
        mark = "" if each.severity == "fault" else "Caution: "
        print_error(f"    {mark}{for_terminal(each.problem)}")
        if each.expected:
            print_error(f"    Expected: {for_terminal(each.expected)}")
        if each.example:
            print_error(f"    Example:  {for_terminal(each.example)}")
    faults = sum(each.severity == "fault" for each in findings)
    total = f"{faults} {'fault' if faults == 1 else 'faults'} to fix."
    print_error("\n" + " ".join((total, *_nothing_written(writes))))


def print_trouble(name: object, state: str, lines: Iterable[object]) -> None:
    """Print on standard error what went wrong with one of many jobs."""
    print_error(f"{for_terminal(name)}: {state}")
    for each in lines:
        print_error(f"    {for_terminal(each)}")


def left_out(archive: Archive) -> str:
    """Return how many jobs were left out because a row of the catalog cannot be read; nothing if none was."""
    odd = archive.catalog.unreadable
    if not odd:
        return ""
    jobs = "1 job is" if len(odd) == 1 else f"{len(odd)} jobs are"
    why = next(iter(odd.values()))
    return f"{jobs} left out: a row of the catalog {why}. `handover reindex` names the bag."


def heading(text: str) -> Iterator[str]:
    """Yield a heading with an empty line above it."""
    yield ""
    yield text


def columns(pairs: Iterable[tuple[str, str]], least: int = 26) -> Iterator[str]:
    """Yield the lines of two columns; long text wraps within its column."""
    from rich.table import Column, Table

    rows = [(for_terminal(left), for_terminal(right)) for left, right in pairs]
    wide = max((cells(left) for left, _ in rows), default=0)
    left_width = min(max(least - COLUMN_GAP, wide), line_width() // 2)
    grid = Table(
        Column(width=left_width), Column(), box=None, show_header=False, padding=(0, 0, 0, COLUMN_GAP)
    )
    yield from _lines(grid, rows)


def wrap(text: str, *, first: str = "  ", indent: str = "    ") -> Iterator[str]:
    """Yield the lines of a text, wrapped."""
    import textwrap

    yield from textwrap.wrap(for_terminal(text), line_width(), initial_indent=first, subsequent_indent=indent)


def table(heads: Sequence[str], rows: Iterable[Sequence[object]], least: int | None = None) -> Iterator[str]:
    """Yield the lines of a table as wide as the terminal; long text wraps within its column.

    Where the terminal is too narrow for columns, each row becomes a paragraph.

    Args:
        heads: The headings.
        rows: A text for each column.
        least: Mean width of the columns at which the table is still one; by default one for sentences.
    """
    from rich.table import Column, Table
    from rich.text import Text

    cells = [[for_terminal(each) for each in row] for row in rows]
    width = line_width() - COLUMN_GAP * (len(heads) - 1)
    if width < (MIN_COLUMN_WIDTH if least is None else least) * len(heads):
        for number, row in enumerate(cells):
            if number:
                yield ""
            filled = [(head, each or "-") for head, each in zip(heads, row, strict=True)]
            yield from columns(filled, max(map(len, heads)) + COLUMN_GAP)
        return
    widths = _fit_columns([*zip(heads, *cells, strict=True)], width)
    fixed = (Column(Text(head), width=wide) for head, wide in zip(heads, widths, strict=True))
    yield from _lines(Table(*fixed, box=None, pad_edge=False, padding=(0, COLUMN_GAP, 0, 0)), cells)


COLUMN_GAP = 2
"""Between the columns of a table."""

MIN_COLUMN_WIDTH = 14
"""Width at which a sentence can still be read."""


def _fit_columns(columns: Sequence[Sequence[str]], total: int) -> list[int]:
    """Return the widths of columns, the widest reduced until all fit.

    Words are broken only where nothing else helps, so that an id can be copied. rich by itself would break
    them wherever a column is the widest.
    """
    widths = [max(map(cells, column)) for column in columns]
    longest = (
        max((cells(word) for cell in column for word in cell.split()), default=0) for column in columns
    )
    words = [min(each, total // 3) for each in longest]
    while sum(widths) > total:
        loose = [wide if wide > word else 0 for wide, word in zip(widths, words, strict=True)]
        among = loose if any(loose) else widths
        widths[among.index(max(among))] -= 1
    return widths


def cells(text: str) -> int:
    """Return the width of a text on a terminal: some characters take two columns, some none."""
    from rich.cells import cell_len

    return cell_len(text)


def _lines(grid: Table, rows: Iterable[Sequence[str]]) -> Iterator[str]:
    """Fill a table and yield its lines: text without markup and colours, whatever the terminal."""
    from io import StringIO

    from rich.console import Console
    from rich.text import Text

    for column in grid.columns:
        column.overflow = "fold"
    for row in rows:
        grid.add_row(*map(Text, row))
    out = StringIO()
    console = Console(
        file=out,
        width=line_width(),
        color_system=None,
        force_terminal=False,
        force_jupyter=False,
        legacy_windows=False,
    )
    console.print(grid)
    yield from (line.rstrip(" ") for line in out.getvalue().removesuffix("\n").split("\n"))


def progress_bar(total: int) -> AbstractContextManager[Callable[[object], None]]:
    """Return a function to call after each finished job: it moves a bar on a terminal, else does nothing."""
    from contextlib import contextmanager, nullcontext

    def nobody(_: object) -> None: ...

    @contextmanager
    def bar() -> Iterator[Callable[[object], None]]:
        from rich.console import Console
        from rich.progress import BarColumn, MofNCompleteColumn, Progress, TimeRemainingColumn

        columns = (BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
        with Progress(*columns, console=Console(stderr=True), transient=True) as progress:
            task = progress.add_task("", total=total)
            yield lambda _: progress.advance(task)

    return bar() if sys.stderr.isatty() else nullcontext(nobody)


MAX_LISTED_FAILURES = 20
"""Jobs that went wrong, printed on a terminal; the report has them all."""
