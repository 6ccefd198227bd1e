"""What was measured on the job, gathered for the data sheet and the cautions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from handover.schedule.logged import Learnt
    from handover.schedule.model import Figure, Measurement, StrengthFit


@dataclass(frozen=True)
class Measured:
    """What measurements came to.

    Attributes:
        records: Each measurement with what the estimate was and what came of it.
        told: Cautions that follow from them, by code, with their figures.
        fit: The fit of the cylinders, used or refused; None where there are too few.
        learnt: What the logger taught of the model; None where it taught nothing.
    """

    records: tuple[Measurement, ...] = ()
    told: tuple[tuple[str, tuple[Figure, ...]], ...] = ()
    fit: StrengthFit | None = None
    learnt: Learnt | None = None

    def __add__(self, other: Measured) -> Measured:
        return Measured(
            self.records + other.records,
            self.told + other.told,
            self.fit or other.fit,
            self.learnt or other.learnt,
        )
