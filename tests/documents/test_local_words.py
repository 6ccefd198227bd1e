"""The words of the trade in Spain: other words for concrete, formwork and car, and a clock of a whole day."""

from __future__ import annotations

import re
from datetime import datetime
from email import message_from_bytes, policy
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import pytest

from handover.documents.date_phrases import DateFormatter
from handover.documents.local_words import LocalWords, local_translations, local_words
from handover.documents.message import compose_message
from handover.documents.pages import care_sheet_html, crew_sheet_html
from handover.documents.translations import load_translations
from handover.documents.wording import Wording

if TYPE_CHECKING:
    from collections.abc import Iterator

    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule

OF_THE_AMERICAS = re.compile(
    r"\b(?:concretos?|cimbras?|descimbr\w+|moldes?|cola[dr][oa]?s?|cuelen?|coló|autos?|estacion\w+|pisos?"
    r"|[ap]\.m\.)(?!\w)",
    re.IGNORECASE,
)
"""Words that a reader in Spain does not use for these things."""

WRONG_GENDER = re.compile(
    r"\b(?:la|una|esta|nueva|fresca) (?:hormigón|encofrado|coche|suelo)\b"
    r"|\b(?:hormigón|encofrado|coche|suelo) (?:colada|nueva|fresca|puesta)\b",
    re.IGNORECASE,
)


def strings(tree: dict[str, Any]) -> Iterator[str]:
    for value in tree.values():
        if isinstance(value, dict):
            yield from strings(value)
        else:
            yield str(value)


def in_country(job: JobRecord, country: str) -> JobRecord:
    """Return a job at a site whose name has a word of the Americas."""
    site = job.site.model_copy(update={"country": country, "name": "Nave Concreto y Autos"})
    return job.model_copy(update={"site": site})


def papers(job: JobRecord, schedule: CureSchedule, country: str) -> str:
    words = Wording(in_country(job, country), schedule, language="es", units="si")
    message = message_from_bytes(compose_message(words, {}), policy=policy.default)
    body = message.get_body(("plain",))
    assert body is not None
    text = "\n".join((care_sheet_html(words), crew_sheet_html(words), body.get_content()))
    return re.sub(r"(?s)<style.*?</style>|<[^>]+>", " ", text)


def test_no_string_in_spain_has_a_word_of_the_americas() -> None:
    spain = list(strings(local_translations("es", "ES").tree))
    assert [each for each in spain if OF_THE_AMERICAS.search(each)] == []
    assert [each for each in spain if WRONG_GENDER.search(each)] == []
    # ... and the words are looked for where they are: in the strings of the language.
    assert len([each for each in strings(load_translations("es").tree) if OF_THE_AMERICAS.search(each)]) > 50


@pytest.mark.parametrize("country", ["MX", "US", None])
def test_other_countries_have_the_strings_of_the_language(country: str | None) -> None:
    assert local_translations("es", country).tree == load_translations("es").tree
    assert local_words("es", country).translate("concreto") == "concreto"


def test_papers_of_a_site_in_spain_have_its_words_and_leave_names_alone(
    job: JobRecord, schedule: CureSchedule
) -> None:
    spain, mexico = (papers(job, schedule, each) for each in ("ES", "MX"))
    own = "Nave Concreto y Autos"
    assert own in spain
    assert set(OF_THE_AMERICAS.findall(spain.replace(own, ""))) == set()
    assert "hormigón" in spain
    assert "hormigón" not in mexico
    assert "concreto" in mexico


def test_a_clock_of_a_whole_day() -> None:
    zone = ZoneInfo("Europe/Madrid")
    start, end = (datetime(2026, 6, 15, hour, 30, tzinfo=zone) for hour in (9, 17))
    for country, first, span in (
        ("ES", "9:30", "9:30 a 17:30"),
        ("MX", "9:30 a.m.", "9:30 a.m. a 5:30 p.m."),
    ):
        speak = DateFormatter(local_translations("es", country))
        assert speak.short_hour(start).replace("\N{NO-BREAK SPACE}", " ") == first
        assert speak.short_span(start, end).replace("\N{NO-BREAK SPACE}", " ") == span


def test_the_longest_phrase_comes_first_and_a_capital_stays() -> None:
    words = LocalWords({"la cimbra": "el encofrado", "cimbra": "encofrado"})
    assert words.translate("La cimbra y otra cimbra; cimbrar") == "El encofrado y otra encofrado; cimbrar"
