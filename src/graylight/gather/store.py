"""What was had from the services, kept by request: each answer with a sidecar that says what it is and when it came."""

from __future__ import annotations

import contextlib
import datetime as dt
import hashlib
import json
import os
import shutil
import sys
import tempfile
import threading
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path

from graylight.country.atomic import write_bytes
from graylight.errors import BadInput

__all__ = ["Answer", "Store", "request_key", "room_for", "usual_folder"]


HELD = ".held"
"""The file in a run's folder that is locked while it works."""
LONG_S = 86400.0


@dataclass(frozen=True, slots=True)
class Answer:
    """What a service answered: status 200 or 404, body, and the sidecar's facts."""

    url: str
    status: int
    body: bytes
    fetched: str
    """When, UTC, ISO 8601."""
    kept: bool = False
    """Whether it came from the store."""

    @property
    def age_s(self) -> float:
        """Seconds since it was had."""
        return max(0.0, (now() - dt.datetime.fromisoformat(self.fetched)).total_seconds())


def now() -> dt.datetime:
    """The present, UTC: gathering is the one place where the clock counts."""
    return dt.datetime.now(dt.UTC).replace(microsecond=0)


def request_key(method: str, url: str, body: bytes = b"") -> str:
    """A name for a request, the same for the same request."""
    return hashlib.sha256(b"\n".join([method.encode(), url.encode(), body])).hexdigest()[:40]


def usual_folder() -> Path:
    """Where downloads are kept if the person says nothing: the system's place for caches."""
    if sys.platform == "win32":
        home = Path(os.environ.get("LOCALAPPDATA", Path.home()))
    elif sys.platform == "darwin":
        home = Path.home() / "Library" / "Caches"
    else:
        home = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")
    return home / "graylight" / "gathered"


class Store:
    """A folder of answers and of partly held rasters.

    Parameters
    ----------
    folder
        Made if it is not there.

    Raises
    ------
    BadInput
        It can't be made or written to.

    Notes
    -----
    An answer counts as held once its sidecar is there; the body is written first, both whole or not at all. Several runs
    may share the folder.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._locks: dict[str, threading.Lock] = {}
        self._guard = threading.Lock()
        try:
            for name in ("answers", "rasters"):
                (folder / name).mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise BadInput(
                f"the folder for downloads {str(folder)!r} can't be made ({error.strerror or error}); accepted is one that "
                "may be written to; name another with --cache"
            ) from None

    def raster(self, key: str) -> Path:
        """Where a partly held raster lies."""
        return self.folder / "rasters" / f"{key}.tif"

    def held(self, key: str) -> Answer | None:
        """An answer that was kept; None where there is none, or its file was damaged."""
        body, side = self._paths(key)
        try:
            facts = json.loads(side.read_text(encoding="utf-8"))
            data = body.read_bytes()
            told = hashlib.sha256(data).hexdigest()
            if facts["sha256"] != told:
                return None
            return Answer(facts["url"], int(facts["status"]), data, str(facts["fetched"]), kept=True)
        except (OSError, ValueError, KeyError, TypeError):
            return None

    def keep(self, key: str, answer: Answer, *, licence: str, credit: str) -> None:
        """Keep an answer, whole or not at all."""
        body, side = self._paths(key)
        facts = asdict(answer)
        del facts["body"], facts["kept"]
        facts |= {
            "bytes": len(answer.body),
            "sha256": hashlib.sha256(answer.body).hexdigest(),
            "licence": licence,
            "credit": credit,
        }
        with room_for(self.folder):
            write_bytes(body, answer.body)
            write_bytes(side, (json.dumps(facts, indent=1, ensure_ascii=False) + "\n").encode())

    def _paths(self, key: str) -> tuple[Path, Path]:
        return self.folder / "answers" / key, self.folder / "answers" / f"{key}.json"

    @contextlib.contextmanager
    def workplace(self) -> Iterator[Path]:
        """A folder for one run, gone afterwards; those of runs that were killed are cleared away first."""
        with _between_processes(self.folder / ".work.lock"):
            for old in self.folder.glob("work-*"):
                if old.is_dir() and _left_behind(old):
                    shutil.rmtree(old, ignore_errors=True)
            work = Path(tempfile.mkdtemp(prefix="work-", dir=self.folder))
            held = contextlib.ExitStack()
            held.enter_context(_between_processes(work / HELD))
        try:
            yield work
        finally:
            held.close()
            shutil.rmtree(work, ignore_errors=True)

    @contextlib.contextmanager
    def alone(self, name: str) -> Iterator[None]:
        """Let only one at a time do something, in this process and among all that share the folder."""
        with self._guard:
            lock = self._locks.setdefault(name, threading.Lock())
        with lock, _between_processes(self.folder / f".{name}.lock"):
            yield


@contextlib.contextmanager
def room_for(folder: Path) -> Iterator[None]:
    """Turn the system's refusal to write into an answer for the person: it is no fault of a service.

    Raises
    ------
    BadInput
        What was to be kept can't be written.
    """
    try:
        yield
    except OSError as error:
        raise BadInput(
            f"what was gathered can't be kept in {str(folder)!r} ({error.strerror or error}); accepted is a folder that may be "
            "written to, on a disk with room; name another with --cache"
        ) from None


def _left_behind(work: Path) -> bool:
    """Whether no run works in a folder any more: its lock is free; without locks, nothing was put there for a day."""
    if sys.platform == "win32":
        return now().timestamp() - work.stat().st_mtime > LONG_S
    import fcntl

    try:
        with (work / HELD).open("w") as file:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


@contextlib.contextmanager
def _between_processes(path: Path) -> Iterator[None]:
    """Hold a file's lock; where the system has none (Windows), only this process is kept in line."""
    if sys.platform == "win32":
        yield
        return
    import fcntl

    with path.open("w") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        yield
