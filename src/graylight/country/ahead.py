"""Reading begun before the values are needed: a file is unpacked on another thread while this one loads or reckons."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future
from typing import Any

from numpy.typing import NDArray

from graylight.work import begin

__all__ = ["Ahead"]


class Ahead:
    """Layers that are being read, by name; each is handed over once and then forgotten."""

    def __init__(self) -> None:
        self._reading: dict[str, Future[NDArray[Any]]] = {}

    def start(self, layer: str, read: Callable[[], NDArray[Any]]) -> None:
        """Begin reading a layer, unless that has been done."""
        if layer not in self._reading:
            self._reading[layer] = begin(read)

    def take(self, layer: str) -> NDArray[Any] | None:
        """The layer, once it has been read; None when nobody began.

        Raises
        ------
        BadInput
            As reading it does.
        """
        reading = self._reading.pop(layer, None)
        return None if reading is None else reading.result()

    def forget(self) -> None:
        """What is being read is out of date."""
        self._reading.clear()
