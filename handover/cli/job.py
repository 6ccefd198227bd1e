"""The commands for one job."""

from __future__ import annotations

import sys

from handover.base.text import for_terminal
from handover.cli.option_values import (
    config_of,
    limits_of,
    now,
    refuse_existing,
    request_of,
    require_engine,
    settings_of,
    to_path,
    write_new,
)
from handover.cli.output import (
    columns,
    heading,
    open_command,
    print_cautions,
    print_changes,
    shell_word,
    wrap,
)

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from handover.cli.options import Options
    from handover.errors import Finding
    from handover.jobs.record import JobRecord
    from handover.service.summary import PlanSummary


def new(options: Options) -> None:
    """Write a commented job record to fill in, or one with the answers to questions."""
    named = for_terminal(shell_word(options.file))
    if options.ask:
        from handover.cli.interview import ask_record

        refuse_existing(options.file)
        record = ask_record(options.use)
        write_new(options.file, record.text.encode())
        print(f"\n{for_terminal(options.file)} is written; all else that it can say is in it, to fill in.")
        for each in record.missing:
            print(f"Still to fill in: {each}")
        print(f"Then run: handover check {named}")
        return
    from handover.service.record_template import record_to_fill_in

    write_new(options.file, record_to_fill_in(options.use).encode())
    print(f"{for_terminal(options.file)} is ready to fill in. Then run: handover check {named}")


def check(options: Options) -> None:
    """Check a job record, and a weather file where there is one."""
    from handover.errors import Finding, UnusableInput
    from handover.service.assumptions import assumed_values
    from handover.service.inputs import read_record
    from handover.service.reader_needs import reader_findings

    job, cautions = read_record(to_path(options.job))
    config = config_of(options)
    of_readers = tuple(
        reader_findings(
            job,
            options.job,
            chosen=config.language,
            firm=config.firm_language,
            templates=config.templates,
        )
    )
    if any(each.severity == "fault" for each in of_readers):
        raise UnusableInput((*cautions, *of_readers))
    cautions = (*cautions, *of_readers)
    print_cautions(cautions)
    lines = _checked_with_weather(options, cautions) if options.weather else ()
    if not options.weather and not job.contractor.email:
        doubt = "is missing; the forecast cannot be downloaded without it, so use -w with a weather file"
        print_cautions([Finding(doubt, file=options.job, field="contractor.email", severity="caution")])
    print(f"{for_terminal(options.job)} can be used.")
    if assumed := assumed_values(job, config.units):
        print("\nAssumed, because the record does not say:")
        print("\n".join(columns(((each.field, f"{each.value} ({each.why})") for each in assumed), 28)))
    if lines:
        print("\n".join(_surface_lines(lines)))


def _checked_with_weather(options: Options, cautions: Sequence[Finding]) -> Sequence[str]:
    """Print what record and weather say against each other; return what the crew does with the surface."""
    from handover.service.issuing import plan_request
    from handover.service.settings import Settings
    from handover.service.summary import surface_lines

    planned = plan_request(request_of(options, Settings()))
    print_cautions(each for each in planned.findings if each not in cautions)
    return surface_lines(planned.job, planned.schedule, config_of(options).units)


def forecast(options: Options) -> None:
    """Download the hourly forecast for the site to a file."""
    from handover.service.inputs import download_weather, read_record

    job, cautions = read_record(to_path(options.job))
    print_cautions(cautions)
    refuse_existing(options.output)
    key = config_of(options).open_meteo_key
    if options.climate is not None:
        refuse_existing(options.climate)
    weather = download_weather(job, now(), key=key)
    print_cautions(weather.cautions)
    write_new(options.output, weather.data)
    print(f"The forecast of {weather.service} is in {for_terminal(options.output)}.")
    if options.climate is not None:
        _write_climate(options, job, options.climate)


def climate(options: Options) -> None:
    """Download the same weeks of past years at the site to a file."""
    from handover.service.inputs import read_record

    job, cautions = read_record(to_path(options.job))
    print_cautions(cautions)
    refuse_existing(options.output)
    _write_climate(options, job, options.output)


def _write_climate(options: Options, job: JobRecord, output: str) -> None:
    """Write the past years to a new file."""
    from handover.service.inputs import download_climate

    write_new(output, download_climate(job, now(), key=config_of(options).open_meteo_key).data)
    named = for_terminal(output)
    print(f"The past years are in {named}. Use them past the forecast with --typical {named}.")


def plan(options: Options) -> None:
    """Print the dates, the crew's work and the watering plan."""
    from handover.documents.schedule_json import schedule_json
    from handover.service.issuing import plan_request
    from handover.service.settings import Settings
    from handover.service.summary import summarise_plan

    config = config_of(options)
    settings = Settings(
        rules=options.rules,
        share=options.sure / 100,
        units=config.units,
        templates=config.templates,
        firm_language=config.firm_language,
    )
    request = request_of(options, settings)
    planned = plan_request(request, print_cautions)
    if options.json:
        sys.stdout.write(schedule_json(planned.schedule).decode())
        return
    print("\n".join(_plan_lines(summarise_plan(planned.job, planned.schedule, settings))))


