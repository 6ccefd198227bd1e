"""The documents that people read: care sheet, care page, crew sheet and data sheet, as HTML and as PDF."""

from __future__ import annotations

from base64 import b64encode
from hashlib import sha256
from pathlib import PurePath
from typing import TYPE_CHECKING, Literal

from markupsafe import Markup

from handover.documents import charts
from handover.documents.care_sheet import CareSheet
from handover.documents.crew_sheet import PAGE_ROOMS, CrewSheet
from handover.documents.data_sheet import DataSheet
from handover.documents.fonts import compact_font_faces, font_faces, replace_missing_glyphs
from handover.documents.icons import ICON_NAMES, icon_uri
from handover.documents.joined_sheet import JoinedSheet
from handover.documents.pdf import Attachment, render_pdf
from handover.documents.svg import INKS
from handover.documents.templating import environment, read_text

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from handover.documents.joined_slabs import ProjectSlabs
    from handover.documents.wording import Wording

Paper = Literal["letter", "a4"]
WIDE = 760.0
"""Width of the time line and the weather on paper, in units."""

HALF = 350.0
"""Width of the strength chart, which has half the paper."""

LOW = 200.0
"""Its height."""

NARROW = 400.0
"""Width of the charts on the care page, for a phone."""


def sheet_pdf(html: str, attachments: Sequence[Attachment] = ()) -> bytes:
    """Return the finished HTML of a sheet as PDF. Arguments and errors as `render_pdf`."""
    return render_pdf(html, attachments)


def care_sheet_html(
    words: Wording, *, paper: Paper = "letter", pictures: Mapping[str, bytes] | None = None
) -> str:
    """Return the finished HTML of the owner's care sheet.

    Args:
        words: The job and its schedule in words, in the reader's language and units.
        paper: Its size.
        pictures: The logo and the photos, by the names that the record gives them.
    """
    drawn = {
        "time_line": charts.time_line(words, WIDE).for_paper,
        "strength": charts.strength(words, HALF, LOW).for_paper,
        "weather": charts.weather_strip(words, WIDE).for_paper,
    }
    html = _fill_template("care_sheet.html", CareSheet(words, pictures or {}), drawn, paper)
    return replace_missing_glyphs(html, words.templates)


def render_care_page(
    words: Wording, *, pictures: Mapping[str, bytes] | None = None, calendar: bytes | None = None
) -> bytes:
    """Return the owner's care page: one self-contained HTML file.

    Args:
        words: As `care_sheet_html`.
        pictures: As `care_sheet_html`.
        calendar: The owner's calendar, if it exists already, for the link that adds all of it.
    """
    return care_page_html(words, pictures=pictures, calendar=calendar).encode("utf-8")


def care_page_html(
    words: Wording, *, pictures: Mapping[str, bytes] | None = None, calendar: bytes | None = None
) -> str:
    """Return the care page as text. Arguments as `render_care_page`."""
    drawn = {
        "time_line": charts.time_line(words, NARROW),
        "strength": charts.strength(words, NARROW),
        "weather": charts.weather_strip(words, NARROW),
    }
    return _fill_template("care_page.html", CareSheet(words, pictures or {}, calendar), drawn, "letter")


def data_sheet_html(words: Wording, *, paper: Paper = "letter") -> str:
    """Return the finished HTML of the office's data sheet. Arguments as `care_sheet_html`."""
    template = environment(words.templates).get_template("data_sheet.html")
    strength = charts.strength(words).for_paper
    html = template.render(data=DataSheet(words), strength=strength, **_shared_values(words, paper))
    return replace_missing_glyphs(html, words.templates)


def crew_sheet_html(words: Wording, *, paper: Paper = "letter") -> str:
    """Return the finished HTML of the contractor's crew sheet, one page. Arguments as `care_sheet_html`."""
    template = environment(words.templates).get_template("crew_sheet.html")
    html = template.render(crew=CrewSheet(words, PAGE_ROOMS[paper]), **_shared_values(words, paper))
    return replace_missing_glyphs(html, words.templates)


