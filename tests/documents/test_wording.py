"""Every code has words, words are plain, and one instruction has one wording."""

from __future__ import annotations

import re
import tomllib
from dataclasses import replace
from datetime import timedelta
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any, get_args

import pytest

from handover.documents.care_sheet import CareSheet
from handover.documents.events import owner_events
from handover.documents.icons import ICON_NAMES
from handover.documents.quantity_format import format_fixed, format_rounded
from handover.documents.templating import languages, read_text, search_path, templates_folder
from handover.documents.translations import MissingText, load_translations, slug
from handover.documents.wording import Wording
from handover.errors import UnusableInput
from handover.jobs.record import Base, Exposure, Method, SlabUse
from handover.schedule.ensemble import _SCALARS
from handover.schedule.model import (
    Basis,
    Caution,
    Figure,
    Joints,
    Mark,
    MilestoneKind,
    Refusal,
    Risk,
    SawWindow,
)
from handover.schedule.owner_dates import OWNER_KINDS
from handover.schedule.printed_times import half_hour_down

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule

LANGUAGES = languages()
WATERED = tuple(method for method in get_args(Method) if method != "curing compound")


def practice(name: str) -> dict[str, Any]:
    return tomllib.loads(files("handover.practice").joinpath(name).read_text(encoding="utf-8"))


def gates() -> Iterator[dict[str, Any]]:
    """Yield every condition of practice, of every country."""
    yield from practice("rules.toml")["gate"]
    for country in files("handover.practice").joinpath("countries").iterdir():
        yield from practice(f"countries/{country.name}")["gate"]


def codes() -> Iterator[str]:
    """Name every code that a schedule may carry, as a key of the catalog."""
    yield from (f"rule.{gate['rule']}" for gate in gates())
    for code in practice("cautions.toml"):
        yield from (f"caution.{code}.title", f"caution.{code}.text")
    yield from (f"refusal.{code}" for code in practice("refusals.toml"))
    for code in (
        "drying-precaution",
        "drying-watch",
        "windbreak",
        "fog",
        "evaporation-retarder",
        "frost",
        "rain-on-fresh",
    ):  # as Risk names them
        yield from (f"risk.{code}.title", f"risk.{code}.text")
    # As WateringDay names them.
    yield from (f"watering.none-{code}" for code in ("rain", "frost", "compound", "cover"))
    for kind in MilestoneKind:
        yield from (f"milestone.{kind}.{part}" for part in ("title", "sentence", "crew"))
        yield f"milestone.short.{kind}"
    for method in map(slug, get_args(Method)):
        yield from (f"method.{method}", f"visit.{method}.title", f"visit.{method}.action")
        yield from (f"your-part.{method}", f"your-part.{method}-text")
    yield from (f"use.{slug(use)}" for use in get_args(SlabUse))
    yield from (f"base.{slug(base)}" for base in get_args(Base))
    yield from (f"exposure.{exposure}" for exposure in get_args(Exposure))
    yield from (f"basis.{basis}" for basis in get_args(Basis))
    yield from (f"mark.{slug(mark)}" for mark in get_args(Mark))


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_code_has_words(language: str) -> None:
    words = load_translations(language)
    assert [code for code in codes() if not words.has(code)] == []


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_method_says_how(language: str) -> None:
    for method in get_args(Method):
        assert read_text(f"{language}/how/{slug(method)}.md").strip()


def figures_of_the_schedule() -> set[str]:
    """Return the names of figures in the source of the room that makes them."""
    room = Path(str(files("handover.schedule")))
    return {
        name
        for file in room.glob("*.py")
        for name in re.findall(r'Figure\(\s*"([^"]+)"', file.read_text("utf-8"))
    }


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_figure_has_a_name(language: str) -> None:
    named = set(load_translations(language).lookup("figure"))
    assert figures_of_the_schedule() - named == set()


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_uncertainty_has_a_name(language: str) -> None:
    assert {*_SCALARS, "weather"} <= set(load_translations(language).lookup("spread"))


def strings(tree: Any, above: str = "") -> Iterator[tuple[str, str]]:
    for key, value in tree.items():
        if isinstance(value, dict):
            yield from strings(value, f"{above}{key}.")
        elif isinstance(value, str):
            yield f"{above}{key}", value


