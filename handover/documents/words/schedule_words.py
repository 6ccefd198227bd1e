"""The base of the words of a schedule: the reader, the job, and the dates and quantities in words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from handover.documents.date_phrases import DateFormatter
    from handover.documents.words.dates import DateWording
    from handover.documents.words.quantities import QuantityWording
    from handover.documents.words.reader import Reader
    from handover.jobs.record import JobRecord
    from handover.schedule.model import CureSchedule


@dataclass(frozen=True, eq=False)
class ScheduleWords:
    """The base of a part of the words, such as those of the watering.

    Attributes:
        reader: The reader of the words.
        job: The job record.
        schedule: Its schedule.
        dates: The dates of the schedule in words.
        quantities: Quantities in words.
    """

    reader: Reader
    job: JobRecord
    schedule: CureSchedule
    dates: DateWording
    quantities: QuantityWording

    @property
    def speak(self) -> DateFormatter:
        """Dates, times and lengths of time in the language."""
        return self.reader.speak

    def say(self, key: str, /, **values: object) -> str:
        """Return the string under a dotted key, filled in. Raises as `Reader.say`."""
        return self.reader.say(key, **values)
