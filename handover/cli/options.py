"""The options of all commands, as argparse fills them in."""

from __future__ import annotations

from argparse import Namespace

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Literal

    from handover.service.config import Config


class Options(Namespace):
    """The options of a command line."""

    run: Callable[[Options], int | None]
    job: str
    jobs: list[str]
    sets: list[str]
    file: str
    use: str | None
    ask: bool
    output: str
    weather: str | None
    as_of: str | None
    climate: str | None
    typical: str | None
    sure: int
    rules: str | None
    json: bool
    starts_from: str | None
    starts_until: str | None
    crew_hours: float | None
    svg: str | None
    pdf: str | None
    language: str | None
    firm_language: str | None
    paper: Literal["letter", "a4"] | None
    units: Literal["us", "si"] | None
    templates: str | None
    shape: Literal["job", "schedule", "starts"]
    dry_run: bool
    again: bool
    folder: str
    to: str | None
    catalog: str | None
    archive: str | None
    words: list[str]
    placed_from: str | None
    placed_until: str | None
    state: list[str] | None
    limit: int | None
    day: str
    ics: str | None
    format: Literal["csv", "jsonl"] | None
    yes: bool
    repair: bool
    same_weather: bool
    anyway: bool
    workers: int | None
    scheduler: str | None
    listen: str
    url: str | None
    behind_proxy: bool
    action: Literal["new", "withdraw"]
    name: str
    settings: str | None = None
    trace: bool = False
    writes: bool = True
    config: Config | None = None