@pytest.mark.parametrize("language", LANGUAGES)
def test_sentences_are_short(language: str) -> None:
    """Plain words: no sentence of an owner's text has 20 words or more."""
    office = ("data.", "joints.", "chart.", "figure.", "mark.")
    owner = [text for key, text in strings(load_translations(language).tree) if not key.startswith(office)]
    texts = owner + [
        line.lstrip("-0123456789. ")
        for file in (templates_folder() / language).rglob("*.md")
        for line in file.read_text("utf-8").splitlines()
    ]
    sentences = [each for text in texts for each in re.split(r"(?<=[.!?])\s+", text)]
    assert [each for each in sentences if len(each.split()) >= 20] == []


PROMISES = {
    "en": (
        r"(?<!forecast the slab )does not freeze",
        r"\b(?:they|coat) fades?\b",
        r"(?<!usually )ends? up strong",
        r"(?:alone|plastic) is enough",
        r"all is well",
    ),
    "es": (
        r"(?<!según el pronóstico, la losa )no se (?:hiela|congela)",
        r"(?<!casi todas )se van en unas semanas",
        r"\bla capa se aclara",
        r"(?<!suele )(?:acaba|queda) fuerte",
        r"después basta",
        r"todo está bien",
    ),
}
"""What nobody can promise about weather and concrete, without "by the forecast", "usually" or "most"."""


@pytest.mark.parametrize("language", LANGUAGES)
def test_no_paper_promises_what_weather_and_concrete_may_break(language: str) -> None:
    texts = [text for _, text in strings(load_translations(language).tree)]
    texts += [file.read_text("utf-8") for file in (templates_folder() / language).rglob("*.md")]
    for pattern in PROMISES[language]:
        assert [each for each in texts if re.search(pattern, each.lower())] == []


def test_every_picture_is_there() -> None:
    assert {file.stem for file in (templates_folder() / "icons").glob("*.svg")} == set(ICON_NAMES)


def test_an_unknown_language_is_a_finding() -> None:
    with pytest.raises(UnusableInput, match='no texts in the language "tlh"'):
        load_translations("tlh")


def test_a_missing_string_is_an_error_that_names_it() -> None:
    with pytest.raises(MissingText, match=r"sheet\.nothing-of-the-kind"):
        load_translations("en").say("sheet.nothing-of-the-kind")


def test_a_missing_folder_of_templates_is_a_finding(tmp_path: Path) -> None:
    with pytest.raises(UnusableInput, match="no such folder"):
        search_path(tmp_path / "nowhere")


def test_a_contractors_words_replace_the_programs(
    tmp_path: Path, job: JobRecord, schedule: CureSchedule
) -> None:
    (tmp_path / "en").mkdir()
    (tmp_path / "en" / "words.toml").write_text('[milestone.foot-traffic]\ntitle = "Step on it"\n', "utf-8")
    wording = Wording(job, schedule, templates=tmp_path)
    assert wording.dates.title(MilestoneKind.FOOT_TRAFFIC) == "Step on it"
    assert wording.dates.title(MilestoneKind.SEAL) == "Seal it"


def test_a_contractors_words_may_be_a_gettext_catalog(
    tmp_path: Path, job: JobRecord, schedule: CureSchedule
) -> None:
    own = tmp_path / "en" / "LC_MESSAGES"
    own.mkdir(parents=True)
    (own / "handover.po").write_text(
        'msgid ""\nmsgstr "Language: en\\n"\n\n'
        'msgid "milestone.foot-traffic.title"\nmsgstr "Step on it"\n\n'
        'msgid "milestone.seal.title"\nmsgstr ""\n',
        "utf-8",
    )
    wording = Wording(job, schedule, templates=tmp_path)
    assert wording.dates.title(MilestoneKind.FOOT_TRAFFIC) == "Step on it"
    assert wording.dates.title(MilestoneKind.SEAL) == "Seal it", "an entry without translation is none"


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("words.toml", b"[sheet\n"),
        ("words.toml", b"\xff"),
        ("LC_MESSAGES/handover.po", b"milestone = nothing\n"),
        ("LC_MESSAGES/handover.po", b"\xff"),
    ],
)
def test_words_that_cannot_be_read_are_a_finding(name: str, content: bytes, tmp_path: Path) -> None:
    file = tmp_path / "en" / name
    file.parent.mkdir(parents=True)
    file.write_bytes(content)
    with pytest.raises(UnusableInput, match="cannot be read"):
        load_translations("en", tmp_path)


def test_names_with_braces_are_only_names(job_with: Callable[..., JobRecord], schedule: CureSchedule) -> None:
    job = job_with(contractor={"name": "{title} & {0}", "phone": "336-555-0117"})
    assert "{title} & {0}" in Wording(job, schedule).caller


