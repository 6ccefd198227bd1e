"""Plowman (1956), Maturity and the strength of concrete, as quoted in textbooks.

Maturity above -11 degC; 28 days at 18 degC are worked out as 19 488 degC h and taken as 19 800. An
examination question asks for 28 days at 15 degC: 728 degC days.
"""

from handover.concrete.maturity import temperature_time_factor

DATUM_C = -11.0


def test_maturity_at_28_days() -> None:
    """Printed, exact: 28 days x 24 h x (18 + 11)."""
    assert temperature_time_factor([0.0, 28 * 24.0], [18.0], DATUM_C)[-1] == 19_488.0


def test_examination_question() -> None:
    """Printed, exact: 28 days x (15 + 11) = 728 degC days, whatever the unit of time."""
    assert temperature_time_factor([0.0, 28.0], [15.0], DATUM_C)[-1] == 728.0
