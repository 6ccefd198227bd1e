"""Campaigns: cases drawn from a seed, tried for as long as there is time; a fault can be tried again.

A campaign is a function that draws one case, tries it, and raises where the program is at fault. What it
draws depends on seed, name and number of the case alone. What it puts into its folder is kept with a fault.
"""

from __future__ import annotations

import traceback
import warnings
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from shutil import rmtree
from time import monotonic
from typing import TYPE_CHECKING

import handover

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

PROGRAM = str(Path(handover.__file__).parent)

MOST_ALIKE = 3
"""Faults of one kind whose cases are kept; the others are counted."""


@dataclass(frozen=True)
class Case:
    """One case: its random draws, a folder of its own, and what it counts, by row and column of a table."""

    random: Random
    folder: Path
    counts: Counter[tuple[str, str]] = field(default_factory=Counter)

    def keep(self, name: str, data: bytes) -> Path:
        """Write a file of the case; return it."""
        file = self.folder / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(data)
        return file


@dataclass(frozen=True)
class Campaign:
    """A kind of case: what it is called, what tries one, and how many are tried in the suite."""

    name: str
    attempt: Callable[[Case], None]
    in_suite: int


@dataclass(frozen=True)
class Fault:
    """A case at which the program failed: what was raised where, the whole trace, and its folder."""

    campaign: str
    number: int
    kind: str
    trace: str
    folder: Path


@dataclass
class Tally:
    """What came of a campaign: cases tried, seconds taken, faults, and what its cases counted."""

    tried: int = 0
    seconds: float = 0.0
    faults: list[Fault] = field(default_factory=list)
    counts: Counter[tuple[str, str]] = field(default_factory=Counter)


CAMPAIGNS: dict[str, Campaign] = {}


def campaign(*, in_suite: int) -> Callable[[Callable[[Case], None]], Callable[[Case], None]]:
    """Register a function as a campaign, under its name."""

    def register(attempt: Callable[[Case], None]) -> Callable[[Case], None]:
        name = attempt.__name__.replace("_", " ")
        CAMPAIGNS[name] = Campaign(name, attempt, in_suite)
        return attempt

    return register


def try_case(
    tried: Campaign, seed: int, number: int, folder: Path, counts: Counter[tuple[str, str]] | None = None
) -> Fault | None:
    """Try one case; return its fault, and add to the counts. The folder stays only with a fault."""
    own = folder / f"{tried.name.replace(' ', '-')}-{number}"
    rmtree(own, ignore_errors=True)
    own.mkdir(parents=True)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")  # a user would read it on the terminal
            draws = Random(f"{seed} {tried.name} {number}")  # noqa: S311 - no secret
            tried.attempt(Case(draws, own, Counter() if counts is None else counts))
    except Exception as fault:  # noqa: BLE001 - whatever it is, it is the find
        trace = "".join(traceback.format_exception(fault))
        kind = f"{type(fault).__name__} at {_place(fault)}"
        (own / "fault.txt").write_text(f"seed {seed}, case {number} of {tried.name}\n\n{trace}", "utf-8")
        return Fault(tried.name, number, kind, trace, own)
    rmtree(own)
    return None


def _place(fault: BaseException) -> str:
    """Return where the program was when a fault was raised; of a failed check, where the campaign was."""
    frames = traceback.extract_tb(fault.__traceback__)
    ours = [each for each in frames if each.filename.startswith(PROGRAM)]
    last = (ours or frames)[-1]
    return f"{Path(last.filename).name}:{last.lineno}"


def run(
    campaigns: Iterable[Campaign], seed: int, folder: Path, goes_on: Callable[[int], bool]
) -> dict[str, Tally]:
    """Try cases while that goes on after so many of them; each campaign has an equal share of the time."""
    tallies = {each.name: Tally() for each in campaigns}
    kinds: Counter[tuple[str, str]] = Counter()
    while goes_on(sum(each.tried for each in tallies.values())):
        start = monotonic()
        name = min(tallies, key=lambda each: tallies[each].seconds)
        tally = tallies[name]
        fault = try_case(CAMPAIGNS[name], seed, tally.tried, folder, tally.counts)
        tally.tried += 1
        tally.seconds += monotonic() - start
        if fault is not None:
            tally.faults.append(fault)
            kinds[name, fault.kind] += 1
            if kinds[name, fault.kind] > MOST_ALIKE:
                rmtree(fault.folder)
    return tallies


def report(tallies: dict[str, Tally], seed: int) -> Iterable[str]:
    """Yield the lines of the table, what was counted, then each kind of fault with a case to try again."""
    yield f"{'campaign':<22}{'tried':>8}{'faults':>8}"
    for name, tally in tallies.items():
        yield f"{name:<22}{tally.tried:>8}{len(tally.faults):>8}"
    for name, tally in tallies.items():
        yield from _table(name, tally.counts)
    for name, tally in tallies.items():
        for kind, count in Counter(each.kind for each in tally.faults).items():
            first = next(each for each in tally.faults if each.kind == kind)
            yield f"\n{name}: {kind}, {count} times\n    {first.trace.strip().splitlines()[-1][:200]}"
            yield f"    {first.folder}"
            yield f"    python tests/campaigns --seed {seed} --only '{name}' --case {first.number}"


def _table(name: str, counts: Counter[tuple[str, str]]) -> Iterable[str]:
    """Yield the lines of a table of counts: what was done to whom."""
    rows, columns = (sorted({each[place] for each in counts}) for place in (0, 1))
    if rows:
        yield f"\n{name:<22}" + "".join(f"{each:>13}" for each in columns)
    for row in rows:
        yield f"{row:<22}" + "".join(f"{counts[row, each]:>13}" for each in columns)
