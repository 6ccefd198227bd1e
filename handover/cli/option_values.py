"""The meaning of options: paths, times, inputs, files that must not exist yet."""

from __future__ import annotations

import os

from handover.cli.output import print_cautions, shell_word

TYPE_CHECKING = False
if TYPE_CHECKING:
    from datetime import date, datetime
    from pathlib import Path

    from handover.archive.store import Archive
    from handover.cli.arguments import Options
    from handover.service.inputs import JobInputs
    from handover.service.settings import Settings


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


def service_key() -> str | None:
    """Return the customer's key for the forecast service; a secret does not belong on a command line."""
    return os.environ.get("HANDOVER_OPEN_METEO_KEY")


def time_of_issue(options: Options) -> datetime:
    """Return the time of issue: that of --as-of, else now."""
    from datetime import datetime

    from handover.errors import Finding, UnusableInput

    if options.as_of is None:
        return now()
    try:
        time = datetime.fromisoformat(options.as_of)
        problem = None if time.tzinfo else "does not say its offset from UTC"
    except ValueError:
        problem = "is not a time"
    if problem is None:
        return time
    finding = Finding(
        f'"{options.as_of}" {problem}',
        field="--as-of",
        expected="a date, a time and its offset from UTC",
        example="2026-07-14T12:30:00-04:00",
    )
    raise UnusableInput([finding])


def read_inputs_of(options: Options, as_of: datetime) -> JobInputs:
    """Read the job record and the weather of a command; print cautions."""
    from handover.service.inputs import read_inputs

    weather = to_path(options.weather) if options.weather else None
    typical = to_path(options.typical) if options.typical else None
    received = read_inputs(to_path(options.job), weather, as_of, key=service_key(), typical=typical)
    print_cautions(received.cautions)
    return received


def open_archive(folder: str | None, catalog: str | None = None) -> Archive:
    """Return the archive of a folder, else of HANDOVER_ARCHIVE; its catalog likewise."""
    from handover.archive.store import Archive
    from handover.errors import Finding, UnusableInput

    named = folder or os.environ.get("HANDOVER_ARCHIVE")
    if not named:
        finding = Finding(
            "no archive is specified",
            expected="its folder, on the command line or in the environment variable HANDOVER_ARCHIVE",
            example="handover find alder --in /srv/archive",
        )
        raise UnusableInput([finding])
    return Archive(to_path(named), catalog or os.environ.get("HANDOVER_CATALOG") or None)


def open_existing_archive(folder: str | None, catalog: str | None = None) -> Archive:
    """Return an archive as `open_archive` does, but refuse one that does not exist."""
    from handover.errors import Finding, UnusableInput

    archive = open_archive(folder, catalog)
    if not archive.bags.is_dir():
        finding = Finding(
            "is not an archive",
            file=str(archive.folder),
            expected="a folder that `handover archive` has written to",
            example=f"handover archive out/alder-garage --to {shell_word(archive.folder)}",
        )
        raise UnusableInput([finding])
    return archive


def parse_day(text: str, field: str) -> date:
    """Return the day of a text: a date, today or tomorrow."""
    from datetime import date, timedelta

    from handover.errors import Finding, UnusableInput

    today = now().astimezone().date()
    match text:
        case "today":
            return today
        case "tomorrow":
            return today + timedelta(days=1)
    try:
        return date.fromisoformat(text)
    except ValueError:
        pass
    expected = "a date, today or tomorrow"
    raise UnusableInput(
        [Finding(f'"{text}" is not a date', field=field, expected=expected, example="2026-07-14")]
    )


def settings_of(options: Options) -> Settings:
    """Return the choices of an issue."""
    from handover.service.settings import Settings

    return Settings(
        languages=tuple(options.language.split(",")) if options.language else None,
        units=options.units,
        paper=options.paper,
        templates=to_path(options.templates) if options.templates else None,
        rules=options.rules,
        share=options.sure / 100,
    )


def refuse_existing(name: str) -> None:
    """Refuse a file that exists already, and one without a name."""
    from handover.errors import Finding, UnusableInput

    if not name:
        problem = "the name of the file to write is empty"
        raise UnusableInput([Finding(problem, expected="a name", example="alder-garage.toml")])
    if os.path.lexists(name):
        problem = "already exists and was left unchanged"
        raise UnusableInput([Finding(problem, file=name, expected="the name of a new file")])


def write_new(name: str, content: bytes) -> None:
    """Write a file that does not exist yet."""
    from handover.errors import Finding, UnusableInput

    refuse_existing(name)
    try:
        with to_path(name).open("xb") as file:
            file.write(content)
    except OSError as fault:
        raise UnusableInput([Finding(f"cannot be written: {fault.strerror}", file=name)]) from None
