"""The system libraries that the PDF engine needs, found in the same way as by the engine.

There is no list of libraries here. The engine's own source says which it opens, by which names, and which it
warns about if they are missing: a warning of the engine fails an issue, so those are required as well. Only
the names of the packages to install are kept here.

    python -m handover.documents.engine          apt packages of missing libraries; status 1 if any is missing
    python -m handover.documents.engine --all    those of all known libraries; works without the engine
"""

from __future__ import annotations

import ast
import ctypes
import io
import platform
import shutil
import sys
import threading
import warnings
from contextlib import contextmanager, redirect_stdout, suppress
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from handover.errors import MissingLibraries

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence


class Packages(NamedTuple):
    """The packages of a library: for Debian and its derivatives, Fedora and its derivatives, and Homebrew."""

    apt: str
    dnf: str
    brew: str


PACKAGES = {
    "libgobject-2.0.so.0": Packages("libglib2.0-0", "glib2", "glib"),
    "libpango-1.0.so.0": Packages("libpango-1.0-0", "pango", "pango"),
    "libpangoft2-1.0.so.0": Packages("libpangoft2-1.0-0", "pango", "pango"),
    "libharfbuzz.so.0": Packages("libharfbuzz0b", "harfbuzz", "harfbuzz"),
    "libharfbuzz-subset.so.0": Packages("libharfbuzz-subset0", "harfbuzz", "harfbuzz"),
    "libfontconfig.so.1": Packages("libfontconfig1", "fontconfig", "fontconfig"),
}
"""Packages to install for a library. A library that is not listed is named by its soname alone."""

INSTALLERS = {
    "apt": ("apt-get", "sudo apt-get update && sudo apt-get install -y --no-install-recommends"),
    "dnf": ("dnf", "sudo dnf install -y"),
    "brew": ("brew", "brew install"),
}
"""By the column of `Packages`: the program to look for, and the install command."""


class Library(NamedTuple):
    """One shared library of the engine.

    Attributes:
        names: The names by which the engine tries to open it, in its order; one is enough.
        required: Whether an issue fails without it.
    """

    names: tuple[str, ...]
    required: bool

    @property
    def soname(self) -> str:
        """Its name on Linux, which people search for; else the first name."""
        return next((name for name in self.names if ".so" in name), self.names[0])


_LOAD_LOCK = threading.Lock()


@cache
def load_engine() -> None:
    """Import the PDF engine, or report what is missing.

    Raises:
        MissingLibraries: A library that it needs cannot be opened.
    """
    require_libraries()
    with _LOAD_LOCK, _names_as_they_are(), warnings.catch_warnings():
        # The program has its own fonts; it needs none from the system.
        warnings.filterwarnings("ignore", "(?i).*fontconfig.*ugly", UserWarning)
        import weasyprint  # noqa: F401, PLC0415 - heavy


@contextmanager
def _names_as_they_are() -> Iterator[None]:
    """Open the engine's names of libraries unchanged: one of them is right on any Linux.

    For each name that the loader does not know, cffi would have `find_library` run the compiler and the
    linker: half a second in all, and temporary files that stay if the run is stopped.
    """
    if sys.platform != "linux":
        yield
        return
    import ctypes.util  # noqa: PLC0415 - only here

    find_library = ctypes.util.find_library
    ctypes.util.find_library = _find_nothing
    try:
        yield
    finally:
        ctypes.util.find_library = find_library


def _find_nothing(name: str) -> str | None:  # noqa: ARG001 - the signature of `find_library`
    return None


@cache
def require_libraries() -> None:
    """Check that the engine can start, before any work is done. It takes a few milliseconds.

    Raises:
        MissingLibraries: A library that it needs cannot be opened; with the command that installs it.
    """
    missing = missing_libraries()
    if missing:
        raise MissingLibraries(_problem(missing), tuple(remedy(missing)))


def _problem(missing: Sequence[str]) -> str:
    """Return the sentence about what is missing on which machine: it may be a worker of a cluster."""
    where = platform.node() or "This machine"
    return f"{where} lacks system libraries that the PDF engine needs: {', '.join(missing)}."


def missing_libraries() -> tuple[str, ...]:
    """Return the sonames of the required libraries that cannot be opened here."""
    missing = tuple(each.soname for each in engine_libraries() if each.required and not _opens(each.names))
    # The engine decides: it may know places that the loader alone does not.
    return () if missing and _begins() else missing


