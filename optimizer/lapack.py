"""The few routines of LAPACK that are called directly, without the package about them.

They are those of `scipy.linalg.lapack`. To import that package takes longer than to plan a ride:
0.15 s, most of it for other array libraries than NumPy. Where the compiled module does not lie
where it is looked for, or does not load by itself, the package is imported after all.
"""

from __future__ import annotations

import contextlib
import sys
from importlib.machinery import PathFinder
from importlib.util import find_spec, module_from_spec
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from types import ModuleType

__all__ = ["dpbtrf", "dpbtrs", "dtbtrs"]

_PACKAGE: Final = "scipy.linalg"
_NAME: Final = f"{_PACKAGE}._flapack"


def _routines() -> ModuleType | Any:
    package = find_spec("scipy") if _PACKAGE not in sys.modules else None
    if package is not None:
        spec = PathFinder.find_spec(_NAME, [
            f"{where}/linalg" for where in package.submodule_search_locations or ()])
        if spec is not None and spec.loader is not None:
            with contextlib.suppress(ImportError):  # a system may need what the package sets up
                found = module_from_spec(spec)
                spec.loader.exec_module(found)
                sys.modules.pop(_NAME, None)  # the package, if it comes, sets up its own
                return found
    from scipy.linalg import lapack

    return lapack


dpbtrf: Final = _routines().dpbtrf
dpbtrs: Final = _routines().dpbtrs
dtbtrs: Final = _routines().dtbtrs
