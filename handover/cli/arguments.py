"""The commands and their options."""

from __future__ import annotations

from argparse import SUPPRESS, ArgumentParser, HelpFormatter

from handover import __version__
from handover.cli.archive import archive, due, export, find, forget, reindex, verify
from handover.cli.batch import batch, send
from handover.cli.config import config
from handover.cli.desk import serve, token
from handover.cli.job import check, climate, forecast, issue, new, plan, schema
from handover.cli.join import join
from handover.cli.output import line_width
from handover.cli.reissue import reissue, watch
from handover.cli.starts import starts
from handover.service.job_states import STATE_WORDS

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable

    from handover.cli.options import Options

    Command = Callable[[str, Callable[[Options], int | None], str], ArgumentParser]

DESCRIPTION = """\
Compute when a concrete slab on ground sets and hardens, from the job record and the hourly forecast, and
write a care sheet, a watering plan and calendars for its owner."""

EPILOG = """\
The dates are cautious estimates. Local codes, the drawings and a licensed engineer come first."""


_READING = ("check", "plan", "starts", "config", "schema", "send", "verify", "find", "due")
"""Commands that write no file of their own accord: after a fault none says that nothing was written."""

_IN_STEPS = ("archive", "batch", "reissue", "watch", "reindex", "forget", "serve", "token")
"""Commands that write item by item, or more than once: after a fault, part of it may be written."""


class _Help(HelpFormatter):
    """The format of --help. Takes its width as an argument, since finding it costs an import."""

    def __init__(self, prog: str) -> None:
        super().__init__(prog, max_help_position=30, width=line_width())


def build_parser() -> ArgumentParser:
    """Return the parser of every command."""
    parser = ArgumentParser("handover", description=DESCRIPTION, epilog=EPILOG, formatter_class=_Help)
    parser.add_argument("--version", action="version", version=f"handover {__version__}")
    parser.add_argument(
        "--trace",
        action="store_true",
        help="print each step; on a failure, print where in the program it was",
    )
    parser.add_argument(
        "--settings", metavar="FILE", help="the settings file (that of HANDOVER_SETTINGS, else yours)"
    )
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)

    def command(name: str, run: Callable[[Options], int | None], text: str) -> ArgumentParser:
        each = commands.add_parser(name, help=text, description=text, epilog=EPILOG, formatter_class=_Help)
        each.set_defaults(run=run, writes=name not in (*_READING, *_IN_STEPS))
        return each

    _add_record_commands(command)

    each = command("forecast", forecast, "download the hourly forecast for the site to a file")
    _job(each)
    each.add_argument("-o", "--output", metavar="FILE", required=True, help="the new file")
    each.add_argument("--climate", metavar="FILE", help="a new file for the past years of the site as well")

    each = command("climate", climate, "download the same weeks of past years at the site to a file")
    _job(each)
    each.add_argument("-o", "--output", metavar="FILE", required=True, help="the new file")

    _add_starts_command(command)

    each = command("plan", plan, "print the dates and the watering plan")
    _job(each)
    _weather(each)
    _time(each)
    _rules(each)
    _band(each)
    each.add_argument("--json", action="store_true", help="print the whole schedule as JSON")
    _firm_language(each)
    _units(each)

    each = command("issue", issue, "write the complete set of documents to a folder")
    _job(each)
    _weather(each)
    each.add_argument("-o", "--output", metavar="DIR", required=True, help="the folder to write")
    _time(each)
    _rules(each)
    _band(each)
    _look(each)

    _add_join_command(command)
    _add_batch_commands(command)
    _add_archive_commands(command)
    _add_reissue_commands(command)
    _add_desk_commands(command)

    each = command("config", config, "print each setting, its value and where the value comes from")
    _archive(each, "--in")
    _typical(each)
    _look(each)
    _workers(each)
    each.add_argument("--json", action="store_true", help="print JSON lines, one a setting")

    each = command("schema", schema, "print the JSON Schema of a job record, a schedule or compared starts")
    each.add_argument("shape", choices=("job", "schedule", "starts"), help="which one")
    return parser


