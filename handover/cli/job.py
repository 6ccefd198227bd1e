"""The commands for one job."""

from __future__ import annotations

import sys

from handover.cli.option_values import (
    now,
    read_inputs_of,
    refuse_existing,
    require_engine,
    service_key,
    settings_of,
    time_of_issue,
    to_path,
    write_new,
)
from handover.cli.output import columns, heading, open_command, print_cautions, printable, shell_word, wrap

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from handover.cli.arguments import Options
    from handover.documents.care_sheet import CareSheet
    from handover.documents.date_phrases import DatePhrase
    from handover.documents.wording import DayWords, MilestoneWords, Wording


def new(options: Options) -> None:
    """Write a commented job record to fill in."""
    from handover.service.record_template import record_to_fill_in

    write_new(options.file, record_to_fill_in(options.use).encode())
    named = printable(shell_word(options.file))
    print(f"{printable(options.file)} is ready to fill in. Then run: handover check {named}")


def check(options: Options) -> None:
    """Check a job record."""
    from handover.errors import Finding
    from handover.service.inputs import read_record

    job, cautions = read_record(to_path(options.job))
    print_cautions(cautions)
    if not job.contractor.email:
        doubt = "is missing; the forecast cannot be downloaded without it, so use -w with a weather file"
        print_cautions([Finding(doubt, file=options.job, field="contractor.email", severity="caution")])
    print(f"{printable(options.job)} can be used.")
    if job.assumed:
        print("\nAssumed, because the record does not say:")
        print("\n".join(columns(((each.field, f"{each.value} ({each.why})") for each in job.assumed), 28)))


def forecast(options: Options) -> None:
    """Download the hourly forecast for the site to a file."""
    from handover.service.inputs import download_weather, read_record

    job, cautions = read_record(to_path(options.job))
    print_cautions(cautions)
    refuse_existing(options.output)
    write_new(options.output, download_weather(job, now(), key=service_key()).data)
    print(f"The forecast is in {printable(options.output)}.")


def plan(options: Options) -> None:
    """Print the dates and the watering plan."""
    from handover.documents.schedule_json import schedule_json
    from handover.documents.wording import Wording
    from handover.service.inputs import compute
    from handover.service.settings import Settings

    as_of = time_of_issue(options)
    received = read_inputs_of(options, as_of)
    settings = Settings(rules=options.rules, share=options.sure / 100)
    schedule = compute(received, as_of, settings=settings)
    if options.json:
        sys.stdout.write(schedule_json(schedule).decode())
        return
    print(
        "\n".join([*_table(Wording(received.job, schedule, units=options.units or received.job.written_in))])
    )


def issue(options: Options) -> None:
    """Write the complete set of documents."""
    require_engine()
    from handover.documents.care_sheet import CareSheet
    from handover.documents.wording import Wording
    from handover.service.inputs import compute
    from handover.service.publish import next_revision
    from handover.service.render import issue_documents
    from handover.service.settings import add_manifest

    as_of = time_of_issue(options)
    received = read_inputs_of(options, as_of)
    folder = to_path(options.output)
    revision = next_revision(folder, received.job.id, as_of)
    settings = settings_of(options)
    schedule = compute(received, as_of, revision, settings)
    files = issue_documents(
        received.job,
        schedule,
        folder,
        settings,
        inputs=add_manifest(received, settings),
        pictures=received.pictures,
    )
    words = Wording(received.job, schedule, units=settings.units_for(received.job))
    print("\n".join(_print_issued_set(CareSheet(words, {}), options.output, files)))


PURPOSES = {
    "care-sheet": "for the owner: what may happen when, and the watering day by day",
    "care-page": "for the owner's phone: the same in one file, readable offline",
    "owner": "for the owner's calendar: each watering, each date",
    "crew": "for the crew's calendar: sawing, stripping the forms, the walk-through",
    "data-sheet": "for the office: each date with its rule, its source and its numbers",
    "schedule": "for other programs: the whole schedule",
    "message": "for sending: a message to the owner with the documents attached",
    "inputs": "for the record: job record, weather and choices of this issue",
}
"""What each document is for, by the name of its file without language and ending."""


