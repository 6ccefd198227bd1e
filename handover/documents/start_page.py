"""The page of a comparison of start hours: the best two, the picture, and the table of all of them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from markupsafe import Markup

from handover.documents.charts.start_hours import start_hours
from handover.documents.fonts import font_faces, replace_missing_glyphs
from handover.documents.templating import environment

if TYPE_CHECKING:
    from handover.documents.pages import Paper
    from handover.documents.words.starts import StartWording


def start_page_html(wording: StartWording, *, paper: Paper = "letter") -> str:
    """Return the finished HTML of the page.

    Args:
        wording: The comparison in the reader's words.
        paper: Its size.
    """
    templates = wording.reader.templates
    html = (
        environment(templates)
        .get_template("start_hours.html")
        .render(
            words=wording,
            chart=start_hours(wording).for_paper,
            say=wording.say,
            speak=wording.speak,
            paper=paper,
            language=wording.reader.language,
            fonts=Markup(font_faces(templates)),  # noqa: S704 - our own style rules
            compared=wording.comparison.compared_at.isoformat(),
        )
    )
    return replace_missing_glyphs(html, templates)
