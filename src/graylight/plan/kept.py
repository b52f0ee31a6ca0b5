"""Results of stages kept in memory between runs, each under a fingerprint of all that it hangs on."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, fields, is_dataclass
from hashlib import sha256
from typing import Any, TypeVar

import numpy as np
from pydantic import BaseModel
from shapely import to_wkb
from shapely.geometry.base import BaseGeometry

__all__ = ["Kept", "fingerprint"]

T = TypeVar("T")


@dataclass(slots=True)
class Kept:
    """The last result of each stage, and what was written last.

    One run at a time works with it (`running`). It holds what a run holds anyway, so a process that keeps it needs
    the memory of one run for as long. Results are shared, never changed.
    """

    results: dict[str, tuple[str, Any]] = field(default_factory=dict)
    written: dict[str, tuple[str, str]] = field(default_factory=dict)
    running: Any = field(default_factory=threading.RLock)

    def get(self, stage: str, key: str, work: Callable[[], T]) -> T:
        """The stage's result: the one kept, if it was made under this key, else worked out now."""
        if stage in self.results and self.results[stage][0] == key:
            return self.results[stage][1]  # type: ignore[no-any-return]
        self.results.pop(stage, None)  # two at once need not fit
        result = work()
        self.results[stage] = (key, result)
        return result


def fingerprint(*inputs: Any) -> str:
    """A text that differs when any of the inputs does: numbers, text, settings, geometries, arrays, and groups of such.

    >>> fingerprint(1, "a") == fingerprint(1, "a"), fingerprint(1, "a") == fingerprint("1", "a")
    (True, False)
    """
    digest = sha256()
    for one in inputs:
        _take(one, digest.update)
    return digest.hexdigest()


def _take(one: Any, update: Callable[[bytes], object]) -> None:
    """Type first, then what it holds, so that 1 and "1", or ("a", "b") and ("ab",), differ."""
    update(f"<{type(one).__name__}>".encode())
    if isinstance(one, np.ndarray):
        update(f"{one.dtype.str}{one.shape}".encode())
        update(one.tobytes())
    elif isinstance(one, BaseGeometry):
        update(to_wkb(one))
    elif isinstance(one, BaseModel):
        update(one.model_dump_json().encode())
    elif is_dataclass(one) and not isinstance(one, type):
        _take([getattr(one, f.name) for f in fields(one)], update)
    elif isinstance(one, Mapping):
        _take(sorted(one.items()), update)
    elif isinstance(one, (set, frozenset)):
        _take(sorted(one), update)
    elif isinstance(one, Sequence) and not isinstance(one, (str, bytes)):
        update(f"{len(one)}".encode())
        for part in one:
            _take(part, update)
    else:
        update(repr(one).encode())
    update(b"\0")
