"""What an owner reads is easy to read, measured on the finished care sheet of every sample."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from typing import TYPE_CHECKING, Any, get_args

import pikepdf
import pytest
import textstat

from handover.documents.pages import care_sheet_html
from handover.documents.templating import fill_text, languages, read_text
from handover.documents.translations import slug
from handover.documents.wording import Wording
from handover.jobs.record import JobRecord, Method

if TYPE_CHECKING:
    from collections.abc import Iterator

ROOT = Path(__file__).parents[2]
SAMPLES = sorted(each.parent.name for each in ROOT.glob("sample_jobs/*/job.toml"))

PARTED = {"p", "li", "td", "th", "h1", "h2", "h3", "div", "figcaption", "br", "tr", "section"}
"""Tags at which one thing said ends and the next begins."""

MARKS = re.compile(r"^\d+\. |\*\*", re.MULTILINE)
"""What Markdown writes and nobody reads."""

NOT_READ = {"style", "script", "svg", "title"}
OF_THE_RECORD = {"facts", "placed", "walk", "running", "site", "who", "by"}
"""Classes of what the record says in its own words, which are not ours to judge."""


class Prose(HTMLParser):
    """Takes a sheet apart into what it says, piece by piece."""

    def __init__(self) -> None:
        super().__init__()
        self.pieces: list[str] = [""]
        self.skipping: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        kinds = set((dict(attrs).get("class") or "").split())
        if self.skipping:
            self.skipping += [tag] * (tag == self.skipping[0])
        elif tag in NOT_READ or kinds & OF_THE_RECORD:
            self.skipping.append(tag)
        elif tag in PARTED or kinds & {"note", "hour", "typical"}:
            self.pieces.append("")

    def handle_endtag(self, tag: str) -> None:
        if self.skipping and tag == self.skipping[0]:
            self.skipping.pop()
        elif tag in PARTED:
            self.pieces.append("")

    def handle_data(self, data: str) -> None:
        if not self.skipping:
            self.pieces[-1] += data

    @classmethod
    def of(cls, html: str) -> tuple[str, ...]:
        reader = cls()
        reader.feed(html)
        return tuple(filter(None, (" ".join(each.split()) for each in reader.pieces)))


Pieces = Callable[[str, str], tuple[str, ...]]


@pytest.fixture(scope="module")
def pieces(sample_inputs: Any) -> Pieces:
    """Give what the sheet of a sample says in a language, piece by piece."""

    @cache
    def said(sample: str, language: str) -> tuple[str, ...]:
        received, schedule = sample_inputs(sample)
        return Prose.of(care_sheet_html(Wording(received.job, schedule, language=language)))

    return said


def body(pieces: tuple[str, ...]) -> str:
    """Return the full sentences of a sheet: without heads, dates, hours and amounts, which are no prose."""
    return " ".join(each for each in pieces if each[-1] in ".!?")


def sentences(text: str) -> Iterator[str]:
    """Yield each sentence; text before a colon is a heading, and read as such."""
    yield from re.split(r"(?<=[.!?:])\s+", text)


@pytest.mark.parametrize("sample", SAMPLES)
def test_english_is_for_the_sixth_grade_or_below(sample: str, pieces: Pieces) -> None:
    """Flesch-Kincaid grade; 6 is read with ease by an eleven-year-old."""
    textstat.set_lang("en_US")
    assert textstat.flesch_kincaid_grade(body(pieces(sample, "en"))) <= 6.0


@pytest.mark.parametrize("sample", SAMPLES)
def test_spanish_is_easy(sample: str, pieces: Pieces) -> None:
    """Fernandez-Huerta: 80 to 90 is "easy", 90 and more "very easy"."""
    textstat.set_lang("es")
    assert textstat.fernandez_huerta(body(pieces(sample, "es"))) >= 80.0


@pytest.mark.parametrize("language", languages())
def test_the_sheet_of_the_summer_sample_has_three_pages(language: str, sample_sheet: Any) -> None:
    """Its first page holds all that is needed tonight; longer words must not push it apart."""
    with pikepdf.open(io.BytesIO(sample_sheet("care", "summer-garage", f"{language}-letter"))) as pdf:
        assert len(pdf.pages) == 3


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("sample", SAMPLES)
def test_every_sentence_has_fewer_than_20_words(sample: str, language: str, pieces: Pieces) -> None:
    said = [each for piece in pieces(sample, language) for each in sentences(piece)]
    assert len(said) > 50
    assert [each for each in said if len(each.split()) >= 20] == []


@pytest.mark.parametrize("name", [f"how/{slug(method)}.md" for method in get_args(Method)])
def test_the_steps_of_every_method_are_easy(name: str) -> None:
    english, spanish = (MARKS.sub("", read_text(f"{language}/{name}")) for language in ("en", "es"))
    textstat.set_lang("en_US")
    assert textstat.flesch_kincaid_grade(english) <= 6.0
    textstat.set_lang("es")
    assert textstat.fernandez_huerta(spanish) >= 80.0


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("special", [False, True], ids=["plain", "special"])
@pytest.mark.parametrize("name", [f"how/{slug(method)}.md" for method in get_args(Method)])
def test_every_step_has_its_own_line(job: JobRecord, name: str, language: str, special: bool) -> None:
    """A block that ends a line takes the end of the line with it, and the next step to its own."""
    asked = ("by_crew", "timer", "is_reset", "steep", "hot", "between", "dries", "looks", "dry_looks")
    asked += ("coat_at", "no_coat", "seals", "white")
    text = fill_text(f"{language}/{name}", **dict.fromkeys(asked, special), slab=job.slab, loops="0.6 m")
    steps = [line for line in text.splitlines() if line.strip()]
    assert [line for line in steps if re.search(r"\S\s+\d\. ", line)] == []
    assert len(steps) > 1


def test_hard_words_would_be_noticed() -> None:
    """The measures distinguish plain words from others."""
    textstat.set_lang("en_US")
    assert textstat.flesch_kincaid_grade("Precautionary hydration facilitates cementitious maturation.") > 6
    textstat.set_lang("es")
    assert textstat.fernandez_huerta("La hidratación precautoria facilita la maduración cementicia.") < 80
