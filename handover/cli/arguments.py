"""The commands and their options."""

from __future__ import annotations

from argparse import SUPPRESS, ArgumentParser, HelpFormatter

from handover import __version__
from handover.cli.archive import archive, due, export, find, forget, reindex, verify
from handover.cli.batch import batch, send
from handover.cli.config import config
from handover.cli.job import check, forecast, issue, new, plan, schema
from handover.cli.output import line_width
from handover.cli.reissue import reissue, watch
from handover.service.job_states import STATE_WORDS

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable

    from handover.cli.options import Options

    Command = Callable[[str, Callable[[Options], int | None], str], ArgumentParser]

DESCRIPTION = """\
Cure-care documents for a concrete slab on ground: from what the crew wrote down and the hourly forecast
to a care sheet, calendars and a watering plan for the owner of the slab."""

EPILOG = """\
The dates are cautious estimates. Local codes, the drawings and a licensed engineer come first."""


class _Help(HelpFormatter):
    """The look of --help; told its width, since finding it out costs an import."""

    def __init__(self, prog: str) -> None:
        super().__init__(prog, max_help_position=30, width=line_width())


def build_parser() -> ArgumentParser:
    """Return the parser of every command."""
    parser = ArgumentParser("handover", description=DESCRIPTION, epilog=EPILOG, formatter_class=_Help)
    parser.add_argument("--version", action="version", version=f"handover {__version__}")
    parser.add_argument(
        "--trace", action="store_true", help="tell each step; on a failure, show where in the program it was"
    )
    parser.add_argument(
        "--settings", metavar="FILE", help="the settings file (that of HANDOVER_SETTINGS, else yours)"
    )
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)

    def command(name: str, run: Callable[[Options], int | None], text: str) -> ArgumentParser:
        each = commands.add_parser(name, help=text, description=text, epilog=EPILOG, formatter_class=_Help)
        each.set_defaults(run=run)
        return each

    each = command("new", new, "write a commented job record to fill in")
    each.add_argument("file", metavar="FILE", help="the new record, such as alder-garage.toml")
    each.add_argument("--use", help='what the slab is for, such as "driveway": offers what is looked at')

    each = command("check", check, "judge a job record: each fault with its line, and how to mend it")
    _job(each)

    each = command("forecast", forecast, "download the hourly forecast for the site and keep it")
    _job(each)
    each.add_argument("-o", "--output", metavar="FILE", required=True, help="the new file to keep it in")

    each = command("plan", plan, "print the schedule of dates and watering")
    _job(each)
    _weather(each)
    _time(each)
    _rules(each)
    _band(each)
    each.add_argument("--json", action="store_true", help="print the whole schedule as JSON")
    _units(each)

    each = command("issue", issue, "write the whole document set to a folder")
    _job(each)
    _weather(each)
    each.add_argument("-o", "--output", metavar="DIR", required=True, help="the folder to write")
    _time(each)
    _rules(each)
    _band(each)
    _look(each)

    _add_batch_commands(command)
    _add_archive_commands(command)
    _add_reissue_commands(command)

    each = command("config", config, "print each setting, its value and where the value comes from")
    _archive(each, "--in")
    _typical(each)
    _look(each)
    _workers(each)
    each.add_argument("--json", action="store_true", help="print JSON lines, one a setting")

    each = command("schema", schema, "print the JSON Schema of a job record or of a schedule")
    each.add_argument("shape", choices=("job", "schedule"), help="which")
    return parser