def _add_record_commands(command: Command) -> None:
    """Add the commands that write and check a record."""
    each = command("new", new, "write a commented job record to fill in")
    each.add_argument("file", metavar="FILE", help="the new record, such as alder-garage.toml")
    each.add_argument("--use", help='what the slab is for, such as "driveway"; adds its usual walk-through')
    each.add_argument(
        "--ask", action="store_true", help="ask the questions here, check each answer, and write the record"
    )

    each = command("check", check, "check a job record: list each fault with its line and how to fix it")
    _job(each)
    each.add_argument(
        "-w",
        "--weather",
        metavar="FILE",
        help="a file of hourly weather, to be checked too; the hours of the record are compared with "
        "its weather, and the crew's work on the surface is printed",
    )
    _time(each)


def _add_join_command(command: Command) -> None:
    """Add the command for several slabs of one site."""
    each = command("join", join, "join the papers of several slabs of one site and owner")
    each.add_argument(
        "sets",
        metavar="SET",
        nargs="+",
        help="the issued folder of each slab; the records have one `project`",
    )
    each.add_argument("-o", "--output", metavar="DIR", required=True, help="the folder to write")
    _time(each)
    _look(each)


def _add_starts_command(command: Command) -> None:
    """Add the command before the pour."""
    each = command("starts", starts, "compare the hours at which the pour may begin")
    _job(each)
    _weather(each)
    each.add_argument(
        "--from",
        metavar="TIME",
        dest="starts_from",
        help="the first start: a day, or a day and an hour of the site, such as 2026-07-14T05:00 "
        "(default: now)",
    )
    each.add_argument(
        "--until",
        metavar="TIME",
        dest="starts_until",
        help="the last start, likewise (default: two days later); a day has starts from 4 am to 4 pm, and "
        "between two hours there is one at every hour",
    )
    each.add_argument(
        "--crew-hours",
        metavar="HOURS",
        type=_hours,
        help="hours that the crew takes to place the concrete (default: as in the record, else by volume)",
    )
    each.add_argument("--svg", metavar="FILE", help="write the picture to a new file")
    each.add_argument("--pdf", metavar="FILE", help="write the page with picture and table to a new file")
    each.add_argument("--json", action="store_true", help="print the comparison as JSON")
    _time(each)
    _rules(each)
    _band(each)
    _look(each)


def _add_batch_commands(command: Command) -> None:
    """Add the commands for many jobs at once."""
    each = command("batch", batch, "issue every job record in a folder")
    each.add_argument("folder", metavar="FOLDER", help="job records (TOML or JSON), at any depth")
    each.add_argument(
        "-o", "--output", metavar="OUT", required=True, help="the folder in which each job gets a folder"
    )
    each.add_argument(
        "-w",
        "--weather",
        metavar="PATH",
        help="a weather file for all records, or a folder of files named like the records (default: the file "
        "of the record's name beside it, else one download for all sites in a grid cell)",
    )
    each.add_argument("--to", metavar="ARCHIVE", help="also archive each set here")
    _catalog(each)
    _workers(each)
    each.add_argument(
        "--scheduler", metavar="ADDRESS", help="run the work on a Dask cluster, such as tcp://server:8786"
    )
    _time(each)
    _rules(each)
    _band(each)
    _look(each)

    each = command("send", send, "send the message of each issued folder to the owner")
    each.add_argument("jobs", metavar="JOB", nargs="+", help="an issued folder, or its message.eml")
    each.add_argument(
        "--settings", metavar="FILE", default=SUPPRESS, help="the settings file, as before the command"
    )
    each.add_argument("--dry-run", action="store_true", help="only print what would be sent to whom")
    each.add_argument("--again", action="store_true", help="also send what was sent before")