def test_the_owner_reads_dates_in_order_of_time(job: JobRecord, schedule: CureSchedule) -> None:
    printed = Wording(job, schedule).owner_milestones
    assert {each.kind for each in printed} <= set(OWNER_KINDS)
    instants = [each.when.instant for each in printed if each.when]
    assert instants == sorted(instants)


def test_a_date_past_the_estimate_sends_to_the_contractor(job: JobRecord, schedule: CureSchedule) -> None:
    milestone = schedule.milestone(MilestoneKind.SEAL)
    assert milestone is not None
    words = Wording(job, schedule).milestone(replace(milestone, likely=None, not_before=None))
    assert words.when is None
    assert words.when_text == "Ask your contractor"


@pytest.mark.parametrize("method", get_args(Method))
def test_curing_ends_in_the_words_of_its_method(
    method: str, job: JobRecord, schedule_with: Callable[..., CureSchedule]
) -> None:
    title = Wording(job, schedule_with(method=method)).dates.title(MilestoneKind.CURING_ENDS)
    watering = "water" in title.lower()
    assert watering == (method in {"sprinkler", "soaker hose", "hose by hand", "ponding"})


def test_the_same_watering_reads_the_same_in_calendar_and_table(
    job: JobRecord, schedule: CureSchedule
) -> None:
    wording = Wording(job, schedule)
    event, row = owner_events(wording)[0], wording.watering[0].visits[0]
    assert event.title == row.title
    assert row.action in event.description
    assert row.amount in event.description


def test_the_same_date_reads_the_same_in_calendar_and_sheet(job: JobRecord, schedule: CureSchedule) -> None:
    wording = Wording(job, schedule)
    for milestone in schedule.milestones:
        row = wording.milestone(milestone)
        text = wording.events.owner_text(row)
        assert row.when_text in text
        assert row.sentence in text


def test_a_slab_with_a_window_for_each_part_is_sawn_in_stages(job: JobRecord, schedule: CureSchedule) -> None:
    milestone = schedule.milestone(MilestoneKind.SAW_JOINTS)
    assert milestone is not None
    window = SawWindow("conventional", milestone.likely, milestone.not_before, milestone.not_after)
    parts = tuple(replace(window, part=each) for each in ("first", "last"))
    staged = replace(schedule, joints=Joints(parts, None, 0.0254, 0.0254, 3.66, None))
    assert Wording(job, staged).milestone(milestone).in_stages
    assert not Wording(job, schedule).milestone(milestone).in_stages


def test_cautions_carry_their_numbers_in_the_readers_units(
    job: JobRecord, schedule_with: Callable[..., CureSchedule]
) -> None:
    cold = Caution(
        "cold-weather", (Figure("coldest_air", -10.0, "degC"), Figure("forecast_air", -6.0, "degC"))
    )
    dry = Caution("wet-dry", (Figure("dry_hours", 4.3, "h"),))
    schedule = schedule_with(cautions=(cold, dry))
    us, si = (Wording(job, schedule, units=units).cautions for units in ("us", "si"))
    assert "14\N{NO-BREAK SPACE}°F" in us[0].text
    assert "-10\N{NO-BREAK SPACE}°C" in si[0].text
    assert "5 hours" in us[1].text


@pytest.mark.parametrize(
    ("value", "digits", "text"),
    [
        (1234.0, 2, "1,200"),
        (0.0345, 2, "0.035"),
        (0, 2, "0"),
        (99.6, 2, "100"),
        (3.0, 3, "3"),
        (-4.44, 2, "-4.4"),
    ],
)
def test_rounding_to_figures_that_can_be_read(value: float, digits: int, text: str) -> None:
    assert format_rounded(value, digits) == text


