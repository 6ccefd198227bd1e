"""The words of one schedule for one reader: the parts, and the names that templates use."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from handover.documents.words.cautions import CautionWording, Notice
from handover.documents.words.dates import DateWording, MilestoneWords, WithheldWords
from handover.documents.words.events import EventWording
from handover.documents.words.quantities import QuantityWording
from handover.documents.words.reader import Reader
from handover.documents.words.surface import SurfaceWording
from handover.documents.words.watering import CoverWords, DayWords, WateringWording
from handover.practice.rules import general_rules
from handover.schedule.figure_kinds import SI_UNITS
from handover.schedule.salt_season import has_salt_season
from handover.schedule.tasks import with_tasks

if TYPE_CHECKING:
    from pathlib import Path

    from handover.documents.date_phrases import DateFormatter
    from handover.documents.quantity_format import Units
    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule, Milestone, Refusal
    from handover.units import KindName

_ONE_KIND = {unit: kind for kind, unit in SI_UNITS.items() if kind not in {"thickness", "length"}}

KIND_OF_NAME: dict[str, KindName] = {kind: kind for kind in SI_UNITS} | _ONE_KIND
"""Kinds of quantities by the names that a template may use."""


class Wording:
    """The words of one schedule for one reader.

    Pages, calendars and the message take their words from its parts. A contractor's own templates see the
    properties below the parts, so these keep their names.

    Args:
        job: The job record.
        schedule: Its schedule.
        language: A language that has a folder of templates.
        units: "us" or "si".
        templates: A contractor's folder whose files replace those of the program.

    Raises:
        UnusableInput: No such language.
        MissingText: The schedule has a code without words in the language.
    """

    def __init__(
        self,
        job: JobRecord,
        schedule: CureSchedule,
        *,
        language: str = "en",
        units: Units = "us",
        templates: Path | None = None,
    ) -> None:
        self.job = job
        self.schedule = schedule = with_tasks(schedule, job)
        self.reader = replace(
            Reader.load(language, units, templates),
            has_number=job.contractor.phone is not None,
            country=job.site.country,
        )
        self.quantities = QuantityWording(self.reader)
        self.dates = DateWording(
            self.reader,
            schedule,
            is_heated=has_salt_season(job.site),
            has_timer=job.curing.timer,
            site=job.site,
            seals=bool(job.curing.seals),
            rise=self._heating_rise(),
            method="plastic sheet" if schedule.is_covered_for_coat and job.slab.covers else "",
        )
        self.visits = WateringWording(self.reader, job, schedule, self.dates, self.quantities)
        self.surface = SurfaceWording(self.reader, job, schedule, self.dates, self.quantities)
        self.events = EventWording(self.reader, job)
        self.warnings = CautionWording(self.reader, job, schedule, self.dates, self.quantities)

    @property
    def hose_loops(self) -> str:
        """How far apart the loops of a soaker hose are."""
        return self.quantities.measure(general_rules()["hose.loops"], "length")

    def _heating_rise(self) -> str:
        """Return how much warmer the water of a heating in the slab may get in a day; empty without one."""
        figures = (
            each for caution in self.schedule.cautions if caution.code == "heated" for each in caution.figures
        )
        rise = next(figures, None)
        return "" if rise is None else self.quantities.figure(rise)

    # ---- the reader

    @property
    def language(self) -> str:
        """Code of the language: "en"."""
        return self.reader.language

    @property
    def units(self) -> Units:
        """Units of the reader: "us" or "si"."""
        return self.reader.units

    @property
    def templates(self) -> Path | None:
        """A contractor's own folder of templates."""
        return self.reader.templates

    @property
    def speak(self) -> DateFormatter:
        """Dates, times and lengths of time in the language."""
        return self.reader.speak

    def say(self, key: str, /, **values: object) -> str:
        """Return the string under a dotted key, filled in."""
        return self.reader.say(key, **values)

    # ---- what templates use

    @property
    def milestones(self) -> tuple[MilestoneWords, ...]:
        """Every date of the schedule, in the schedule's order."""
        return self.dates.milestones

    @property
    def owner_milestones(self) -> tuple[MilestoneWords, ...]:
        """The dates that an owner reads, in order of time."""
        return self.dates.owner_milestones

    @property
    def withheld(self) -> tuple[WithheldWords, ...]:
        """The dates that the program does not give."""
        return self.dates.withheld

    def milestone(self, milestone: Milestone) -> MilestoneWords:
        """Return one date in words."""
        return self.dates.milestone(milestone)

    def refused(self, refusal: Refusal) -> str:
        """Return the name of a date that the program does not give."""
        return self.dates.refused(refusal)

    def variant(self, key: str, part: str = "") -> str:
        """Return the key of the words that fit this slab and its curing."""
        return self.dates.variant(key, part)

    @property
    def watering(self) -> tuple[DayWords, ...]:
        """Every day of curing, in order."""
        return self.visits.days

    @property
    def water_in_all(self) -> str:
        """The amount of water of the remaining watering; empty if there is none."""
        return self.visits.water_in_all

    @property
    def cover(self) -> CoverWords | None:
        """What to do instead of watering when it may freeze."""
        return self.visits.cover

    @property
    def caller(self) -> str:
        """Who to call, in one sentence."""
        return self.events.caller

    @property
    def cautions(self) -> tuple[Notice, ...]:
        """The cautions that the job calls for, in the schedule's order."""
        return self.warnings.notices

    @property
    def limits(self) -> tuple[str, ...]:
        """The limits of the estimate, in plain sentences."""
        return self.warnings.limits

    def quantity(self, value: float, of: str, digits: int = 2) -> str:
        """Return an SI value in the reader's unit.

        Args:
            value: In SI.
            of: A kind of quantity ("temperature"), or an SI unit that belongs to one kind alone ("degC").
            digits: Significant digits; whole numbers keep all their digits.
        """
        kind = KIND_OF_NAME.get(of)
        if kind is None:
            return self.quantities.number_with_unit(value, of, digits)
        return self.quantities.measure(value, kind, digits)

    def unit_name(self, of: str) -> str:
        """Return the name of the reader's unit of a kind: "°F". Argument as in `quantity`."""
        return self.quantities.unit_name(KIND_OF_NAME[of])

    def percent(self, share: float) -> str:
        """Return a share of one in percent: "35%"."""
        return self.quantities.percent(share)