def _add_archive_commands(command: Command) -> None:
    """Add the commands of the office."""
    each = command("archive", archive, "archive issued folders, one bag for each job")
    each.add_argument(
        "jobs",
        metavar="JOB_OR_FOLDER",
        nargs="+",
        help="an issued folder, a folder of such folders, or a job record beside its issued folder; what is "
        "already archived stays unchanged",
    )
    _archive(each, "--to", "the archive; created if there is none")

    each = command("verify", verify, "check every file of an archive; list what is missing or changed")
    each.add_argument(
        "--repair",
        action="store_true",
        help="first mend what the bags themselves allow: a lost catalog, an unfinished step, a manifest that "
        "its twin of the other algorithm can tell; nothing else is touched",
    )
    _archive(each, "archive")

    each = command("find", find, "find jobs in an archive by word, day and state")
    each.add_argument(
        "words",
        metavar="WORD",
        nargs="*",
        help="words from the id, owner, street, contractor, mix, supplier or remarks; all must match, and "
        "the first three letters of a word are enough",
    )
    _archive(each, "--in")
    each.add_argument("--from", metavar="DAY", dest="placed_from", help="placed on or after this day")
    each.add_argument("--until", metavar="DAY", dest="placed_until", help="placed on or before this day")
    each.add_argument(
        "--state",
        action="append",
        choices=tuple(STATE_WORDS),
        help=f"state of the job: {', '.join(STATE_WORDS)}; repeat to narrow the search",
    )
    each.add_argument("--as-of", metavar="TIME", help="the time at which the state holds (default: now)")
    each.add_argument(
        "--limit", metavar="N", type=_count, help="maximum number of jobs (default: 50; all with --json)"
    )
    each.add_argument(
        "--json", action="store_true", help="print JSON lines, one for each job, with all fields"
    )

    each = command("due", due, "list what is due on a day: visits, calls, sheets not acknowledged")
    each.add_argument(
        "day",
        metavar="DAY",
        nargs="?",
        default="today",
        help="a date such as 2026-07-15 or July 15, 2026, yesterday, tomorrow or monday (default: today)",
    )
    _archive(each, "--in")
    each.add_argument(
        "--ics",
        metavar="FILE",
        help="also write the crew's visits to a calendar; replaces an earlier calendar of that name",
    )
    each.add_argument("--json", action="store_true", help="print JSON lines, one for each task")
    each.add_argument(
        "--as-of",
        metavar="TIME",
        help="the time at which a sheet is not acknowledged (default: now; for another day, noon UTC)",
    )

    each = command("export", export, "export the catalog of an archive for other programs")
    _archive(each, "archive")
    each.add_argument("-o", "--output", metavar="FILE", help="the new file (default: print it)")
    each.add_argument(
        "--format",
        choices=("csv", "jsonl"),
        help="CSV, or JSON lines, which include the tasks (default: by the ending of FILE, .csv, .jsonl or "
        ".json; else CSV)",
    )

    each = command(
        "forget", forget, "remove an owner's personal data from an archive; the technical record stays"
    )
    each.add_argument("job", metavar="JOB", help="the id of the job, as `handover find` prints it")
    _archive(each, "--in")
    each.add_argument("--yes", action="store_true", help="do not ask for confirmation")

    each = command("reindex", reindex, "rebuild the catalog of an archive from its bags")
    _archive(each, "archive")


def _add_reissue_commands(command: Command) -> None:
    """Add the commands that issue archived jobs again."""
    each = command("reissue", reissue, "issue an archived job again if something has changed")
    each.add_argument(
        "job",
        metavar="JOB",
        help="the id of the job, or its record (TOML or JSON) with additions: tickets, cylinders, a "
        "temperature log, repairs, the owner's signature; a record with new information is issued even if "
        "no date moves",
    )
    _weather(each)
    each.add_argument("--same-weather", action="store_true", help="use the weather of the last issue")
    each.add_argument("-o", "--output", metavar="DIR", help="the folder to write (default: the job's id)")
    each.add_argument("--anyway", action="store_true", help="issue even if no date moved enough to matter")
    _archive(each, "--in")
    _time(each)
    _templates(each)

    each = command("watch", watch, "reissue every curing job whose dates move in today's forecast")
    each.add_argument(
        "-o",
        "--output",
        metavar="OUT",
        required=True,
        help="where each reissued job gets a folder",
    )
    _archive(each, "--in")
    _time(each)
    _templates(each)


def _add_desk_commands(command: Command) -> None:
    """Add the commands of the desk."""
    each = command("serve", serve, "serve the desk: pages for crew, owners and office, from one archive")
    _archive(each, "--archive", "the archive; created if there is none")
    each.add_argument(
        "--listen",
        metavar="ADDRESS",
        default="127.0.0.1:8080",
        help="address and port to listen on (default: 127.0.0.1:8080, for this machine alone)",
    )
    each.add_argument(
        "--url",
        metavar="URL",
        help="the public address, such as https://desk.example.com; links and cookies follow it "
        "(default: the address of --listen)",
    )
    each.set_defaults(rules=None, sure=DEFAULT_SURE)
    each.add_argument(
        "--as-of",
        metavar="TIME",
        help="the time at which the desk's clock begins, to try it with jobs of another day (default: now)",
    )
    each.add_argument(
        "--behind-proxy", action="store_true", help="take the address of each visitor from the proxy in front"
    )

    each = command("token", token, "make or withdraw a token by which a program uses the API of the desk")
    each.add_argument("action", choices=("new", "withdraw"), help="new prints a token, once")
    each.add_argument("name", metavar="NAME", help="of the program")
    _archive(each, "--archive")