@pytest.mark.parametrize(
    ("figures", "us"),
    [
        ((Figure("thickness", 0.1016, "m"),), "4 in"),  # the inch by definition
        ((Figure("spacing", 9.144, "m"),), "30 ft"),
        ((Figure("limit", 0.3048, "m"), Figure("spacing", 0.2, "m")), "1 ft"),  # a limit as what it limits
        ((Figure("limit", 0.6096, "m"), Figure("slump", 0.7, "m")), "24 in"),
        ((Figure("warmest", 20.0, "degC"),), "68 °F"),
        ((Figure("limit", 11.1, "K"), Figure("water_temperature", 5.0, "degC")), "20 °F"),  # keeps no 32
        ((Figure("water_added", 3.785411784, "L"),), "1 gallon"),  # the US gallon by definition
        ((Figure("needed", 6.0, "h"),), "6 h"),
        ((Figure("needed", 7.0, "d"),), "7 d"),
        ((Figure("limit", 90.0, "min"), Figure("time_to_discharge", 95.0, "min")), "90 min"),
        ((Figure("time_to_discharge", 125.0, "min"),), "125 min"),
        ((Figure("water_cementitious", 0.52, "1"),), "0.52"),
        ((Figure("strength_lost", 0.061, "1"),), "6.1%"),
    ],
)
def test_a_figure_is_of_the_kind_that_its_name_declares(
    figures: tuple[Figure, ...], us: str, job: JobRecord, schedule: CureSchedule
) -> None:
    words = Wording(job, schedule).quantities.figure(figures[0], figures)
    assert words.replace("\N{NO-BREAK SPACE}", " ") == us


def test_a_template_may_name_a_kind_or_an_si_unit_of_one_kind(job: JobRecord, schedule: CureSchedule) -> None:
    wording = Wording(job, schedule)
    assert wording.quantity(20.0, "degC") == wording.quantity(20.0, "temperature")
    assert wording.quantity(0.1016, "thickness", 3).replace("\N{NO-BREAK SPACE}", " ") == "4 in"
    assert wording.unit_name("degC") == wording.unit_name("temperature") == "°F"


@pytest.mark.parametrize(
    ("value", "decimals", "locale", "text"),
    [
        (-0.2, 0, "en", "0"),
        (0.5, 2, "en", "0.50"),
        (1199.6, 0, "en", "1,200"),
        (-1234.5, 1, "de", "-1.234,5"),  # CLDR: German groups with a point
    ],
)
def test_numbers_of_a_column_are_written_alike(value: float, decimals: int, locale: str, text: str) -> None:
    assert format_fixed(value, decimals, locale) == text


def test_units_that_hold_at_a_temperature(job: JobRecord, schedule: CureSchedule) -> None:
    """21.1 degC is 70 degF, an inch 0.0254 m, both by definition."""
    us, si = (Wording(job, schedule, units=units) for units in ("us", "si"))
    assert us.quantity(2.5, "h at 21.1 degC").replace("\N{NO-BREAK SPACE}", " ") == "2.5 h at 70 °F"
    assert si.quantity(2.5, "h at 21.1 degC").replace("\N{NO-BREAK SPACE}", " ") == "2.5 h at 21 °C"
    assert us.quantity(28346.5, "h/m", 3).replace("\N{NO-BREAK SPACE}", " ") == "720 h/in"


def _cold_notice(job: JobRecord, schedule: CureSchedule, coldest: float, forecast: float) -> str:
    figures = (Figure("coldest_air", coldest, "degC"), Figure("forecast_air", forecast, "degC"))
    cold = replace(schedule, cautions=(Caution("cold-weather", source="a source", figures=figures),))
    return Wording(job, cold).cautions[0].text


@pytest.mark.parametrize(("lowest", "other"), [(-6.0, False), (-16.0, True)])
def test_each_lowest_temperature_says_when_it_is(
    job: JobRecord, schedule: CureSchedule, lowest: float, other: bool
) -> None:
    """Seen: "the forecast goes down to 0 °C" and "the forecast goes down to -16 °C" on one sheet."""
    frost = schedule.placement_end + timedelta(hours=10)
    night = (Figure("coldest_air", -10.0, "degC"), Figure("forecast_air", -6.0, "degC"))
    weeks = (Figure("coldest_air", lowest - 4.0, "degC"), Figure("forecast_air", lowest, "degC"))
    cautions = (Caution("frost", night), Caution("cold-weather", weeks))
    risks = (Risk("frost", frost, frost + timedelta(hours=3), frost),)
    cold = replace(schedule, cautions=cautions, risks=risks, tasks=())
    wording = Wording(job, cold, units="si")
    of_frost, of_weeks = (each.text.replace("\N{NO-BREAK SPACE}", " ") for each in wording.cautions)
    assert wording.speak.moment(half_hour_down(frost)).short in of_frost
    assert "-6 °C" in of_frost
    assert ("-16 °C" in of_weeks) == other
    assert ("°C" in of_weeks) == other
    assert of_weeks.startswith("While it cures" if other else "Cold slows")