def _add_batch_commands(command: Command) -> None:
    """Add the commands for many jobs at once."""
    each = command("batch", batch, "write the document set of every job record in a folder")
    each.add_argument("folder", metavar="FOLDER", help="job records (TOML or JSON), at any depth")
    each.add_argument("-o", "--output", metavar="OUT", required=True, help="where each job gets a folder")
    each.add_argument(
        "-w",
        "--weather",
        metavar="PATH",
        help="a weather file for all, or a folder of files named like the records; without it, the file "
        "named like the record beside it, else downloaded once for all sites of a grid cell",
    )
    each.add_argument("--to", metavar="ARCHIVE", help="file each set in this archive as well")
    _catalog(each)
    _workers(each)
    each.add_argument(
        "--scheduler", metavar="ADDRESS", help="have a Dask cluster do the work, such as tcp://server:8786"
    )
    _time(each)
    _rules(each)
    _band(each)
    _look(each)

    each = command("send", send, "send the message of each issued folder to its owner")
    each.add_argument("jobs", metavar="JOB", nargs="+", help="a folder that was issued, or its message.eml")
    each.add_argument(
        "--settings", metavar="FILE", default=SUPPRESS, help="the settings file, as before the command"
    )
    each.add_argument("--dry-run", action="store_true", help="only say what would go to whom")
    each.add_argument("--again", action="store_true", help="send also what was sent before")


def _add_archive_commands(command: Command) -> None:
    """Add the commands of the office."""
    each = command("archive", archive, "file what was issued with the office, a bag a job")
    each.add_argument(
        "jobs",
        metavar="JOB_OR_FOLDER",
        nargs="+",
        help="an issued folder, a folder of such folders, or a job record beside its issued folder; what is "
        "in the archive already changes nothing",
    )
    _archive(each, "--to", "the archive to file to; made where there is none")

    each = command("verify", verify, "check every file of an archive, and list what is not as it was")
    _archive(each, "archive")

    each = command("find", find, "find jobs of an archive by word, day and state")
    each.add_argument(
        "words",
        metavar="WORD",
        nargs="*",
        help="words of id, owner, street, contractor, mix, supplier, remarks, all of which must occur; "
        "beginnings of three letters do",
    )
    _archive(each, "--in")
    each.add_argument("--from", metavar="DAY", dest="placed_from", help="placed on this day or later")
    each.add_argument("--until", metavar="DAY", dest="placed_until", help="placed on this day or before")
    each.add_argument(
        "--state",
        action="append",
        choices=tuple(STATE_WORDS),
        help=f"how the job stands: {', '.join(STATE_WORDS)}; each further one narrows it",
    )
    each.add_argument("--as-of", metavar="TIME", help="the time for which the state is asked (now)")
    each.add_argument(
        "--limit", metavar="N", type=_count, help="no more jobs than these (50; all with --json)"
    )
    each.add_argument(
        "--json", action="store_true", help="print JSON lines, one a job with all that is known"
    )

    each = command("due", due, "tell what is to be done on a day: visits, calls, sheets not acknowledged")
    each.add_argument(
        "day",
        metavar="DAY",
        nargs="?",
        default="today",
        help="a date, such as 2026-07-15, or tomorrow (today)",
    )
    _archive(each, "--in")
    each.add_argument(
        "--ics",
        metavar="FILE",
        help="write the crew's visits to a calendar as well; an earlier calendar of that name is replaced",
    )
    each.add_argument("--json", action="store_true", help="print JSON lines, one a thing to be done")
    each.add_argument(
        "--as-of", metavar="TIME", help="the time for which a sheet is not acknowledged (now, or noon UTC)"
    )

    each = command("export", export, "write the catalog of an archive for other programs")
    _archive(each, "archive")
    each.add_argument("-o", "--output", metavar="FILE", help="the new file (printed, where none is named)")
    each.add_argument(
        "--format",
        choices=("csv", "jsonl"),
        help="CSV, or JSON lines with tasks and all (by the ending of FILE: .csv, .jsonl or .json; else CSV)",
    )

    each = command(
        "forget", forget, "remove an owner's personal data from bag and catalog; the technical record stays"
    )
    each.add_argument("job", metavar="JOB", help="the id of the job, as `handover find` tells it")
    _archive(each, "--in")
    each.add_argument("--yes", action="store_true", help="do not ask whether it is meant")

    each = command("reindex", reindex, "make the catalog of an archive anew from its bags")
    _archive(each, "archive")


