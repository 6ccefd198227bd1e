"""Symmetric, positive definite, tridiagonal systems of linear equations, by LAPACK.

    factors, bonds, _ = dpttrf(diagonal, bonds, 1, 1)      factor, in place
    solution, _ = dpttrs(factors, bonds, load)             solve

Source: LAPACK Users' Guide, third edition (1999), routines DPTTRF and DPTTRS, as SciPy wraps them.

SciPy's own package of linear algebra loads a hundred modules to reach these two functions, which takes longer
than all solves of a schedule. So the module that holds them is loaded by its file; where SciPy keeps it
elsewhere, its package is.
"""

from __future__ import annotations

from importlib.machinery import PathFinder
from importlib.util import find_spec, module_from_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from types import ModuleType

EXTENSION = "_flapack"


def _lapack() -> ModuleType:
    """Return a module with LAPACK's functions."""
    scipy = find_spec("scipy")
    folders = [str(Path(each) / "linalg") for each in (scipy and scipy.submodule_search_locations) or ()]
    spec = PathFinder.find_spec(EXTENSION, folders)
    try:
        if spec is None or spec.loader is None:
            raise ImportError(EXTENSION)  # noqa: TRY301 - as if it could not be loaded
        module = module_from_spec(spec)
        spec.loader.exec_module(module)
    except ImportError:
        from scipy.linalg import lapack  # noqa: PLC0415 - slow

        return lapack  # type: ignore[no-any-return]
    return module


_LAPACK: Any = _lapack()
dpttrf = _LAPACK.dpttrf
dpttrs = _LAPACK.dpttrs
