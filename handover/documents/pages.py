"""The documents that people read: care sheet, care page and data sheet, as HTML and as PDF."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from markupsafe import Markup

from handover.documents import charts
from handover.documents.care import Care
from handover.documents.data import Data
from handover.documents.fonts import font_faces, in_our_letters
from handover.documents.icons import NAMES, icon_uri
from handover.documents.pdf import render_pdf
from handover.documents.svg import INKS
from handover.documents.templating import environment
from handover.documents.wording import Wording

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from handover.documents.measures import Units
    from handover.jobs.model import JobRecord
    from handover.schedule.model import CureSchedule

Paper = Literal["letter", "a4"]
WIDE = 760.0
"""Units across of the time line on paper; the page's is narrower, for a phone."""


def render_care_sheet(
    job: JobRecord,
    schedule: CureSchedule,
    *,
    language: str = "en",
    units: Units = "us",
    paper: Paper = "letter",
    pictures: Mapping[str, bytes] | None = None,
    templates: Path | None = None,
) -> bytes:
    """Return the owner's care sheet as a PDF; same inputs, same bytes.

    Args:
        job: The job record.
        schedule: Its schedule.
        language: A language that has a folder of templates.
        units: "us" or "si".
        paper: "letter" or "a4".
        pictures: The job's own pictures (logo, photos) by the name the record gives them.
        templates: A contractor's folder; any file in it stands in for ours of the same name.

    Raises:
        UnusableInput: No such language, or a picture that cannot be read.
        RenderingFailed: The PDF engine warned or failed.
    """
    html = care_sheet_html(
        job, schedule, language=language, units=units, paper=paper, pictures=pictures, templates=templates
    )
    return render_pdf(html)


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
    html = _filled("care_sheet.html", wording, pictures, paper=paper, chart_width=WIDE)
    return in_our_letters(html)


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
    return _filled("care_page.html", wording, pictures, paper="letter", chart_width=charts.WIDTH)


def render_data_sheet(
    job: JobRecord,
    schedule: CureSchedule,
    *,
    language: str = "en",
    units: Units = "us",
    paper: Paper = "letter",
    templates: Path | None = None,
) -> bytes:
    """Return the office's data sheet as a PDF. Arguments as `render_care_sheet`."""
    html = data_sheet_html(job, schedule, language=language, units=units, paper=paper, templates=templates)
    return render_pdf(html)


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
        .render(data=Data(wording), strength=charts.strength(wording), **_shared(wording, paper))
    )
    return in_our_letters(html)


def _filled(
    name: str,
    wording: Wording,
    pictures: Mapping[str, bytes] | None,
    *,
    paper: Paper,
    chart_width: float,
) -> str:
    """Return a template filled with the contents of a care sheet."""
    template = environment(wording.templates).get_template(name)
    return template.render(
        care=Care(wording, pictures or {}),
        time_line=charts.time_line(wording, chart_width),
        strength=charts.strength(wording),
        weather=charts.weather_strip(wording, chart_width),
        inks=INKS,
        icons={each: Markup(icon_uri(each, wording.templates)) for each in NAMES},  # noqa: S704 - our own
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