def _print_issued_set(care: CareSheet, folder: str, files: Sequence[str]) -> Iterator[str]:
    """Yield each file and its reader, what the owner does first, and how to open the sheet."""
    names = [*dict.fromkeys(name.partition("/")[0] + "/" if "/" in name else name for name in files)]
    yield from wrap(
        f"The documents for {care.job.site.name} are in {printable(folder)}:", first="", indent=""
    )
    yield ""
    yield from columns([(name, PURPOSES[name.rstrip("/").partition(".")[0]]) for name in names], least=0)
    yield ""
    yield from wrap(f"{_first_job(care)}.", first="", indent="")
    sheet = next(name for name in names if name.startswith("care-sheet"))
    yield from heading("To open the care sheet:")
    yield f"  {printable(open_command(to_path(folder) / sheet))}"


def _first_job(care: CareSheet) -> str:
    """Return what the owner does first, and when, from the same values as the sheet."""
    from handover.schedule.model import MilestoneKind

    if (part := care.ongoing) is not None:
        return f"{part.title}: {part.when}"
    first = care.words_by_kind[MilestoneKind.FIRST_WATER]
    if care.wet and first.when is not None:
        return f"First water from {first.when.text}"
    return f"{first.title}: {first.when_text}"


def schema(options: Options) -> None:
    """Print the JSON Schema of a job record or a schedule."""
    import json

    if options.shape == "job":
        from handover.jobs.schema import job_schema as shape
    else:
        from handover.documents.schedule_json import schedule_schema as shape
    print(json.dumps(shape(), indent=2, ensure_ascii=False))


def _table(words: Wording) -> Iterator[str]:
    """Yield the lines of the schedule as the contractor reads it."""
    from itertools import groupby

    schedule = words.schedule
    yield from wrap(f"{words.job.site.name} ({schedule.job})", first="", indent="")
    yield from wrap(f"Weather: {schedule.weather.source}", first="", indent="")
    yield from heading("Not before")
    dates = sorted(words.crew_milestones, key=_sort_words)
    yield from columns(_date(each, schedule.issued_at.year) for each in dates)
    yield from heading("Watering")
    stretches = groupby(words.watering, key=_what_to_do)
    yield from columns((_from_to(*(day.short_day for day in days)), what) for what, days in stretches)
    if schedule.refusals:
        yield from heading("No date is given")
        yield from columns(
            (refusal.kind, words.say(f"refusal.{refusal.because}")) for refusal in schedule.refusals
        )
    if words.cautions:
        yield from heading("Cautions")
    for notice in words.cautions:
        yield from wrap(f"{notice.title}. {notice.text}")
    yield ""
    yield from wrap(" ".join(words.limits), first="", indent="")


def _sort_words(words: MilestoneWords) -> tuple[bool, float]:
    sentence = words.not_after if words.in_stages else words.when
    return sentence is None, sentence.instant.timestamp() if sentence else 0.0


def _date(words: MilestoneWords, issued_at: int) -> tuple[str, str]:
    """Return when and what; sawing part by part has only its last hour."""
    if words.in_stages and words.not_after:
        return f"by {words.not_after.short}", f"{words.crew_title}, part by part in the order placed"
    late = f", not after {words.not_after.short}" if words.not_after else ""
    when = _with_year(words.when, issued_at) if words.when else "past the estimate"
    return when, words.crew_title + late


def _from_to(first: str, *others: str) -> str:
    return f"{first} to {others[-1]}" if others else first


def _what_to_do(day: DayWords) -> str:
    visits = ", ".join(visit.short_span for visit in day.visits)
    return "; ".join(part for part in (visits, day.amount, day.note) if part)


def _with_year(when: DatePhrase, issued_at: int) -> str:
    year = when.instant.year
    return when.short if year == issued_at else f"{when.short}, {year}"