def joined_sheet_html(project: ProjectSlabs, *, paper: Paper = "letter") -> str:
    """Return the finished HTML of the care sheet of several slabs."""
    html = _fill_template("joined_sheet.html", JoinedSheet(project), {}, paper)
    return replace_missing_glyphs(html, project.words.templates)


def render_joined_page(project: ProjectSlabs, calendar: bytes) -> bytes:
    """Return the care page of several slabs: one self-contained HTML file, with the calendar in it."""
    return _fill_template("joined_page.html", JoinedSheet(project, calendar), {}, "letter").encode("utf-8")


def joined_files(project: ProjectSlabs, *, slabs: bytes, calendar: bytes) -> tuple[Attachment, ...]:
    """Return the files embedded in the care sheet of several slabs.

    Args:
        project: In the reader's language.
        slabs: slabs.json, which names the issue of each slab.
        calendar: The owner's calendar.
    """
    dated, say = project.words.schedule.issued_at, project.words.say
    return (
        Attachment("owner.ics", calendar, "text/calendar", say("attached.calendar"), "Supplement", dated),
        Attachment("slabs.json", slabs, "application/json", say("attached.slabs"), "Data", dated),
    )


MEDIA_TYPES = {".toml": "application/toml", ".json": "application/json"}
"""Of the job record."""


def embedded_files(
    words: Wording, *, schedule: bytes, calendar: bytes, record: tuple[str, bytes] | None = None
) -> tuple[Attachment, ...]:
    """Return the files embedded in a sheet, from which it can be checked or made again.

    Args:
        words: In the reader's language.
        schedule: schedule.json.
        calendar: The owner's calendar.
        record: The job record as received: its file name and bytes.
    """
    dated = words.schedule.issued_at

    def describe(kind: str) -> str:
        return words.say(f"attached.{kind}")

    files = [
        Attachment("owner.ics", calendar, "text/calendar", describe("calendar"), "Supplement", dated),
        Attachment("schedule.json", schedule, "application/json", describe("schedule"), "Data", dated),
    ]
    if record is not None:
        name, content = record
        suffix = PurePath(name).suffix.lower()
        suffix, kind = (suffix, MEDIA_TYPES[suffix]) if suffix in MEDIA_TYPES else (".txt", "text/plain")
        files.append(Attachment(f"job-record{suffix}", content, kind, describe("record"), "Source", dated))
    return tuple(files)


def _fill_template(
    name: str, care: CareSheet | JoinedSheet, drawn: Mapping[str, charts.Chart], paper: Paper
) -> str:
    """Return a template filled with the contents of a care sheet."""
    templates = care.wording.templates
    return (
        environment(templates)
        .get_template(name)
        .render(
            care=care,
            **drawn,
            inks=INKS,
            icons={each: Markup(icon_uri(each, templates)) for each in ICON_NAMES},  # noqa: S704 - our own
            script=Markup(script := read_text("page.js", templates)),  # noqa: S704 - our own
            script_hash=Markup(_hash_of(script)),  # noqa: S704 - base64
            page_fonts=Markup(compact_font_faces(templates)),  # noqa: S704 - our own style rules
            **_shared_values(care.wording, paper),
        )
    )


def _hash_of(script: str) -> str:
    """Return the hash by which the policy of a page allows one script, and no other."""
    return f"sha256-{b64encode(sha256(script.encode()).digest()).decode()}"


def _shared_values(words: Wording, paper: Paper) -> dict[str, object]:
    """Return the values that every template may use."""
    return {
        "wording": words,
        "say": words.say,
        "speak": words.speak,
        "paper": paper,
        "fonts": Markup(font_faces(words.templates)),  # noqa: S704 - our own style rules
        "issued": words.schedule.issued_at.isoformat(),
    }