def _add_reissue_commands(command: Command) -> None:
    """Add the commands that issue archived jobs again."""
    each = command("reissue", reissue, "issue an archived job again, where something is new")
    each.add_argument(
        "job",
        metavar="JOB",
        help="the id of the job, or its record (TOML or JSON) with what has been added since: tickets, "
        "cylinders, a temperature log, what was mended, the owner's signature; a record that says something "
        "new is issued even if no date moves",
    )
    _weather(each)
    each.add_argument("--same-weather", action="store_true", help="keep the weather of the last issue")
    each.add_argument("-o", "--output", metavar="DIR", help="the folder to write (named like the job)")
    each.add_argument("--anyway", action="store_true", help="even if no date moved enough to matter")
    _archive(each, "--in")
    _time(each)
    _templates(each)

    each = command("watch", watch, "issue again every job that is curing, where today's forecast matters")
    each.add_argument(
        "-o", "--output", metavar="OUT", required=True, help="where a job that is issued again gets a folder"
    )
    _archive(each, "--in")
    _time(each)
    _templates(each)


def _archive(parser: ArgumentParser, name: str, about: str = "the archive") -> None:
    """Add an archive, by place or by option, and where its catalog is."""
    text = f"{about} (that which HANDOVER_ARCHIVE in the environment names)"
    if name == "archive":
        parser.add_argument(name, metavar="ARCHIVE", nargs="?", help=text)
    else:
        parser.add_argument(name, metavar="ARCHIVE", dest={"--in": "archive"}.get(name, "to"), help=text)
    _catalog(parser)


def _catalog(parser: ArgumentParser) -> None:
    parser.add_argument(
        "--catalog",
        metavar="URL",
        help="the PostgreSQL database that the catalog is in (that of HANDOVER_CATALOG, else a file beside "
        "the bags)",
    )


def _job(parser: ArgumentParser) -> None:
    parser.add_argument("job", metavar="JOB", help="the job record (TOML or JSON)")


def _weather(parser: ArgumentParser) -> None:
    parser.add_argument(
        "-w",
        "--weather",
        metavar="FILE",
        help="hourly weather of any kind we read; without it, downloaded",
    )


def _time(parser: ArgumentParser) -> None:
    parser.add_argument(
        "--as-of", metavar="TIME", help="time of issue, such as 2026-07-14T12:30:00-04:00 (now)"
    )


def _rules(parser: ArgumentParser) -> None:
    parser.add_argument(
        "--rules",
        metavar="COUNTRY",
        help="whose rules: us, ca, eu, de, gb, au, in, or strictest (those of the site's country)",
    )


def _band(parser: ArgumentParser) -> None:
    parser.add_argument(
        "--sure",
        metavar="PERCENT",
        type=_percent,
        default=90,
        help='how sure a "not before" is to be, 60 to 99 (90)',
    )
    _typical(parser)


def _typical(parser: ArgumentParser) -> None:
    parser.add_argument(
        "--typical",
        metavar="FILE",
        help="a typical year of the place (TMY3, EPW), for the hours past the forecast",
    )


def _look(parser: ArgumentParser) -> None:
    parser.add_argument("--language", metavar="CODES", help="such as en,es; without it, the owner's")
    parser.add_argument("--paper", choices=("letter", "a4"), help="size of the sheets (letter)")
    _units(parser)
    _templates(parser)


def _templates(parser: ArgumentParser) -> None:
    parser.add_argument(
        "--templates", metavar="DIR", help="texts and pages of your own that stand in for ours"
    )


def _units(parser: ArgumentParser) -> None:
    parser.add_argument(
        "--units", choices=("us", "si"), help="the reader's units (those of most measures in the record)"
    )


def _workers(parser: ArgumentParser) -> None:
    parser.add_argument("--workers", metavar="N", type=_count, help="processes at work (one a core)")


def _count(text: str) -> int:
    """Return how many, one at least; argparse says what else is wrong."""
    count = int(text)
    if count < 1:
        raise ValueError
    return count


def _percent(text: str) -> int:
    """Return how sure a date is to be."""
    from argparse import ArgumentTypeError

    if not (text.isascii() and text.isdigit() and int(text) in SURE):
        raise ArgumentTypeError(f"{text!r} is not {SURE[0]} to {SURE[-1]}")
    return int(text)


SURE = range(60, 100)
"""How sure a date can be. [%]"""


_count.__name__ = "number"  # by which argparse calls it
