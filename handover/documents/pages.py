"""The documents that people read: care sheet, care page and data sheet, as HTML and as PDF."""

from __future__ import annotations

from pathlib import PurePath
from typing import TYPE_CHECKING, Literal

from markupsafe import Markup

from handover.documents import charts
from handover.documents.care import Care
from handover.documents.data import Data
from handover.documents.fonts import font_faces, in_our_letters, packed_font_faces
from handover.documents.icons import NAMES, icon_uri
from handover.documents.pdf import Attachment, render_pdf
from handover.documents.svg import INKS
from handover.documents.templating import environment
from handover.documents.wording import Wording

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from handover.documents.measures import Units
    from handover.jobs.model import JobRecord
    from handover.schedule.model import CureSchedule

Paper = Literal["letter", "a4"]
WIDE = 760.0
"""Units across of the time line and the weather on paper."""

NARROW = 400.0
"""The same on the page, for a phone."""


def render_care_sheet(
    job: JobRecord,
    schedule: CureSchedule,
    *,
    language: str = "en",
    units: Units = "us",
    paper: Paper = "letter",
    pictures: Mapping[str, bytes] | None = None,
    templates: Path | None = None,
    attachments: Sequence[Attachment] = (),
) -> bytes:
    """Return the owner's care sheet as PDF/A-3a; same inputs, same bytes.

    Args:
        job: The job record.
        schedule: Its schedule.
        language: A language that has a folder of templates.
        units: "us" or "si".
        paper: "letter" or "a4".
        pictures: The job's own pictures (logo, photos) by the name the record gives them.
        templates: A contractor's folder; any file in it stands in for ours of the same name.
        attachments: Files to lay inside, see `files_inside`.

    Raises:
        UnusableInput: No such language, or a picture that cannot be read.
        RenderingFailed: The PDF engine warned or failed.
    """
    html = care_sheet_html(
        job, schedule, language=language, units=units, paper=paper, pictures=pictures, templates=templates
    )
    return render_pdf(html, attachments)


def care_sheet_html(
    job: JobRecord,
    schedule: CureSchedule,
    *,
    language: str = "en",
    units: Units = "us",
    paper: Paper = "letter",
    pictures: Mapping[str, bytes] | None = None,
    templates: Path | None = None,
) -> str:
    """Return the finished HTML that the care sheet is rendered from. Arguments as `render_care_sheet`."""
    wording = Wording(job, schedule, language=language, units=units, templates=templates)
    drawn = {
        "time_line": charts.time_line(wording, WIDE).for_paper,
        "strength": charts.strength(wording).for_paper,
        "weather": charts.weather_strip(wording, WIDE).for_paper,
    }
    return in_our_letters(_filled("care_sheet.html", wording, pictures, drawn, paper))


def render_care_page(
    job: JobRecord,
    schedule: CureSchedule,
    *,
    language: str = "en",
    units: Units = "us",
    pictures: Mapping[str, bytes] | None = None,
    templates: Path | None = None,
) -> bytes:
    """Return the owner's care page: one HTML file that carries all it shows.

    Arguments as `render_care_sheet`, without paper.
    """
    html = care_page_html(
        job, schedule, language=language, units=units, pictures=pictures, templates=templates
    )
    return html.encode("utf-8")


def care_page_html(
    job: JobRecord,
    schedule: CureSchedule,
    *,
    language: str = "en",
    units: Units = "us",
    pictures: Mapping[str, bytes] | None = None,
    templates: Path | None = None,
) -> str:
    """Return the care page as text. Arguments as `render_care_sheet`."""
    wording = Wording(job, schedule, language=language, units=units, templates=templates)
    drawn = {
        "time_line": charts.time_line(wording, NARROW),
        "strength": charts.strength(wording),
        "weather": charts.weather_strip(wording, NARROW),
    }
    return _filled("care_page.html", wording, pictures, drawn, "letter")


def render_data_sheet(
    job: JobRecord,
    schedule: CureSchedule,
    *,
    language: str = "en",
    units: Units = "us",
    paper: Paper = "letter",
    templates: Path | None = None,
    attachments: Sequence[Attachment] = (),
) -> bytes:
    """Return the office's data sheet as PDF/A-3a. Arguments as `render_care_sheet`."""
    html = data_sheet_html(job, schedule, language=language, units=units, paper=paper, templates=templates)
    return render_pdf(html, attachments)


def data_sheet_html(
    job: JobRecord,
    schedule: CureSchedule,
    *,
    language: str = "en",
    units: Units = "us",
    paper: Paper = "letter",
    templates: Path | None = None,
) -> str:
    """Return the finished HTML that the data sheet is rendered from. Arguments as `render_care_sheet`."""
    wording = Wording(job, schedule, language=language, units=units, templates=templates)
    html = (
        environment(templates)
        .get_template("data_sheet.html")
        .render(data=Data(wording), strength=charts.strength(wording).for_paper, **_shared(wording, paper))
    )
    return in_our_letters(html)


MEDIA_TYPES = {".toml": "application/toml", ".json": "application/json"}
"""Of the job record."""


def files_inside(
    wording: Wording, *, schedule: bytes, calendar: bytes, record: tuple[str, bytes] | None = None
) -> tuple[Attachment, ...]:
    """Return what a sheet carries inside, so that it can be checked or made anew from itself alone.

    Args:
        wording: In the reader's language.
        schedule: schedule.json.
        calendar: The owner's calendar.
        record: The job record as received: its file name and bytes.
    """
    dated = wording.schedule.issued_at

    def told(kind: str) -> str:
        return wording.say(f"attached.{kind}")

    files = [
        Attachment("owner.ics", calendar, "text/calendar", told("calendar"), "Supplement", dated),
        Attachment("schedule.json", schedule, "application/json", told("schedule"), "Data", dated),
    ]
    if record is not None:
        name, content = record
        suffix = PurePath(name).suffix.lower()
        suffix, kind = (suffix, MEDIA_TYPES[suffix]) if suffix in MEDIA_TYPES else (".txt", "text/plain")
        files.append(Attachment(f"job-record{suffix}", content, kind, told("record"), "Source", dated))
    return tuple(files)


def _filled(
    name: str,
    wording: Wording,
    pictures: Mapping[str, bytes] | None,
    drawn: Mapping[str, charts.Chart],
    paper: Paper,
) -> str:
    """Return a template filled with the contents of a care sheet."""
    template = environment(wording.templates).get_template(name)
    return template.render(
        care=Care(wording, pictures or {}),
        **drawn,
        inks=INKS,
        icons={each: Markup(icon_uri(each, wording.templates)) for each in NAMES},  # noqa: S704 - our own
        page_fonts=Markup(packed_font_faces()),  # noqa: S704 - our own style rules
        **_shared(wording, paper),
    )


def _shared(wording: Wording, paper: Paper) -> dict[str, object]:
    """Return what every template may use."""
    return {
        "wording": wording,
        "say": wording.say,
        "speak": wording.speak,
        "paper": paper,
        "fonts": Markup(font_faces()),  # noqa: S704 - our own style rules
        "issued": wording.schedule.issued_at.isoformat(),
    }