def _archive(parser: ArgumentParser, name: str, about: str = "the archive") -> None:
    """Add an archive, as an argument or an option, and the place of its catalog."""
    text = f"{about} (default: that of HANDOVER_ARCHIVE or of the settings file)"
    if name == "archive":
        parser.add_argument(name, metavar="ARCHIVE", nargs="?", help=text)
    else:
        parser.add_argument(name, metavar="ARCHIVE", dest={"--to": "to"}.get(name, "archive"), help=text)
    _catalog(parser)


def _catalog(parser: ArgumentParser) -> None:
    parser.add_argument(
        "--catalog",
        metavar="URL",
        help="the PostgreSQL database of the catalog (default: that of HANDOVER_CATALOG or of the "
        "settings file, else a file beside the bags)",
    )


def _job(parser: ArgumentParser) -> None:
    parser.add_argument("job", metavar="JOB", help="the job record (TOML or JSON)")


def _weather(parser: ArgumentParser) -> None:
    parser.add_argument(
        "-w",
        "--weather",
        metavar="FILE",
        help="a file of hourly weather in any supported format (default: download the forecast)",
    )


def _time(parser: ArgumentParser) -> None:
    parser.add_argument(
        "--as-of",
        metavar="TIME",
        help="time of issue, such as 2026-07-14T12:30:00-04:00, or without the offset on the clock of the "
        "site (default: now)",
    )


def _rules(parser: ArgumentParser) -> None:
    parser.add_argument(
        "--rules",
        metavar="COUNTRY",
        help="whose rules apply: us, us-ufgs, ca, eu, de, gb, au, in, or strictest "
        "(default: the site's country)",
    )


def _band(parser: ArgumentParser) -> None:
    parser.add_argument(
        "--sure",
        metavar="PERCENT",
        type=_percent,
        default=DEFAULT_SURE,
        help='how sure each "not before" must be, 60 to 99 (default: 90)',
    )
    _typical(parser)


def _typical(parser: ArgumentParser) -> None:
    parser.add_argument(
        "--typical",
        metavar="FILE",
        help="a typical year (TMY3, EPW) or past years of the place, used past the end of the forecast",
    )


def _look(parser: ArgumentParser) -> None:
    parser.add_argument("--language", metavar="CODES", help="languages, such as en,es (default: the owner's)")
    _firm_language(parser)
    parser.add_argument("--paper", choices=("letter", "a4"), help="paper size (default: letter)")
    _units(parser)
    _templates(parser)


def _firm_language(parser: ArgumentParser) -> None:
    parser.add_argument(
        "--firm-language",
        metavar="CODE",
        help="language of crew and office (default: the first of --language, else English)",
    )


def _templates(parser: ArgumentParser) -> None:
    parser.add_argument(
        "--templates", metavar="DIR", help="your own texts and pages, which replace the built-in ones"
    )


def _units(parser: ArgumentParser) -> None:
    parser.add_argument(
        "--units",
        choices=("us", "si"),
        help="units of the documents (default: most measures in the record)",
    )


def _workers(parser: ArgumentParser) -> None:
    parser.add_argument(
        "--workers", metavar="N", type=_count, help="number of processes (default: one per core)"
    )


def _count(text: str) -> int:
    """Return a number of at least one and at most `MAX_COUNT`; argparse reports what else is wrong."""
    count = int(text)
    if count < 1:
        raise ValueError
    return min(count, MAX_COUNT)


def _hours(text: str) -> float:
    """Return a number of hours; argparse reports what else is wrong."""
    return float(text)


def _percent(text: str) -> int:
    """Return how sure a date must be, in percent."""
    from argparse import ArgumentTypeError

    if not (text.isascii() and text.isdigit() and int(text) in SURE):
        raise ArgumentTypeError(f"{text!r} is not a whole number from {SURE[0]} to {SURE[-1]}")
    return int(text)


MAX_COUNT = 1_000_000
"""No list is longer; a larger number is as good as none."""

SURE = range(60, 100)
"""How sure a date can be. [%]"""

DEFAULT_SURE = 90


_count.__name__ = _hours.__name__ = "number"  # by which argparse calls it
