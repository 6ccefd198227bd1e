"""What to do about a task if it rains, freezes, or nobody is there: the words, once for all papers."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from handover.schedule.model import Task


def what_if(say: Callable[[str], str], *tasks: Task) -> tuple[str, ...]:
    """Return the sentences of tasks for rain, then frost, then nobody there, each once."""
    answers = (
        *(("rain", each.if_rain) for each in tasks),
        *(("frost", each.if_frost) for each in tasks),
        *(("nobody", each.if_nobody) for each in tasks),
    )
    return tuple(say(key) for key in _keys(answers))


def _keys(answers: Iterable[tuple[str, str | None]]) -> dict[str, None]:
    """Return the keys of the words, each once, in order."""
    return dict.fromkeys(f"if-{event}.{answer}" for event, answer in answers if answer)
