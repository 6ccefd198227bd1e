"""The data sheet says by which rules a date is computed, and how sure we are of each."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING, get_args

import pytest

from handover.documents.data_sheet import DataSheet
from handover.documents.pages import data_sheet_html
from handover.documents.translations import load_translations, slug
from handover.documents.wording import Wording
from handover.schedule.model import Assumption, Mark, MilestoneKind, Reason

if TYPE_CHECKING:
    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule


@pytest.mark.parametrize("mark", get_args(Mark))
def test_a_rule_from_memory_says_so_whether_it_governs_or_not(
    job: JobRecord, schedule: CureSchedule, mark: Mark
) -> None:
    ends = schedule.milestone(MilestoneKind.CURING_ENDS)
    assert ends is not None
    first, second = (
        replace(ends.because.governing, rule="curing-ends.by-temperature", source=source, mark=mark)
        for source in ("The table that governs", "The table that is next")
    )
    printed = replace(ends, because=Reason(first, (second,)))
    html = data_sheet_html(Wording(job, replace(schedule, milestones=(printed,))))
    words = load_translations("en")
    letter, meaning = words.lookup(f"mark.letter.{slug(mark)}"), words.lookup(f"mark.{slug(mark)}")
    assert f"{letter} {meaning}" in html, "the legend"
    for source in ("The table that governs", "The table that is next"):
        assert re.search(rf'{source}</span> <span class="mark">{letter}</span>', html)


def test_the_rules_of_another_country_are_printed(job: JobRecord, schedule: CureSchedule) -> None:
    printed = Assumption("rules", "the strictest of Germany, India", "no rules for NZ")
    html = data_sheet_html(Wording(job, replace(schedule, assumed=(printed,))))
    assert all(each in html for each in (printed.field, printed.value, printed.why))


def test_what_was_assumed_is_in_the_readers_units(job: JobRecord, schedule: CureSchedule) -> None:
    """20 degC is 68 degF; 1 m2K/W is 5.68 degF ft2 h/BTU, by definition of foot, degree and BTU."""
    values = {
        "placement.concrete_temperature": "20.0 degC",
        "curing.blanket_r_value": "1.0 m2K/W",
        "curing.timer": "no timer",
    }
    taken = tuple(Assumption(field, value, "nobody says") for field, value in values.items())
    assumed_fields = DataSheet(Wording(job, replace(schedule, assumed=taken))).assumed
    assert [value.replace("\N{NO-BREAK SPACE}", " ") for _, value, _ in assumed_fields] == [
        "68 °F",
        "R-5.68",
        "no timer",
    ]
