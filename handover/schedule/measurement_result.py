"""The result of the measurements on the job, for the data sheet and the cautions."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from handover.base.arrays import Floats
    from handover.schedule.model import Figure, Measurement, StrengthFit


@dataclass(frozen=True)
class LogCorrection:
    """The correction of each member by the readings: model + offset + bend (excess - mean excess).

    Attributes:
        at_depth: Weights of surface, middle and bottom at the sensor, shape (3,).
        until_h: The last reading, since placement. [h]
        offset: Shape (m,). [K]
        bend: On the excess over the air, shape (m,); the gain is 1 + bend. [1]
        about: Mean excess over the air, shape (m,). [K]
        offset_error: One standard deviation. [K]
        gain_error: Of the central member. [1]
    """

    at_depth: Floats
    until_h: float
    offset: Floats
    bend: Floats
    about: Floats
    offset_error: float
    gain_error: float

    def correction(self, excess: Floats) -> Floats:
        """Return what to add to the model in K, shape of ``excess`` (h, m)."""
        return np.asarray(self.offset + self.bend * (excess - self.about))

    def subset(self, members: NDArray[np.int_]) -> LogCorrection:
        """Return the correction of some of the members."""
        return replace(self, offset=self.offset[members], bend=self.bend[members], about=self.about[members])


@dataclass(frozen=True)
class MeasurementResult:
    """What the measurements show and change.

    Attributes:
        records: Each measurement with its estimate and its outcome.
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
