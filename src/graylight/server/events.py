"""What happened, in order, for every open page: kept for a while, so that a page that was away catches up."""

from __future__ import annotations

import asyncio
import json
import threading
from collections import deque
from collections.abc import AsyncIterator
from dataclasses import dataclass
from typing import Any, Literal, TypeAlias

__all__ = ["Event", "Kind", "Stream"]

Kind: TypeAlias = Literal["changed", "progress", "ended", "planned", "opened", "closing"]
KEPT = 1000


@dataclass(frozen=True, slots=True)
class Event:
    """One thing that happened."""

    number: int
    kind: Kind
    data: dict[str, Any]

    def sent(self) -> dict[str, str]:
        """As the stream sends it."""
        return {"id": str(self.number), "event": self.kind, "data": json.dumps(self.data)}


class Stream:
    """The events, and who waits for them. Events are told from any thread; pages listen in the server's loop."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._events: deque[Event] = deque(maxlen=KEPT)
        self._number = 0
        self._waiting: dict[int, tuple[asyncio.AbstractEventLoop, asyncio.Event]] = {}
        self.closed = False

    @property
    def last(self) -> int:
        """Number of the last event."""
        return self._number

    @property
    def listeners(self) -> int:
        """How many pages listen."""
        return len(self._waiting)

    def tell(self, kind: Kind, **data: Any) -> None:
        """Tell everyone."""
        with self._lock:
            self._number += 1
            self._events.append(Event(self._number, kind, data))
            waiting = list(self._waiting.values())
        _wake(waiting)

    def close(self) -> None:
        """End every stream, once what was told is sent."""
        self.tell("closing")
        self.closed = True
        with self._lock:
            waiting = list(self._waiting.values())
        _wake(waiting)

    def since(self, number: int) -> list[Event]:
        """What happened after an event; all that is kept where the number is none of this run's."""
        with self._lock:
            return [one for one in self._events if one.number > number or number > self._number]

    async def listen(self, after: int | None) -> AsyncIterator[dict[str, str]]:
        """What happens from now on, or from after an event."""
        at = self._number if after is None else after
        bell = asyncio.Event()
        with self._lock:
            self._waiting[id(bell)] = asyncio.get_running_loop(), bell
        try:
            while True:
                bell.clear()
                for event in self.since(at):
                    at = event.number
                    yield event.sent()
                at = min(at, self._number)
                if self.closed:
                    return
                await bell.wait()
        finally:
            with self._lock:
                del self._waiting[id(bell)]


def _wake(waiting: list[tuple[asyncio.AbstractEventLoop, asyncio.Event]]) -> None:
    for loop, bell in waiting:
        if not loop.is_closed():
            loop.call_soon_threadsafe(bell.set)
