"""Every language is whole, plain to read, and says each instruction in one way everywhere."""

from __future__ import annotations

import re
import shutil
from datetime import UTC, datetime, timedelta
from string import Formatter
from typing import TYPE_CHECKING, Any

import pytest

from handover.documents import templating
from handover.documents.date_phrases import DateFormatter
from handover.documents.fonts import replace_missing_glyphs
from handover.documents.quantity_format import with_unit
from handover.documents.templating import TEXT_FILES, languages, templates_folder
from handover.documents.translations import load_translations
from handover.documents.wording import Wording

if TYPE_CHECKING:
    from collections.abc import Iterator

    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule

LANGUAGES = languages()
SOURCE = "en"
SPANISH = DateFormatter(load_translations("es"))


def strings(tree: dict[str, Any], above: str = "") -> Iterator[tuple[str, str]]:
    for key, value in tree.items():
        if isinstance(value, dict):
            yield from strings(value, f"{above}{key}.")
        else:
            yield f"{above}{key}", value


def asked(text: str) -> set[str]:
    """Return the names that a string asks for."""
    return {name for _, name, _, _ in Formatter().parse(text) if name is not None}


def texts(language: str) -> dict[str, str]:
    """Return the long texts of a language by the path below its folder, without its tables of countries."""
    folder = templates_folder() / language
    files = (file for file in folder.rglob("*") if file.is_file())
    return {
        str(file.relative_to(folder)): file.read_text("utf-8")
        for file in files
        if str(file.relative_to(folder)) not in TEXT_FILES and file.parent.name != "countries"
    }


def gaps(language: str) -> list[str]:
    """Name what a language lacks of the source, what it has beside it, and where the two do not fit."""
    ours, theirs = (dict(strings(load_translations(each).tree)) for each in (SOURCE, language))
    said, heard = texts(SOURCE), texts(language)
    found = [f"no string {key}" for key in ours.keys() - theirs.keys()]
    found += [f"nobody asks for {key}" for key in theirs.keys() - ours.keys()]
    found += [f"empty: {key}" for key, text in theirs.items() if not text.strip()]
    found += [
        f"{key} asks for {sorted(asked(theirs[key]))}, not {sorted(asked(ours[key]))}"
        for key in ours.keys() & theirs.keys()
        if asked(ours[key]) != asked(theirs[key])
    ]
    found += [f"no file {name}" for name in said.keys() - heard.keys()]
    found += [f"no such file in {SOURCE}: {name}" for name in heard.keys() - said.keys()]
    found += [
        f"{name} has {points(heard[name])} points, not {points(said[name])}"
        for name in said.keys() & heard.keys()
        if points(said[name]) != points(heard[name])
    ]
    return sorted(found)


def points(text: str) -> int:
    """Count the points of a list, and what a letter fills in: the same in every language."""
    return len(re.findall(r"^(?:\d+\.|-) |{{|{%", text, re.MULTILINE))


def test_there_is_more_than_one_language() -> None:
    assert {"en", "es"} <= set(LANGUAGES)


@pytest.mark.parametrize("language", LANGUAGES)
def test_nothing_is_missing(language: str) -> None:
    assert gaps(language) == []


