"""The commands for many jobs at once."""

from __future__ import annotations

import sys

from handover.base.text import for_terminal
from handover.cli.exit_codes import DONE, FAILED
from handover.cli.option_values import (
    config_of,
    limits_of,
    now,
    open_archive,
    require_engine,
    settings_of,
    time_of_issue,
    to_path,
)
from handover.cli.output import columns, print_error, print_trouble, progress_bar

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from handover.cli.options import Options
    from handover.service.batch import BatchOutcome
    from handover.service.config import Config
    from handover.service.mail_server import MailServer
    from handover.service.send_log import MessageDraft

MAX_LISTED_FAILURES = 20
"""Jobs that went wrong, printed on a terminal; the report has them all."""

MAX_CAUTION_KINDS = 5
"""Kinds of cautions printed on a terminal; the report has them all."""


def batch(options: Options) -> int:
    """Issue every job record in a folder."""
    if not options.scheduler:  # a cluster's workers are other machines: each checks its own libraries
        require_engine()
    from contextlib import nullcontext
    from functools import partial

    from handover.service.batch import REPORT_FILE, Batch, find_records, run_batch
    from handover.service.pdf_workers import core_count
    from handover.service.workers import run_in_processes, run_on_dask

    config, settings = config_of(options), settings_of(options)
    if options.scheduler and settings.templates:
        _refuse_remote_templates()
    execute = (
        partial(run_on_dask, scheduler=options.scheduler)
        if options.scheduler
        else partial(run_in_processes, workers=config.workers or core_count(), limits=limits_of(options))
    )
    out = to_path(options.output)
    try:
        records = find_records(to_path(options.folder), out, *([to_path(options.to)] if options.to else []))
        with (
            open_archive(options) if options.to else nullcontext() as archive,
            progress_bar(len(records)) as done,
        ):
            what = Batch(
                to_path(options.folder),
                out,
                time_of_issue(options),
                settings,
                weather=to_path(options.weather) if options.weather else None,
                typical=config.typical,
                archive=archive,
                key=config.open_meteo_key,
                reissue_at=options.as_of is not None,
            )
            outcomes = run_batch(what, records, execute, done)
    except KeyboardInterrupt:
        print_error("Stopped. What is done stays; run the same command again to continue.")
        return FAILED
    return _report(outcomes, out / REPORT_FILE)


def _refuse_remote_templates() -> None:
    from handover.errors import Finding, UnusableInput

    problem = "is a folder of this machine, which the workers of a cluster cannot read"
    raise UnusableInput([Finding(problem, field="--templates", expected="--templates or --scheduler")])


def _report(outcomes: Sequence[BatchOutcome], file: Path) -> int:
    """Print the results of a batch, failures first; return the exit status."""
    from collections import Counter

    wrong = [each for each in outcomes if each.state in {"refused", "failed"}]
    for each in wrong[:MAX_LISTED_FAILURES]:
        print_trouble(each.record, each.state, each.findings or (each.failure,))
    if wrong[MAX_LISTED_FAILURES:]:
        print_error(f"... and {len(wrong) - MAX_LISTED_FAILURES} more.")
    counts = Counter(each.state for each in outcomes)
    for state in ("done", "done before", "refused", "failed"):
        print(f"{state:12}{counts[state]:8}")
    _print_doubts([each for each in outcomes if each.state == "done"])
    print(f"The report is in {for_terminal(file)}.")
    return FAILED if wrong else DONE


def _print_doubts(done: Sequence[BatchOutcome]) -> None:
    """Print the cautions of the sets that were made; a caution that many share is printed once."""
    import re
    from collections import defaultdict

    alike: defaultdict[str, list[str]] = defaultdict(list)
    for each in done:
        doubts = (": ".join(part for part in (one.field, one.problem) if part) for one in each.findings)
        for kind, doubt in {re.sub(r"\d+", "0", doubt): doubt for doubt in doubts}.items():
            alike[kind].append(doubt)
    commonest = sorted(alike.values(), key=len, reverse=True)
    for same in commonest[:MAX_CAUTION_KINDS]:
        jobs = "1 job" if len(same) == 1 else f"{len(same)} jobs"
        such = "such as this: " if len(set(same)) > 1 else ""
        print_error(f"Caution for {jobs}: {such}{for_terminal(same[0])}")
    if commonest[MAX_CAUTION_KINDS:]:
        print_error(f"... and {len(commonest) - MAX_CAUTION_KINDS} cautions of other kinds, in the report.")


def send(options: Options) -> None:
    """Send the messages of issued folders, or print what would be sent to whom."""
    from handover.errors import HandoverError
    from handover.service.mail_server import mail_server
    from handover.service.sending import dry_run, send_messages

    jobs = [to_path(job) for job in options.jobs]
    config = config_of(options)
    # What would be sent can be seen before the office has a mail server.
    server = None if options.dry_run and config.mail_host is None else mail_server(config)
    if server is None or options.dry_run:
        outcomes = dry_run(jobs, again=options.again)
    else:
        outcomes = send_messages(jobs, server, server.password(), now(), again=options.again)
    failed = 0
    try:
        for each in outcomes:
            failed += each.state == "not sent"
            line = for_terminal(": ".join(part for part in (str(each.job), each.state, each.words) if part))
            print(line, file=sys.stderr if each.state == "not sent" else sys.stdout, flush=True)
            if options.dry_run and each.draft:
                _show_draft(each.draft, _server_in_words(server, config))
    except KeyboardInterrupt:
        raise HandoverError("Stopped. What was sent is noted and will not be sent twice.") from None
    if failed:
        raise HandoverError(f"{failed} of {len(jobs)} not sent.")


def _server_in_words(server: MailServer | None, config: Config) -> str:
    if server is None:
        return f"no mail server yet; sending needs a table [mail] in {config.file}"
    return f"{server.host}, port {server.port}, {server.security}"


def _show_draft(draft: MessageDraft, through: str) -> None:
    totals = (
        ("From", draft.shown_from),
        ("To", draft.shown_to),
        ("Subject", draft.subject),
        ("With", ", ".join(draft.attached)),
        ("Through", through),
    )
    print("\n".join(columns(totals, 9)))
