"""What one task of a worker may take: memory and time.

The limit of memory is that of the system for the data of a process (RLIMIT_DATA): Linux counts all memory of
its own, other systems less or nothing, and Windows has none. The limit of time holds everywhere.
"""

from __future__ import annotations

from dataclasses import dataclass

from handover.errors import HandoverError

try:
    import resource
except ImportError:  # Windows has none
    resource = None  # type: ignore[assignment]


@dataclass(frozen=True)
class Limits:
    """What one task may take.

    Attributes:
        memory_mb: Memory of its process, the libraries' own included [MB].
        time_s: Time from the moment when the process has the whole task [s].
    """

    memory_mb: int | None = None
    time_s: float | None = None

    @property
    def memory_text(self) -> str:
        """The limit of memory in words."""
        return f"the {self.memory_mb} MB of memory that a worker may have (setting workers.memory_mb)"

    @property
    def time_text(self) -> str:
        """The limit of time in words."""
        return f"the {self.time_s:g} s that a job may take in a worker (setting workers.time_s)"


UNLIMITED = Limits()


class LimitExceeded(HandoverError):
    """A task took more memory or time than one may take."""


class OutOfMemory(HandoverError):
    """The system gave a task no more memory."""

    def __init__(self) -> None:
        super().__init__("needs more memory than there is")

    def __reduce__(self) -> tuple[type[OutOfMemory], tuple[()]]:
        """Travel between processes."""
        return type(self), ()


def is_out_of_memory(fault: BaseException | None) -> bool:
    """Return whether an exception is caused, at any depth, by a lack of memory."""
    while fault is not None:
        if isinstance(fault, MemoryError | OutOfMemory):
            return True
        fault = fault.__cause__ or fault.__context__
    return False


def limit_memory(most_mb: int | None) -> None:
    """Bound the memory of this process [MB], where the system can, and never above its own bound."""
    if most_mb is None or resource is None:
        return
    most = most_mb * 1_000_000
    _, hard = resource.getrlimit(resource.RLIMIT_DATA)
    most = most if hard == resource.RLIM_INFINITY else min(most, hard)
    resource.setrlimit(resource.RLIMIT_DATA, (most, hard))
