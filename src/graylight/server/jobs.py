"""Long work: one job at a time on a thread of its own, with progress, a way to stop it, and a plain error."""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Literal, TypeAlias

from graylight.errors import BadInput, Cancelled, GraylightError
from graylight.server.events import Stream
from graylight.server.problems import NotThere, unplaced
from graylight.work import Tick

__all__ = ["Job", "Jobs", "Work"]

Work: TypeAlias = Callable[[Tick], dict[str, Any]]
"""Long work: told its progress, it returns what the page is told at the end."""
State: TypeAlias = Literal["waiting", "running", "done", "failed", "stopped"]

KEPT, MOST_WAITING = 50, 8
TELL_EVERY_S = 0.2


@dataclass(slots=True)
class Job:
    """One piece of long work.

    Parameters
    ----------
    id, kind, words
        Its number, what it does in a word, and in a sentence.
    state, fraction
        How far it is.
    problem
        Why it failed, in words.
    result
        What came of it.
    """

    id: str
    kind: str
    words: str
    state: State = "waiting"
    fraction: float = 0.0
    problem: str | None = None
    result: dict[str, Any] = field(default_factory=dict)
    stop: threading.Event = field(default_factory=threading.Event)

    def told(self) -> dict[str, Any]:
        """As the page is told."""
        return {
            "id": self.id, "kind": self.kind, "words": self.words, "state": self.state,
            "fraction": round(self.fraction, 3), "problem": self.problem, "result": self.result,
        }  # fmt: skip


class Jobs:
    """The jobs, and the one thread they run on.

    Parameters
    ----------
    stream
        Is told of progress and ends.
    """

    def __init__(self, stream: Stream) -> None:
        self._stream = stream
        self._jobs: dict[str, Job] = {}
        self._queue: queue.Queue[tuple[Job, Work] | None] = queue.Queue()
        self._lock = threading.Lock()
        self._number = 0
        self._thread: threading.Thread | None = None

    def start(self, kind: str, words: str, work: Work) -> Job:
        """Put a job in the queue; a job of the same kind that still waits is taken for it.

        Raises
        ------
        BadInput
            Too many wait already.
        """
        with self._lock:
            waiting = [job for job in self._jobs.values() if job.state == "waiting"]
            same = next((job for job in waiting if job.kind == kind == "plan"), None)
            if same is not None:
                return same
            if len(waiting) >= MOST_WAITING:
                raise BadInput(
                    f"{len(waiting)} jobs wait already; accepted are {MOST_WAITING}; stop one, or wait"
                )
            self._number += 1
            job = Job(str(self._number), kind, words)
            self._jobs[job.id] = job
            self._forget()
            self._queue.put((job, work))
            self._begin()
        return job

    def _begin(self) -> None:
        if self._thread is None:
            self._thread = threading.Thread(target=self._run, name="graylight-jobs", daemon=True)
            self._thread.start()

    def _forget(self) -> None:
        ended = [one.id for one in self._jobs.values() if one.state in {"done", "failed", "stopped"}]
        for old in ended[: max(0, len(self._jobs) - KEPT)]:
            del self._jobs[old]

    def get(self, id: str) -> Job:
        """A job.

        Raises
        ------
        NotThere
            There is none of that number.
        """
        found = self._jobs.get(id)
        if found is None:
            raise NotThere(f"no job {id!r}; accepted is the number of a job of this run; ask for all of them")
        return found

    def all(self) -> list[Job]:
        """All that are kept, oldest first."""
        with self._lock:
            return list(self._jobs.values())

    def busy(self) -> bool:
        """Whether anything runs or waits."""
        return any(job.state in {"waiting", "running"} for job in self.all())

    def stop(self, id: str) -> Job:
        """Stop a job: at once when it waits, at its next tick when it runs."""
        job = self.get(id)
        job.stop.set()
        with self._lock:
            at_once = job.state == "waiting"
            if at_once:
                job.state = "stopped"
        if at_once:
            self._ended(job)
        return job

    def close(self, *, patience_s: float = 5.0) -> None:
        """Stop everything and wait for the thread to end."""
        for job in self.all():
            job.stop.set()
        self._queue.put(None)
        if self._thread is not None:
            self._thread.join(patience_s)

    def _run(self) -> None:
        while (next_one := self._queue.get()) is not None:
            job, work = next_one
            with self._lock:
                if job.state != "waiting" or job.stop.is_set():
                    continue
                job.state = "running"
            self._work(job, work)

    def _work(self, job: Job, work: Work) -> None:
        try:
            job.result = work(self._ticks(job))
            job.fraction, job.state = 1.0, "done"
        except Cancelled:
            job.state = "stopped"
        except GraylightError as error:
            job.problem, job.state = unplaced(str(error)), "failed"
        except OSError as error:
            job.problem, job.state = f"the system refused: {error.strerror or error}", "failed"
        except MemoryError:
            job.problem, job.state = "there is not enough memory; use larger cells or a smaller box", "failed"
        except Exception as error:  # whatever it is, the server goes on and the page is told
            job.problem = f"the program met something it does not foresee ({type(error).__name__})"
            job.state = "failed"
        self._ended(job)

    def _ended(self, job: Job) -> None:
        self._stream.tell("ended", job=job.id, ok=job.state == "done", problem=job.problem, state=job.state)

    def _ticks(self, job: Job) -> Tick:
        told_at = 0.0

        def tick(fraction: float) -> None:
            nonlocal told_at
            if job.stop.is_set():
                raise Cancelled("stopped")
            job.fraction = fraction
            now = time.monotonic()
            if now - told_at >= TELL_EVERY_S:
                told_at = now
                self._stream.tell("progress", job=job.id, fraction=round(fraction, 3), words=job.words)

        return tick