@pytest.mark.parametrize(
    ("file", "before", "after", "said"),
    [
        ("normal.md", "- ", "", "normal.md has"),
        ("LC_MESSAGES/handover.po", 'msgid "sheet.ok"', 'msgid "sheet.okay"', "no string sheet.ok"),
        ("LC_MESSAGES/handover.po", "{phone}", "{telefono}", "calendar.call asks for"),
    ],
)
def test_a_gap_is_found(
    file: str, before: str, after: str, said: str, tmp_path: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The test above would see it."""
    copy = tmp_path / "templates"
    shutil.copytree(templates_folder(), copy)
    changed = copy / "es" / file
    text = changed.read_text("utf-8")
    assert before in text
    changed.write_text(text.replace(before, after, 1), "utf-8")
    monkeypatch.setattr(templating, "templates_folder", lambda: copy)
    monkeypatch.setitem(globals(), "templates_folder", lambda: copy)
    load_translations.cache_clear()
    try:
        assert any(said in each for each in gaps("es"))
    finally:
        load_translations.cache_clear()


@pytest.mark.parametrize("language", LANGUAGES)
def test_our_font_draws_every_letter(language: str) -> None:
    """No letter is borrowed from another font, or replaced by a plainer one."""
    said = "".join([*dict(strings(load_translations(language).tree)).values(), *texts(language).values()])
    assert replace_missing_glyphs(said) == said


# Hours as they are said in Latin America; the names of days, months and parts of the day by CLDR's charts.
SPANISH_HOURS = [
    ((0, 30), "las 12:30 de la madrugada"),
    ((6, 30), "las 6:30 de la mañana"),
    ((7, 0), "las 7:00 de la mañana"),
    ((12, 0), "las 12:00 del mediodía"),
    ((13, 30), "la 1:30 de la tarde"),
    ((20, 0), "las 8:00 de la noche"),
]


@pytest.mark.parametrize(("hour", "said"), SPANISH_HOURS)
def test_hours_in_spanish(hour: tuple[int, int], said: str) -> None:
    assert SPANISH.hour(datetime(2026, 7, 14, *hour, tzinfo=UTC)) == said


def test_dates_and_lengths_in_spanish() -> None:
    placed = datetime(2026, 7, 14, 8, 5, tzinfo=UTC)
    first = SPANISH.not_before(datetime(2026, 7, 14, 12, 50, tzinfo=UTC), placed)
    assert first.text == "la 1:00 de la tarde del martes 14 de julio"
    later = SPANISH.not_before(datetime(2027, 7, 14, 7, 0, tzinfo=UTC), placed)
    assert later.text == "la mañana del miércoles 14 de julio de 2027"
    six, noon = (datetime(2026, 7, 14, hour, tzinfo=UTC) for hour in (6, 12))
    assert SPANISH.span(six, noon) == "de las 6:00 de la mañana a las 12:00 del mediodía"
    assert SPANISH.short_span(six, noon) == "6:00 a.m. a 12:00 p.m."
    assert SPANISH.length(timedelta(minutes=90)) == "1 hora y 30 minutos"
    assert [SPANISH.days(1), SPANISH.days(7)] == ["1 día", "7 días"]


def test_units_in_spanish(job: JobRecord, schedule: CureSchedule) -> None:
    us, si = (Wording(job, schedule, language="es", units=units) for units in ("us", "si"))
    assert us.quantities.amount(1234.0) == "330 galones"
    assert si.quantities.amount(1234.0) == "1,200 litros"
    assert us.quantity(0.1016, "thickness") == "4 pulgadas"
    assert si.quantity(0.1016, "thickness") == "102\N{NO-BREAK SPACE}mm"
    assert us.percent(0.155) == "16%"


@pytest.mark.parametrize(
    ("language", "country", "litres"),
    [
        ("en", "US", "1,200 liters"),
        ("en", "AU", "1,200 litres"),
        ("en", "DE", "1,200 litres"),
        ("es", "US", "1,200 litros"),
        ("es", "MX", "1,200 litros"),
        ("es", "ES", "1.200 litros"),
        ("es", "AR", "1.200 litros"),
        ("es", "XX", "1,200 litros"),
    ],
)
def test_numbers_and_units_are_those_of_the_country_of_the_site(
    language: str, country: str, litres: str
) -> None:
    """Source: CLDR."""
    locale = load_translations(language).locale_in(country)
    assert with_unit(1200, "L", locale, spelled_out=False) == litres


def test_an_hour_that_ends_with_a_full_stop_ends_the_sentence() -> None:
    """Seen: "7:00 a 9:00 p.m.." in the first job of an owner who reads Spanish."""
    say = load_translations("es").say
    assert say("sheet.first-hours", hours="7:00 a 9:00 p.m.") == "Horas de ese día: 7:00 a 9:00 p.m."
    assert say("sheet.first-hours", hours="19:00 a 21:00") == "Horas de ese día: 19:00 a 21:00."
