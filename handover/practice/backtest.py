"""What came of dates in real weather: how often later than printed, and for which share of members to wait.

``python tests/benchmarks/backtest.py --data FILE`` writes the data, backtest.toml.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

SEASONS = ("winter", "spring", "summer", "fall")
_HALF_YEAR = 6


@dataclass(frozen=True)
class BacktestRow:
    """What came of one date in the pours of one season.

    Attributes:
        milestone: Kind of the date.
        season: One of `SEASONS`.
        pours: How many pours there were.
        not_printed: Share of the pours in which it was not printed. [1]
        too_early: Share of what came out later than printed, of the pours in which it was printed. [1]
        median_later: How much later than needed it was printed, median. [h]
    """

    milestone: str
    season: str
    pours: int
    not_printed: float
    too_early: float
    median_later: float


@dataclass(frozen=True)
class Backtest:
    """The data.

    Attributes:
        share: Share of the slabs that were to meet a date. [1]
        levels: Share of the members that a date waits for to that end, by milestone, learnt on half of the
            pours. Those that were not tested wait for ``share``. [1]
        rows: By milestone and season.
    """

    share: float
    levels: dict[str, float]
    rows: dict[tuple[str, str], BacktestRow]


@cache
def backtest() -> Backtest:
    """Return what came of the dates."""
    table = tomllib.loads(files("handover.practice").joinpath("backtest.toml").read_text(encoding="utf-8"))
    rows = [
        BacktestRow(name, season, *values)
        for name, seasons in table["seasons"].items()
        for season, values in seasons.items()
    ]
    return Backtest(table["share"], table["levels"], {(each.milestone, each.season): each for each in rows})


def season_of(month: int, latitude: float | None) -> str:
    """Return the season of a month, 1 to 12; that of the north where the latitude is not known."""
    northern = month if latitude is None or latitude >= 0.0 else month + _HALF_YEAR
    return SEASONS[northern % 12 // 3]