def test_it_may_be_colder_only_if_that_is_colder_in_print(job: JobRecord, schedule: CureSchedule) -> None:
    assert "may be colder" in _cold_notice(job, schedule, -6.0, -2.8)
    assert "may be colder" not in _cold_notice(job, schedule, -2.9, -2.8)
    assert "may be colder" not in _cold_notice(job, schedule, -2.0, -2.8)


@pytest.mark.parametrize("language", ["en", "es"])
def test_a_curing_coat_comes_off_before_a_sealer(
    job: JobRecord, schedule_with: Any, schedule: CureSchedule, language: str
) -> None:
    coated = schedule_with(method="curing compound")
    for each, comes_off in ((coated, True), (schedule, False)):
        wording = Wording(job, each, language=language)
        [seal] = [words for words in wording.milestones if words.kind == MilestoneKind.SEAL]
        assert (wording.say("milestone.words.coat-off") in seal.sentence) == comes_off


@pytest.mark.parametrize("language", languages())
def test_a_coat_that_seals_stays_and_never_wears_off_in_its_papers(
    language: str, job_with: Any, schedule_with: Any
) -> None:
    """Cure and seal: what may be done later follows the maker's sheet and a test of its grip."""
    coated = schedule_with(method="curing compound")
    words = {
        seals: Wording(
            job_with(curing={"method": "curing compound", "seals": seals}), coated, language=language
        )
        for seals in (True, False)
    }
    wears_off = {"en": "wears off", "es": "gastarse en"}[language]
    for seals, wording in words.items():
        seal, ends = (
            next(each for each in wording.dates.milestones if each.kind == kind).sentence
            for kind in (MilestoneKind.SEAL, MilestoneKind.CURING_ENDS)
        )
        assert (wording.say("milestone.words.coat-seals") in seal) is seals
        assert (wording.say("milestone.words.coat-off") in seal) is not seals
        assert (wording.say("milestone.words.coat-stays") in ends) is seals
        care = CareSheet(wording, {})
        texts = f"{care.how} {care.text_by_method('normal')}"
        assert (wears_off in texts) is not seals


@pytest.mark.parametrize(("place", "heated"), [((29.1, -110.95), False), ((46.85, -92.1), True)])
def test_heat_is_named_only_where_it_freezes(
    job: JobRecord, schedule: CureSchedule, place: tuple[float, float], heated: bool
) -> None:
    """Hermosillo and Duluth."""
    site = job.site.model_copy(update={"latitude": place[0], "longitude": place[1]})
    job = job.model_copy(update={"site": site})
    refusal = Refusal(MilestoneKind.FLOOR_COVERING, "dries-under-a-roof", (Figure("drying", 2400.0, "h"),))
    wording = Wording(job, replace(schedule, refusals=(refusal,)))
    [withheld] = wording.withheld
    assert ("heat" in f"{withheld.when} {withheld.sentence}") == heated


@pytest.mark.parametrize(
    ("language", "floor", "other"),
    [("en", "floor heating off", "electric heat"), ("es", "calefacción del piso", "calor eléctrico")],
)
def test_a_warm_room_over_a_heated_slab_names_which_heat_is_off_and_which_is_on(
    job: JobRecord, schedule: CureSchedule, language: str, floor: str, other: str
) -> None:
    """The heat of the floor waits for weeks, and the dates count on a warm room from the pour on."""
    record = job.model_copy(update={"slab": job.slab.model_copy(update={"heated": True})})
    cautions = (
        Caution("heated", (Figure("rise", 5.0, "K"),)),
        Caution("room-heat", (Figure("room_air", 10.0, "degC"),)),
    )
    pipes, room = Wording(record, replace(schedule, cautions=cautions), language=language).cautions
    assert floor in pipes.text
    assert other in room.text
    [plain] = Wording(job, replace(schedule, cautions=cautions[1:]), language=language).cautions
    assert other not in plain.text


@pytest.mark.parametrize(("month", "is_first"), [(12, False), (6, True)])
def test_a_sealer_in_winter_is_not_before_the_first_freeze(
    job: JobRecord, schedule: CureSchedule, month: int, is_first: bool
) -> None:
    """Common practice, no source: north of the equator the first freeze is over in December."""
    seal = schedule.milestone(MilestoneKind.SEAL)
    assert seal is not None
    assert seal.not_before is not None
    when = seal.not_before.replace(month=month, day=20)
    season = replace(seal.because.governing, rule="seal.mild-days")
    seal = replace(seal, not_before=when, because=replace(seal.because, others=(season,)))
    [words] = Wording(job, replace(schedule, milestones=(seal,))).milestones
    assert ("first freeze" in words.sentence) == is_first
