"""The commands that issue archived jobs again."""

from __future__ import annotations

from handover.cli.exit_codes import DONE, FAILED, UNUSABLE
from handover.cli.option_values import archive_there, path_of, require_engine, service_key, time_of_issue
from handover.cli.output import caution, heading, printable, progress_bar, tell, trouble, wrapped

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence
    from datetime import datetime
    from pathlib import Path

    from handover.cli.arguments import Options
    from handover.jobs.record import JobRecord
    from handover.service.inputs import Given
    from handover.service.reissuing import Watched


def reissue(options: Options) -> None:
    """Issue an archived job again, with what is new."""
    require_engine()
    from handover.service.reissuing import Afresh
    from handover.service.reissuing import reissue as issue_again

    record = path_of(options.job) if options.job.endswith((".toml", ".json")) else None
    job = _id_of(record) if record else options.job
    folder = path_of(options.output or job)
    as_of = time_of_issue(options)
    afresh = Afresh(
        weather=_weather(options, as_of),
        record=record,
        templates=path_of(options.templates) if options.templates else None,
        anyway=options.anyway,
    )
    with archive_there(options.archive, options.catalog) as archive:
        done = issue_again(archive, job, folder, as_of, afresh)
    caution(done.cautions)
    if not done.is_new:
        same = ", and the record says nothing new" if record else ""
        stands = f"revision {done.revision} stands, and nothing was written."
        print("\n".join(wrapped(f"No date moved enough to matter{same}: {stands}", first="", indent="")))
        print("To issue it all the same, with --anyway.")
        return
    print(f"Revision {done.revision} is in {printable(folder)} and in the archive.")
    if not done.told:
        print("The record is new; no date moved." if done.new_record else "No date moved.")
    _tell_changes(done.told)


def watch(options: Options) -> int:
    """Issue again every job that is curing, where the forecast of today says something new."""
    require_engine()
    from handover.service.reissuing import curing
    from handover.service.reissuing import watch as look_after

    as_of, out = time_of_issue(options), path_of(options.output)
    with archive_there(options.archive, options.catalog) as archive:
        jobs = curing(archive, as_of)
        seen = []
        templates = path_of(options.templates) if options.templates else None
        stopped = False
        try:
            with progress_bar(len(jobs)) as done:
                for each in look_after(archive, jobs, out, as_of, key=service_key(), templates=templates):
                    seen.append(each)
                    done(each)
        except KeyboardInterrupt:
            tell("Stopped. What was issued again stays; the same command goes on from there.")
            stopped = True
    for each in seen:
        _tell_watched(each)
    print(f"{len(seen)} curing, {sum(each.result == 'reissued' for each in seen)} issued again.")
    _tell_unsent(out / each for each in jobs)
    results = {each.result for each in seen}
    return FAILED if stopped or "failed" in results else UNUSABLE if "refused" in results else DONE


def _id_of(record: Path) -> str:
    from handover.service.inputs import read_record

    return read_record(record)[0].id


def _weather(options: Options, as_of: datetime) -> Callable[[JobRecord], Given] | None:
    """Return who gives the weather: a file, the service; nobody where that of the last issue is to stay."""
    from functools import partial

    from handover.service.inputs import download, read_given

    if options.same_weather:
        return None
    if options.weather:
        given = read_given(path_of(options.weather))
        return lambda _: given
    return partial(download, now=as_of, key=service_key())


def _tell_changes(told: Sequence[str]) -> None:
    for each in told:
        print("\n".join(wrapped(each)))


def _tell_watched(watched: Watched) -> None:
    if watched.result == "reissued":
        caution(watched.findings)
        print("\n".join(wrapped(watched.job, first="")))
        _tell_changes(watched.told)
    elif watched.result != "unchanged":
        trouble(watched.job, watched.result, watched.findings or (watched.failure,))


def _tell_unsent(folders: Iterable[Path]) -> None:
    """Print which messages should go out: those of this run, and of earlier ones that never went."""
    from handover.service.sending import rehearse

    issued = [each for each in folders if each.is_dir()]
    waiting = [each for each in rehearse(issued) if each.state != "already sent"]
    if waiting:
        print("\n".join(heading("To be sent, with handover send")))
    for each in waiting:
        more = each.words or (f"to {each.draft.shown_to}" if each.draft else "")
        print("\n".join(wrapped(f"{each.job}: {more}")))
