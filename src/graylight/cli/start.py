"""A light start: what a quick command can do without while it loads."""

from __future__ import annotations

import sys
from importlib import import_module

__all__ = ["load_compiler"]

_ASKS_FOR_BLAS = "numba.np.arraymath"


def load_compiler() -> None:
    """Load what runs the compiled loops, but not scipy with it.

    The compiler loads scipy's linear algebra only to see whether matrix products could be compiled, takes no for an
    answer, and spends a tenth of a quick command's time on it; no loop of graylight's has a matrix product. To be
    called before there is a second thread that may want scipy.
    """
    if _ASKS_FOR_BLAS in sys.modules or "scipy" in sys.modules:
        return
    sys.modules["scipy"] = None  # type: ignore[assignment]  # how Python marks a module as not to be had
    try:
        import_module(_ASKS_FOR_BLAS)
    except ImportError:
        pass  # another version of the compiler: it loads as it likes when it is wanted
    finally:
        del sys.modules["scipy"]
