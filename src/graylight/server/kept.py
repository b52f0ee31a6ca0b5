"""Answers kept in memory: each is worked out once, even when two ask at the same time."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import Generic, TypeVar

__all__ = ["Kept"]

T = TypeVar("T")


class _Slot(Generic[T]):
    """One answer, and the lock of whoever works it out."""

    def __init__(self) -> None:
        self.lock = threading.Lock()
        self.done = False
        self.value: T | None = None


class Kept(Generic[T]):
    """The answers last asked for.

    Parameters
    ----------
    most
        How many are kept; the one asked for longest ago goes first.
    """

    def __init__(self, most: int) -> None:
        self._most = most
        self._lock = threading.Lock()
        self._slots: OrderedDict[Hashable, _Slot[T]] = OrderedDict()

    def get(self, key: Hashable, make: Callable[[], T]) -> T:
        """The answer of a key; worked out now if it is not there. An error is not kept."""
        slot = self._slot(key)
        with slot.lock:
            if not slot.done:
                slot.value = make()
                slot.done = True
            return slot.value  # type: ignore[return-value]

    def _slot(self, key: Hashable) -> _Slot[T]:
        with self._lock:
            slot = self._slots.setdefault(key, _Slot())
            self._slots.move_to_end(key)
            while len(self._slots) > self._most:
                self._slots.popitem(last=False)
            return slot