def issue(options: Options) -> None:
    """Write the complete set of documents."""
    from handover.service.pdf_workers import pdf_workers

    # They load the PDF engine while the rest is imported, read and computed.
    with pdf_workers(limits_of(options)) as workers:
        from handover.service.issuing import issue_to_folder
        from handover.service.summary import change_lines, first_task, surface_lines

        require_engine()
        settings = settings_of(options)
        request = request_of(options, settings)
        issued = issue_to_folder(request, to_path(options.output), print_cautions, workers=workers)
        first = first_task(issued.job, issued.schedule, settings.units)
        before = surface_lines(issued.job, issued.schedule, settings.units)
        print("\n".join(set_lines(issued.job.site.name, options.output, [*issued.files], first, before)))
        if issued.schedule.revision > 1:
            moved = change_lines(issued.job, issued.schedule, settings.units)
            revision = f"Revision {issued.schedule.revision} replaces the set that was there"
            print("\n".join(heading(f"{revision}:" if moved else f"{revision}. No date moved.")))
            print_changes(moved)


PURPOSES = {
    "care-sheet": "for the owner: what may happen when, and the watering day by day",
    "care-page": "for the owner's phone: the same in one file, readable offline",
    "owner": "for the owner's calendar: each watering, each date",
    "crew": "for the crew's calendar: sawing, stripping the forms, the walk-through",
    "crew-sheet": "for the crew: dangers by the hour, what to load, who comes back when",
    "data-sheet": "for the office: each date with its rule, its source and its numbers",
    "schedule": "for other programs: the whole schedule",
    "slabs": "for other programs: the slabs, and the issue of each",
    "message": "for sending: a message to the owner with the documents attached",
    "inputs": "for the record: job record, weather and choices of this issue",
}
"""What each document is for, by the name of its file without language and ending."""


def set_lines(
    site: str, folder: str, files: Sequence[str], first: str, before: Sequence[str] = ()
) -> Iterator[str]:
    """Yield each file and its reader, what crew and owner do first, and how to open the sheet."""
    names = [*dict.fromkeys(name.partition("/")[0] + "/" if "/" in name else name for name in files)]
    yield from wrap(f"The documents for {site} are in {for_terminal(folder)}:", first="", indent="")
    yield ""
    yield from columns([(name, PURPOSES[name.rstrip("/").partition(".")[0]]) for name in names], least=0)
    yield ""
    yield from wrap(f"{first}.", first="", indent="")
    yield from _surface_lines(before)
    sheet = next(name for name in names if name.startswith("care-sheet"))
    yield from heading("To open the care sheet:")
    yield f"  {for_terminal(open_command(to_path(folder) / sheet))}"


def schema(options: Options) -> None:
    """Print the JSON Schema of a job record, a schedule or a comparison of start hours."""
    import json

    if options.shape == "job":
        from handover.jobs.schema import job_schema as shape
    elif options.shape == "starts":
        from handover.documents.starts_json import starts_schema as shape
    else:
        from handover.documents.schedule_json import schedule_schema as shape
    print(json.dumps(shape(), indent=2, ensure_ascii=False))


def _surface_lines(lines: Sequence[str]) -> Iterator[str]:
    """Yield what the crew does before it leaves, under its heading; nothing where there is nothing."""
    if lines:
        head, *ways = lines
        yield from heading(head)
        for each in ways:
            yield from wrap(each)


def _plan_lines(plan: PlanSummary) -> Iterator[str]:
    """Yield the lines of the schedule as the contractor reads it."""
    yield from wrap(f"{plan.site} ({plan.job})", first="", indent="")
    yield from wrap(plan.weather, first="", indent="")
    yield from heading(plan.heads["not-before"])
    yield from columns(plan.dates)
    if plan.dangers:
        yield from heading(plan.heads["dangers"])
        yield from columns(plan.dangers)
    if plan.load:
        yield ""
        yield from wrap(plan.load, first="", indent="  ")
    yield from _surface_lines(plan.surface)
    if plan.visits:
        yield from heading(plan.heads["visits"])
        yield from columns(plan.visits)
    yield from heading(plan.heads["watering"])
    yield from columns(plan.watering)
    if plan.refusals:
        yield from heading(plan.heads["refusals"])
        yield from columns(plan.refusals)
    if plan.cautions:
        yield from heading(plan.heads["cautions"])
    for each in plan.cautions:
        yield from wrap(each)
    yield ""
    yield from wrap(plan.limits, first="", indent="")