def engine_libraries() -> tuple[Library, ...]:
    """Return the libraries that the installed engine opens, as its own source names them.

    The source has one call for each, `name = _dlopen(ffi, *names, allow_fail=...)`, and, for some optional
    ones, `if name is None:` with a warning.
    """
    tree = ast.parse(_source().read_text(encoding="utf-8"))
    warned = {
        each.test.left.id
        for each in tree.body
        if isinstance(each, ast.If)
        and isinstance(each.test, ast.Compare)
        and isinstance(each.test.left, ast.Name)
        and any(_calls(one, "warn") for one in each.body)
    }
    return tuple(
        Library(_words(each.value), required=not each.value.keywords or name.id in warned)
        for each in tree.body
        if isinstance(each, ast.Assign) and isinstance(each.value, ast.Call) and _calls(each, "_dlopen")
        for name in each.targets
        if isinstance(name, ast.Name)
    )


def _source() -> Path:
    """Return the source of the engine's module that opens its libraries, without importing the engine."""
    spec = find_spec("weasyprint")
    if spec is None or not spec.submodule_search_locations:
        raise ModuleNotFoundError("weasyprint is not installed")
    return Path(spec.submodule_search_locations[0]) / "text" / "ffi.py"


def _calls(statement: ast.stmt, function: str) -> bool:
    """Return whether a statement calls a function, with or without using its result."""
    call = getattr(statement, "value", None)
    called = call.func if isinstance(call, ast.Call) else None
    return getattr(called, "id", getattr(called, "attr", None)) == function


def _words(call: ast.Call) -> tuple[str, ...]:
    """Return the string arguments of a call."""
    return tuple(
        each.value for each in call.args if isinstance(each, ast.Constant) and isinstance(each.value, str)
    )


def _opens(names: Iterable[str]) -> bool:
    """Return whether the system's loader finds a library under one of its names."""
    for name in names:
        with suppress(OSError):
            ctypes.CDLL(name)
            return True
    return False


def _begins() -> bool:
    """Return whether the engine itself starts without an error and without a warning about a library."""
    with redirect_stdout(io.StringIO()), warnings.catch_warnings():  # it prints advice of its own
        warnings.simplefilter("error", DeprecationWarning)
        try:
            import weasyprint.text.ffi  # noqa: F401, PLC0415 - heavy
        except (OSError, DeprecationWarning):
            return False
    return True


def remedy(missing: Sequence[str]) -> Iterator[str]:
    """Yield the lines that say how to install missing libraries: the command of this system, if known.

    Args:
        missing: Their sonames.
    """
    if sys.platform == "win32":
        yield "On Windows, run this program in WSL (wsl --install)."
        return
    installer = _installer()
    packages = packages_for(missing, installer) if installer else ()
    if not installer or not packages:
        yield "Install the packages of your system that hold them, then try again."
        return
    yield "Install them with this command, then try again:"
    yield f"    {INSTALLERS[installer][1]} {' '.join(packages)}"
    if unknown := [each for each in missing if each not in PACKAGES]:
        yield f"Which package holds {', '.join(unknown)} is unknown."
    if installer == "brew":
        yield "If Python is not from Homebrew, set this as well:"
        yield '    export DYLD_FALLBACK_LIBRARY_PATH="$(brew --prefix)/lib"'


def packages_for(missing: Iterable[str], installer: str) -> tuple[str, ...]:
    """Return the packages that hold libraries, each once, as far as they are known."""
    known = (getattr(PACKAGES[soname], installer) for soname in missing if soname in PACKAGES)
    return tuple(dict.fromkeys(known))


def _installer() -> str | None:
    """Return the column of `Packages` for this system, or None."""
    order = sorted(INSTALLERS, key=lambda each: (each == "brew") != (sys.platform == "darwin"))
    return next((each for each in order if shutil.which(INSTALLERS[each][0])), None)


def main(arguments: Sequence[str]) -> int:
    """Print the apt packages of missing libraries; return 1 if any is missing.

    Args:
        arguments: `--all` for the packages of all known libraries instead.
    """
    asked = list(arguments) == ["--all"]
    missing = tuple(PACKAGES) if asked else missing_libraries()
    sys.stdout.write(" ".join(packages_for(missing, "apt")))
    if missing and not asked:
        sys.stderr.write("\n".join([_problem(missing), *remedy(missing), ""]))
    return 1 if missing and not asked else 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
