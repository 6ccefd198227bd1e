"""Templates of the desk, filled in."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

from starlette.responses import HTMLResponse

from handover.desk.static_files import static
from handover.documents.templating import environment, languages
from handover.documents.translations import load_translations

if TYPE_CHECKING:
    from jinja2 import Environment
    from starlette.requests import Request
    from starlette.responses import Response

LANGUAGES = languages()


@cache
def desk_environment() -> Environment:
    """Return the templates, with the addresses of static files."""
    made = environment().overlay()
    made.globals = {**made.globals, "static": static}
    return made


def page(template: str, language: str, status: int = 200, /, **values: object) -> Response:
    """Return a page.

    Args:
        template: Its name in the folder of the desk.
        language: Of its words.
        status: Of the response.
        values: What the template asks for, beside `say`, `language` and `static`.
    """
    return HTMLResponse(page_text(template, language, **values), status)


def page_text(template: str, language: str, /, **values: object) -> str:
    """Return a page as text; arguments as `page`."""
    words = load_translations(language)
    filled = {"say": words.say, "language": language, **values}
    return desk_environment().get_template(f"desk/{template}").render(filled)


def browser_language(request: Request) -> str:
    """Return the language that a browser asks for, as far as there are words; else English."""
    for part in request.headers.get("accept-language", "").split(","):
        code = part.partition(";")[0].strip().partition("-")[0].lower()
        if code in LANGUAGES:
            return code
    return "en"
