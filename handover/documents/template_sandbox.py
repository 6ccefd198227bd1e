"""The environment of a contractor's own pages: they may come from anybody, and can only fill in values.

They reach neither files nor programs nor the inside of the program. Their scripts and words still go to the
reader as they are.
"""

from __future__ import annotations

import sys
from pathlib import PurePath
from types import ModuleType
from typing import Any, NoReturn

from jinja2.sandbox import ImmutableSandboxedEnvironment

from handover.errors import HandoverError, UnusableInput


class SandboxedPages(ImmutableSandboxedEnvironment):
    """A sandbox of Jinja's in which paths have no methods, and whose errors are findings."""

    def is_safe_attribute(self, obj: Any, attr: str, value: Any) -> bool:
        """Return whether a page may use an attribute; of a path or a module none."""
        return not isinstance(obj, PurePath | ModuleType) and super().is_safe_attribute(obj, attr, value)

    def handle_exception(self, source: str | None = None) -> NoReturn:
        """Raise the fault of a page as a finding.

        Raises:
            UnusableInput: The page cannot be read or filled in, or asks for what it may not have.
        """
        fault = sys.exception()
        if isinstance(fault, Exception) and not isinstance(fault, HandoverError):
            raise UnusableInput.with_finding(
                f"a page of the folder of templates cannot be filled in: {fault}",
                field="--templates",
                expected="a page that uses only the values that the program's own page uses",
            ) from fault
        super().handle_exception(source)
