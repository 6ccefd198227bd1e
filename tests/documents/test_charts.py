"""The charts: well-formed, described in words, and no label on another."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import timedelta
from itertools import combinations
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from handover.documents import charts
from handover.documents.charts.chart import LABEL, nice_ticks
from handover.documents.charts.labels import LabelFlag, flag_rows, has_crossings, place_labels, placements
from handover.documents.charts.strength_band import GATE_KINDS
from handover.documents.charts.timeline import FLAG_KINDS, SLAB_TONES
from handover.documents.pages import NARROW, WIDE
from handover.documents.svg import INKS, Drawing, text_width
from handover.documents.wording import Wording
from handover.schedule.model import Figure, Gate, Milestone, MilestoneKind, Reason

if TYPE_CHECKING:
    from collections.abc import Callable

    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule

SVG = "{http://www.w3.org/2000/svg}"
DRAWN = (charts.time_line, charts.strength, charts.weather_strip)

labels = st.lists(st.tuples(st.floats(16, 504), st.floats(30, 230)), min_size=1, max_size=7)


@given(labels)
def test_flags_keep_apart(drawn: list[tuple[float, float]]) -> None:
    flags = [placements(pole, width, 518)[0] for pole, width in drawn]
    levels = flag_rows(flags)
    for one in range(len(flags)):
        for other in range(one):
            if levels[one] == levels[other]:
                assert not flags[one].touches(flags[other])


@given(labels)
def test_flags_stay_on_the_paper(drawn: list[tuple[float, float]]) -> None:
    for pole, width in drawn:
        assert 0 <= max(placements(pole, width, 518)[0].right, pole) <= 518


@pytest.mark.parametrize(
    ("labels", "edge"),
    [
        ([(pole, 110) for pole in (70, 119, 207, 282, 282, 514)], 518),  # an ordinary week
        ([(95, 130), (230, 91), (262, 70), (318, 97)], 394),  # on a phone the last labels turn back
        ([(84, 140), (227, 84), (350, 77), (394, 97)], 394),
    ],
)
def test_no_pole_runs_through_a_label(labels: list[tuple[float, float]], edge: float) -> None:
    flags, levels = place_labels(labels, edge)
    assert not has_crossings(flags, levels)
    assert all(0 <= each.left < each.right <= edge for each in flags)


def test_a_pole_through_a_label_is_seen() -> None:
    flags = [placements(pole, 110, 518)[0] for pole in (70, 119)]
    assert has_crossings(flags, [0, 1])
    assert not has_crossings(flags, [1, 0])


@given(labels)
def test_labels_fly_to_the_right_where_they_can(drawn: list[tuple[float, float]]) -> None:
    flags, levels = place_labels(drawn, 518)
    plain = [placements(pole, width, 518)[0] for pole, width in drawn]
    rows = flag_rows(plain)
    assert list(flags) == plain or has_crossings(plain, rows) or max(rows) > max(levels)
    assert levels == flag_rows(flags)


def test_a_label_keeps_off_the_pole_of_another() -> None:
    """Seen: "Wed Sep 23" against the pole of the next date, so that it seemed to be its date."""
    flag = LabelFlag(100, 104, 180)
    assert flag.covers(183)
    assert flag.covers(102)
    assert not flag.covers(100)
    flags, levels = place_labels([(100, 76), (183, 60)], 518)
    assert levels[0] > levels[1] or flags[0].right < 100


@pytest.mark.parametrize("language", ["en", "es"])
def test_each_label_of_the_sheet_has_its_date_in_its_line(
    language: str, job: JobRecord, schedule: CureSchedule
) -> None:
    """Seen: the date of a loaded truck below the name of a car."""
    words = Wording(job, schedule, language=language)
    root = ET.fromstring(charts.time_line(words, WIDE).svg)  # noqa: S314 - our own drawing
    lines = {each.text: float(each.get("y", 0)) for each in root.iter(f"{SVG}text")}
    shown = [each for each in words.dates.owner_milestones if each.kind in FLAG_KINDS and each.when]
    assert len(shown) > 3
    for each in shown:
        assert each.when is not None
        assert lines[words.dates.short_title(each.kind)] in {
            float(one.get("y", 0)) for one in root.iter(f"{SVG}text") if one.text == each.when.short
        }


@pytest.mark.parametrize("width", [350, 400, 520])
def test_labels_of_the_strength_chart_stand_above_its_lines(
    width: float, job: JobRecord, schedule: CureSchedule
) -> None:
    """Seen: the curve of a slow slab through "Loaded truck", and a white box over the grey band."""
    half = (Figure("needed", 0.5, "1"), Figure("specified_strength", 20.0, "MPa"))
    because = Reason(Gate("r", None, None, "", "computed", half))
    gated = tuple(replace(each, because=because) for each in schedule.milestones)
    words = Wording(job, replace(schedule, milestones=gated))
    root = ET.fromstring(charts.strength(words, width, 200).svg)  # noqa: S314 - our own drawing
    names = {words.dates.short_title(kind) for kind in GATE_KINDS}
    labels = [float(each.get("y", 0)) for each in root.iter(f"{SVG}text") if each.text in names]
    band = next(each for each in root.iter(f"{SVG}path") if each.get("class") == "f-band")
    highest = min(float(point.split()[1]) for point in band.get("d", "").strip("MZ").split("L"))
    assert len(labels) == len(names)
    assert max(labels) < highest
    assert not list(root.iter(f"{SVG}rect"))


@pytest.mark.parametrize("width", [520, 400])
@pytest.mark.parametrize("apart_h", [0, 12, 36, 24 * 7])
def test_labels_of_the_strength_chart_keep_apart(
    apart_h: int, width: float, job: JobRecord, schedule: CureSchedule
) -> None:
    """A car and a loaded truck may come within a day of one another."""
    car = schedule.milestone(MilestoneKind.LIGHT_VEHICLES)
    assert car is not None
    assert car.not_before is not None
    half = (Figure("needed", 0.5, "1"), Figure("specified_strength", 20.0, "MPa"))
    because = Reason(Gate("r", None, None, "", "computed", half))
    late = car.not_before + timedelta(hours=apart_h)
    gated = (
        replace(each, because=because, not_before=late, printed=None)
        if each.kind == MilestoneKind.HEAVY_VEHICLES
        else replace(each, because=because)
        for each in schedule.milestones
    )
    words = Wording(job, replace(schedule, milestones=tuple(gated)))
    root = ET.fromstring(charts.strength(words, width).svg)  # noqa: S314 - our own drawing
    names = {words.dates.short_title(kind) for kind in GATE_KINDS}
    drawn = [each for each in root.iter(f"{SVG}text") if each.text in names]
    assert len(drawn) == len(names)
    spans = []
    for each in drawn:
        x, wide = float(each.get("x", 0)), text_width(each.text or "", LABEL, bold=True)
        left = x - wide if each.get("text-anchor") == "end" else x
        spans.append((left, left + wide, float(each.get("y", 0))))
    for one, other in combinations(spans, 2):
        beside = one[1] <= other[0] or other[1] <= one[0]
        assert beside or abs(one[2] - other[2]) >= LABEL


def test_most_of_the_strength_comes_in_the_first_week_only_where_it_does(
    job: JobRecord, schedule: CureSchedule
) -> None:
    """Seen: said of a slab with less than half of its strength after a week of frost."""
    history = schedule.history
    middle = history.strength_mpa.likely.middle
    late = np.where(history.hours <= 7 * 24, 0.4, 1.0) * middle[-1]
    slow = replace(history.strength_mpa, likely=replace(history.strength_mpa.likely, middle=late))
    cold = replace(schedule, history=replace(history, strength_mpa=slow))
    assert "in the first week" in charts.strength(Wording(job, schedule)).read
    assert "slowly" in charts.strength(Wording(job, cold)).read


def with_share(schedule: CureSchedule, share: float) -> CureSchedule:
    """Return a schedule whose likely strength is at most a share of that on order."""
    history = schedule.history
    likely = history.strength_mpa.likely
    stalled = np.minimum(likely.middle, share * schedule.specified_strength_mpa)
    band = replace(history.strength_mpa, likely=replace(likely, middle=stalled))
    return replace(schedule, history=replace(history, strength_mpa=band))


def test_a_slab_that_stalls_has_not_gained_most_of_its_strength(
    job: JobRecord, schedule: CureSchedule
) -> None:
    """Seen: 586 psi on day 7 and after, of 4,000 on order. All that it has is not most of what it gets."""
    assert "in the first week" not in charts.strength(Wording(job, with_share(schedule, 0.15))).read


@pytest.mark.parametrize(("share", "darkest"), [(0.07, 0), (0.5, 5), (1.0, SLAB_TONES - 1)])
def test_the_time_line_is_as_dark_as_the_slab_is_strong(
    job: JobRecord, schedule: CureSchedule, share: float, darkest: int
) -> None:
    """A tone for each twelfth of the strength on order: 7 % has the first, 50 % the sixth."""
    svg = charts.time_line(Wording(job, with_share(schedule, share * 0.999))).svg
    tones = {int(each) for each in re.findall(r"slab(\d+)", svg)}
    assert max(tones) == darkest


def test_a_date_past_the_end_of_the_strength_chart_is_named_at_its_end(
    job: JobRecord, schedule: CureSchedule
) -> None:
    """Seen: a truck of March on day 28 of a chart in November, without its date."""
    kind = MilestoneKind.HEAVY_VEHICLES
    for days, labels in ((27, ["Loaded truck"]), (130, ["Loaded truck", "Dec"])):
        later = schedule.placement_end + timedelta(days=days)
        moved = (
            replace(each, not_before=later, printed=None) if each.kind == kind else each
            for each in schedule.milestones
        )
        words = Wording(job, replace(schedule, milestones=tuple(moved)))
        drawn = charts.strength(words).svg
        assert all(f">{each}</text>" in drawn for each in labels)


@pytest.mark.parametrize("draw", DRAWN)
def test_charts_are_printed_in_words(
    draw: Callable[[Wording], charts.Chart], job: JobRecord, schedule: CureSchedule
) -> None:
    chart = draw(Wording(job, schedule))
    root = ET.fromstring(chart.svg)  # noqa: S314 - our own drawing
    title, desc = root.findtext(f"{SVG}title"), root.findtext(f"{SVG}desc")
    assert title
    assert desc
    assert len(desc) > len(title)
    assert chart.read.endswith(".")


@pytest.mark.parametrize("draw", DRAWN)
@pytest.mark.parametrize("units", ["us", "si"])
@pytest.mark.parametrize("days", [1, 28])
def test_all_text_is_on_the_paper(
    draw: Callable[[Wording], charts.Chart],
    units: str,
    days: int,
    job: JobRecord,
    schedule_with: Callable[..., CureSchedule],
) -> None:
    root = ET.fromstring(draw(Wording(job, schedule_with(days=days), units=units)).svg)  # type: ignore[arg-type]  # noqa: S314
    _, _, width, height = (float(each) for each in root.attrib["viewBox"].split())
    for text in root.iter(f"{SVG}text"):
        assert 0 <= float(text.attrib["x"]) <= width
        assert 8 <= float(text.attrib["y"]) <= height


def test_the_time_line_shows_the_dates_that_fall_on_it(job: JobRecord, schedule: CureSchedule) -> None:
    svg = charts.time_line(Wording(job, schedule)).svg
    for words in ("Walk", "Wed Jul 15, 9:30 am", "Car", "Stop watering", "Loaded truck", "Keep it wet"):
        assert f">{words}</text>" in svg


def test_a_date_past_the_time_line_is_at_its_end_with_its_date(
    job: JobRecord, schedule_with: Callable[..., CureSchedule], schedule: CureSchedule
) -> None:
    def delayed(milestone: Milestone) -> Milestone:
        if milestone.kind != MilestoneKind.HEAVY_VEHICLES or milestone.not_before is None:
            return milestone
        return Milestone(
            milestone.kind,
            milestone.likely,
            milestone.not_before + timedelta(days=150),
            milestone.because,
            milestone.basis,
        )

    late = schedule_with(milestones=tuple(map(delayed, schedule.milestones)))
    drawn = charts.time_line(Wording(job, late)).svg
    assert ">Loaded truck</text>" in drawn
    assert ">mid-Jan 2027</text>" in drawn


def test_many_flags_at_one_place_have_one_line_each(
    job: JobRecord, schedule_with: Callable[..., CureSchedule], schedule: CureSchedule
) -> None:
    """In long cold all dates are past the line: two lines for each would fill the page."""

    def delayed(milestone: Milestone) -> Milestone:
        if milestone.not_before is None:
            return milestone
        return replace(milestone, not_before=milestone.not_before + timedelta(days=60), printed=None)

    late = schedule_with(milestones=tuple(map(delayed, schedule.milestones)))
    wording = Wording(job, late)
    svg = ET.fromstring(charts.time_line(wording).svg)  # noqa: S314 - our own drawing
    texts = {each.text: each for each in svg.iter() if each.tag.endswith("text")}
    titles = ("Walk", "Light work", "Car", "Loaded truck", "Start watering")
    shorts = {words.when.short for words in wording.dates.owner_milestones if words.when}
    heights = {float(texts[each].attrib["y"]) for each in titles}
    days = {float(each.attrib["y"]) for each in texts.values() if each.text in shorts}
    assert days <= heights | {float(texts["Stop watering"].attrib["y"])}
    assert len(heights) == 5


def test_texts_are_escaped() -> None:
    drawing = Drawing(10, 10, "<title>", 'a "desc" & more', "x")
    drawing.text((1, 9), "<b>&</b>")
    root = ET.fromstring(str(drawing))  # noqa: S314 - our own drawing
    assert root.findtext(f"{SVG}title") == "<title>"
    assert root.findtext(f"{SVG}text") == "<b>&</b>"


@given(st.floats(0.01, 1e5))
def test_ticks_are_few_and_reach_past_the_highest(highest: float) -> None:
    ticks = nice_ticks(highest)
    assert ticks[0] == 0
    assert ticks[-1] >= highest * (1 - 1e-6)
    assert 3 <= len(ticks) <= 6


def luminance(ink: str) -> float:
    parts = [int(ink[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(ink: str, paper: str) -> float:
    light, dark = sorted((luminance(INKS[ink]), luminance(INKS[paper])), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("ink", ["ink", "soft", "water", "warm"])
@pytest.mark.parametrize("paper", ["paper", "wash", "wet", "sand"])
def test_inks_have_contrast(ink: str, paper: str) -> None:
    """WCAG 2.2, success criterion 1.4.3: 4.5 to 1 for text."""
    assert contrast(ink, paper) >= 4.5


def test_the_slab_darkens_step_by_step() -> None:
    tones = [luminance(INKS[f"slab{tone}"]) for tone in range(SLAB_TONES)]
    assert tones == sorted(tones, reverse=True)


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize(
    ("source", "named"), [("MET Norway Locationforecast (CC BY 4.0)", True), ("table of weather", False)]
)
def test_a_source_whose_licence_requires_it_is_named_beside_its_data(
    job: JobRecord, schedule: CureSchedule, source: str, named: bool, language: str
) -> None:
    weather = replace(schedule.weather, source=source)
    drawn = charts.weather_strip(Wording(job, replace(schedule, weather=weather), language=language))
    assert (source in drawn.read) == named


@pytest.mark.parametrize("width", [NARROW, WIDE])
def test_no_line_runs_through_a_label_of_the_weather_chart(
    width: float, job: JobRecord, schedule: CureSchedule
) -> None:
    """Seen: the line of the first midnight through "Drying", and a low beside it in the same line."""
    root = ET.fromstring(charts.weather_strip(Wording(job, schedule), width).svg)  # noqa: S314 - our own
    uprights = [
        {name: float(value) for name, value in each.attrib.items() if name in {"x1", "x2", "y1", "y2"}}
        for each in root.iter(f"{SVG}line")
    ]
    uprights = [each for each in uprights if each["x1"] == each["x2"]]
    assert len(uprights) > 4
    for text in root.iter(f"{SVG}text"):
        x, y, size = (float(text.get(name, 0)) for name in ("x", "y", "font-size"))
        if not (text.get("font-weight") or "°" in (text.text or "")):
            continue  # the days stand below the chart, beside their lines
        wide = text_width(text.text or "", size)
        left = x - wide / 2 if text.get("text-anchor") == "middle" else x
        for line in uprights:
            crosses = left < line["x1"] < left + wide and line["y1"] < y - 2 and line["y2"] > y - size + 3
            assert not crosses, text.text
