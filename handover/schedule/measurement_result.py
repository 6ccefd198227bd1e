"""The result of the measurements on the job, for the data sheet and the cautions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from handover.schedule.model import Figure, Measurement, StrengthFit
    from handover.schedule.temperature_log import LogCorrection


@dataclass(frozen=True)
class MeasurementResult:
    """What the measurements say and change.

    Attributes:
        records: Each measurement with what the estimate was and what came of it.
        cautions: Cautions that follow from them, by code, with their figures.
        fit: The fit of the cylinders, used or refused; None where there are too few.
        log_correction: The correction of the model by the logger; None where there are too few readings.
    """

    records: tuple[Measurement, ...] = ()
    cautions: tuple[tuple[str, tuple[Figure, ...]], ...] = ()
    fit: StrengthFit | None = None
    log_correction: LogCorrection | None = None

    def __add__(self, other: MeasurementResult) -> MeasurementResult:
        return MeasurementResult(
            self.records + other.records,
            self.cautions + other.cautions,
            self.fit or other.fit,
            self.log_correction or other.log_correction,
        )
