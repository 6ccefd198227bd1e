"""The meaning of options: paths, times, inputs, files that must not exist yet."""

from __future__ import annotations

import os

from handover.cli.output import shell_word

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import date, datetime
    from pathlib import Path

    from handover.archive.store import Archive
    from handover.cli.options import Options
    from handover.service.config import Config
    from handover.service.issuing import IssueRequest
    from handover.service.settings import Settings
    from handover.service.worker_limits import Limits


def to_path(text: str) -> Path:
    """Return a path; only commands that need one import pathlib."""
    from pathlib import Path

    return Path(text)


def now() -> datetime:
    """Read the clock, to the second; nothing else does."""
    from datetime import UTC, datetime

    return datetime.now(UTC).replace(microsecond=0)


def require_engine() -> None:
    """Refuse to start a command that makes PDFs where the PDF engine cannot work."""
    from handover.documents.engine import require_libraries

    require_libraries()


def config_of(options: Options) -> Config:
    """Return the settings, read once a run: defaults, the file, the environment, options."""
    from handover.service.config import SETTINGS
    from handover.service.config_sources import read_config

    if options.config is None:
        named = {name: getattr(options, name, None) for name in SETTINGS}
        named["archive"] = getattr(options, "archive", None) or getattr(options, "to", None)
        file = to_path(options.settings) if options.settings else None
        options.config = read_config(file, os.environ, named)
    return options.config


def limits_of(options: Options) -> Limits:
    """Return what a worker may take for one job."""
    from handover.service.worker_limits import Limits

    config = config_of(options)
    return Limits(config.worker_memory_mb, config.worker_time_s)


def time_of_issue(options: Options, zone_of: Callable[[], str | None] | None = None) -> datetime:
    """Return the time of issue: that of --as-of, else now.

    Without an offset from UTC it is on the clock of the site, where the command is about the record of one,
    or `zone_of` returns its zone.
    """
    if options.as_of is None:
        return now()
    from handover.service.time_of_issue import read_time_of_issue

    job = getattr(options, "job", "")
    record = to_path(job) if job and to_path(job).is_file() else None
    return read_time_of_issue(options.as_of, record, zone_of)


def request_of(options: Options, settings: Settings) -> IssueRequest:
    """Return the request for the set of the job and the weather that were named."""
    from handover.service.issuing import read_request

    config = config_of(options)
    return read_request(
        to_path(options.job),
        to_path(options.weather) if options.weather else None,
        time_of_issue(options),
        settings=settings,
        typical=config.typical,
        key=config.open_meteo_key,
    )


def open_archive(options: Options) -> Archive:
    """Return the archive that the settings name, with its catalog."""
    from handover.archive.store import Archive
    from handover.errors import UnusableInput

    config = config_of(options)
    if config.archive is None:
        raise UnusableInput.with_finding(
            "no archive is specified",
            expected="its folder, on the command line, in the environment variable HANDOVER_ARCHIVE, or in "
            "the settings",
            example="handover find alder --in /srv/archive",
        )
    return Archive(config.archive, config.catalog, group=config.archive_group)


def open_existing_archive(options: Options) -> Archive:
    """Return an archive as `open_archive` does, but refuse one that does not exist."""
    from handover.errors import UnusableInput

    archive = open_archive(options)
    if not archive.bags.is_dir():
        raise UnusableInput.with_finding(
            "is not an archive",
            file=str(archive.folder),
            expected="a folder that `handover archive` has written to",
            example=f"handover archive out/alder-garage --to {shell_word(archive.folder)}",
        )
    return archive


def parse_day(text: str, field: str) -> date:
    """Return the day of a text: a date as in a record, yesterday, today, tomorrow, or a weekday.

    A weekday ("Monday", "mon") is the first one that is not before today.
    """
    from calendar import day_name
    from datetime import timedelta

    from handover.base.time_text import read_time_text
    from handover.errors import UnusableInput

    today = now().astimezone().date()
    ahead = {"yesterday": -1, "today": 0, "tomorrow": 1}
    for number, name in enumerate(each.casefold() for each in day_name):
        ahead[name] = ahead[name[:3]] = (number - today.weekday()) % 7
    from_today = ahead.get(text.strip().casefold())
    if from_today is not None:
        return today + timedelta(days=from_today)
    readings = read_time_text(text)
    days = [] if readings is None or readings.clocks else sorted(set(readings.days.values()))
    if len(days) == 1:
        return days[0]
    raise UnusableInput.with_finding(
        f'"{text}" has more than one reading' if days else f'"{text}" is not a date',
        field=field,
        expected=" or ".join(map(str, days)) if days else "a date, yesterday, today, tomorrow or a weekday",
        example=str(days[0]) if days else "2026-07-14",
    )


def settings_of(options: Options) -> Settings:
    """Return the choices of an issue."""
    from handover.service.settings import Settings

    config = config_of(options)
    return Settings(
        languages=config.language,
        units=config.units,
        paper=config.paper,
        templates=config.templates,
        rules=options.rules,
        share=options.sure / 100,
        firm_language=config.firm_language,
    )


def refuse_existing(name: str) -> None:
    """Refuse a file that exists already, and one without a name."""
    from handover.errors import UnusableInput

    if not name:
        problem = "the name of the file to write is empty"
        raise UnusableInput.with_finding(problem, expected="a name", example="alder-garage.toml")
    if os.path.lexists(name):
        problem = "already exists and was left unchanged"
        raise UnusableInput.with_finding(problem, file=name, expected="the name of a new file")


def write_new(name: str, content: bytes) -> None:
    """Write a file that does not exist yet."""
    from handover.base.atomic import create_file
    from handover.errors import UnusableInput

    refuse_existing(name)
    try:
        create_file(to_path(name), content)
    except OSError as fault:
        raise UnusableInput.with_finding(f"cannot be written: {fault.strerror}", file=name) from None
