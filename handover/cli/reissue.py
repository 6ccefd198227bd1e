"""The commands that issue archived jobs again."""

from __future__ import annotations

from handover.base.text import for_terminal
from handover.cli.exit_codes import DONE, FAILED
from handover.cli.option_values import (
    config_of,
    limits_of,
    open_existing_archive,
    require_engine,
    time_of_issue,
    to_path,
)
from handover.cli.output import (
    heading,
    left_out,
    print_cautions,
    print_changes,
    print_error,
    print_trouble,
    progress_bar,
    wrap,
)

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from datetime import datetime
    from pathlib import Path

    from handover.cli.options import Options
    from handover.jobs.record import JobRecord
    from handover.service.job_inputs import WeatherFile
    from handover.service.pdf_workers import PdfWorkers
    from handover.service.reissuing import WatchResult


def reissue(options: Options) -> None:
    """Issue an archived job again with new weather or a new record."""
    from handover.service.pdf_workers import pdf_workers

    # They load the PDF engine while the rest is imported, read and computed.
    with pdf_workers(limits_of(options)) as workers:
        require_engine()
        _reissue(options, workers)


def _reissue(options: Options, workers: PdfWorkers | None) -> None:
    """Issue an archived job again, and print the result."""
    from functools import partial

    from handover.service.reissuing import ReissueRequest, zone_of_job
    from handover.service.reissuing import reissue_job as issue_again

    record = to_path(options.job) if options.job.endswith((".toml", ".json")) else None
    job = _id_of(record) if record else options.job
    folder = to_path(options.output or job)
    with open_existing_archive(options) as archive:
        as_of = time_of_issue(options, partial(zone_of_job, archive, job))
        request = ReissueRequest(
            weather=_weather_source(options, as_of),
            record=record,
            templates=config_of(options).templates,
            force=options.anyway,
        )
        done = issue_again(archive, job, folder, as_of, request, workers)
    print_cautions(done.cautions)
    if not done.is_new:
        same = ", and the record has no new information" if record else ""
        valid = f"revision {done.revision} remains valid, and nothing was written."
        print("\n".join(wrap(f"No date moved enough to matter{same}: {valid}", first="", indent="")))
        print("Use --anyway to issue it all the same.")
        return
    print(f"Revision {done.revision} is in {for_terminal(folder)} and in the archive.")
    if not done.changes:
        print("The record changed; no date moved." if done.new_record else "No date moved.")
    print_changes(done.changes)


def watch(options: Options) -> int:
    """Reissue every curing job whose dates move in today's forecast."""
    require_engine()
    from contextlib import nullcontext

    from handover.service.pdf_workers import pdf_workers
    from handover.service.reissuing import curing_jobs, reissue_curing

    as_of, out = time_of_issue(options), to_path(options.output)
    with open_existing_archive(options) as archive:
        jobs = curing_jobs(archive, as_of)
        unknown = left_out(archive)
        seen = []
        config = config_of(options)
        stopped = False
        try:
            with (
                pdf_workers(limits_of(options)) if jobs else nullcontext() as workers,
                progress_bar(len(jobs)) as done,
            ):
                for each in reissue_curing(
                    archive,
                    jobs,
                    out,
                    as_of,
                    key=config.open_meteo_key,
                    templates=config.templates,
                    workers=workers,
                ):
                    seen.append(each)
                    done(each)
        except KeyboardInterrupt:
            print_error("Stopped. What was reissued stays; run the same command again to continue.")
            stopped = True
    for each in seen:
        _print_watch_result(each)
    print(f"{len(seen)} curing, {sum(each.state == 'reissued' for each in seen)} reissued.")
    _print_unsent(out / each for each in jobs)
    if unknown:
        print_error(for_terminal(unknown))
    return FAILED if stopped or unknown or {each.state for each in seen} & {"refused", "failed"} else DONE


def _id_of(record: Path) -> str:
    from handover.service.inputs import read_record

    return read_record(record)[0].id


def _weather_source(options: Options, as_of: datetime) -> Callable[[JobRecord], WeatherFile] | None:
    """Return the source of the weather: a file or a download; None for the weather of the last issue."""
    from functools import partial

    from handover.service.inputs import download_weather, read_weather_file

    if options.same_weather:
        return None
    if options.weather:
        weather_file = read_weather_file(to_path(options.weather))
        return lambda _: weather_file
    return partial(download_weather, now=as_of, key=config_of(options).open_meteo_key)


def _print_watch_result(result: WatchResult) -> None:
    if result.state == "reissued":
        print_cautions(result.findings)
        print("\n".join(wrap(result.job, first="")))
        print_changes(result.changes)
    elif result.state != "unchanged":
        print_trouble(result.job, result.state, result.findings or (result.failure,))


def _print_unsent(folders: Iterable[Path]) -> None:
    """Print which messages are to be sent: those of this run, and those of earlier runs not sent yet."""
    from handover.service.sending import dry_run

    issued = [each for each in folders if each.is_dir()]
    waiting = [each for each in dry_run(issued) if each.state != "already sent"]
    if waiting:
        print("\n".join(heading("To be sent with handover send")))
    for each in waiting:
        more = each.words or (f"to {each.draft.shown_to}" if each.draft else "")
        print("\n".join(wrap(f"{each.job}: {more}")))
