"""Why the desk refuses something, as a code that the words of the desk explain."""

from __future__ import annotations

from handover.errors import HandoverError


class DeskRefusal(HandoverError):
    """Something is refused.

    Attributes:
        code: Its key in the words of the desk, under `desk.refusal`.
    """

    def __init__(self, code: str) -> None:
        self.code = code
        super().__init__(code)


class TooManyAttempts(DeskRefusal):
    """Too many attempts in too short a time.

    Attributes:
        wait_s: After how many seconds the next one is allowed.
    """

    def __init__(self, wait_s: int) -> None:
        self.wait_s = wait_s
        super().__init__("too-many")
