"""The properties of a slab that select its rules."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from handover.practice.rules import Circumstances, general_rules

if TYPE_CHECKING:
    from handover.jobs.record import JobRecord, Mix

NO_MORE_SAW = "cut"
"""Joints that are cut: no rule about a saw applies to them."""

_PLAIN = re.compile(r"\s*(?:none|no|not|plain|un-?reinforced)\b", re.IGNORECASE)
_HIGH_EARLY = "III"  # the cement


def slab_circumstances(job: JobRecord) -> Circumstances:
    """Return the properties of a slab that select rules; it is reinforced unless the record says not."""
    return Circumstances(
        use=job.slab.use,
        exposure=job.slab.exposure,
        cement=job.mix.cement,
        additions=job.mix.fly_ash + job.mix.slag,
        reinforced=not _PLAIN.match(job.slab.reinforcement or ""),
        joints=NO_MORE_SAW if job.slab.joints_cut else job.slab.joints,
        heated=bool(job.slab.heated),
        accelerated=_is_accelerated(job.mix),
    )


def _is_accelerated(mix: Mix) -> bool:
    """Return whether cement or admixture give high early strength.

    A hundred pounds more cement in the yard would do as well, but a record does not say: more than what.
    """
    parts = general_rules().rules["setting.accelerator"].aliases
    return mix.cement == _HIGH_EARLY or any(part in name.lower() for name in mix.admixtures for part in parts)
