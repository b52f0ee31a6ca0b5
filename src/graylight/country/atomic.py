"""Files replaced whole or not at all, alone or in sets, so that a killed run leaves the last good state."""

from __future__ import annotations

import os
import shutil
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

__all__ = ["building", "replace_set", "sync", "write_bytes"]


def sync(path: Path) -> None:
    """Make sure that a file, or the entries of a folder, have reached the disk."""
    if path.is_dir() and sys.platform == "win32":
        return  # folders can't be opened there
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def write_bytes(path: Path, data: bytes) -> None:
    """Replace one file by these bytes, whole or not at all."""
    write_whole(path, lambda fresh: fresh.write_bytes(data))


def write_whole(path: Path, write: Callable[[Path], object]) -> None:
    """Replace one file: written beside it under a name that is never read, then renamed over it."""
    path.parent.mkdir(parents=True, exist_ok=True)
    fresh = path.with_name(f".{path.name}.new-{os.getpid()}")
    try:
        write(fresh)
        sync(fresh)
        fresh.replace(path)
    finally:
        fresh.unlink(missing_ok=True)
    sync(path.parent)


@contextmanager
def building(place: Path, purpose: str) -> Iterator[Path]:
    """A fresh folder beside `place`, named ".NAME.PURPOSE-pid", gone afterwards unless it was renamed away.

    What killed runs have left under such names is removed first.
    """
    stem = f".{place.name}.{purpose}-"
    for old in sorted(place.parent.iterdir()):
        if old.name.startswith(stem) and not _alive(old.name.removeprefix(stem)):
            shutil.rmtree(old, ignore_errors=True)
    fresh = place.with_name(f"{stem}{os.getpid()}")
    shutil.rmtree(fresh, ignore_errors=True)
    fresh.mkdir()
    try:
        yield fresh
    finally:
        shutil.rmtree(fresh, ignore_errors=True)


def _alive(pid: str) -> bool:
    """Whether a process may still be at work; unsure means yes."""
    if sys.platform == "win32" or not pid.isdigit():
        return True  # signal 0 would end the process there
    if int(pid) == os.getpid():
        return False
    try:
        os.kill(int(pid), 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True


@contextmanager
def undisturbed() -> Iterator[None]:
    """Let a few quick steps that belong together end together: a stop that comes in between is not heeded.

    Only the main thread is ever stopped by a signal; in others nothing has to be done.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = {stop: signal.signal(stop, signal.SIG_IGN) for stop in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield
    finally:
        for stop, handler in before.items():
            signal.signal(stop, handler)


def replace_set(fresh: Path, ready: Path, home: Path) -> None:
    """Replace a set of files in `home` by those in `fresh`, all or none.

    The folder `fresh` is renamed to `ready` in one step: from then on the set counts as written, and readers
    look into `ready` first. Then its files are moved home. A run killed in between leaves `ready`; the next
    call first finishes the move. `ready` must lie on the same disk as the other two.
    """
    _move_home(ready, home)
    for path in sorted(fresh.iterdir()):
        sync(path)
    sync(fresh)
    fresh.rename(ready)
    sync(ready.parent)
    _move_home(ready, home)


def _move_home(ready: Path, home: Path) -> None:
    if not ready.is_dir():
        return
    home.mkdir(exist_ok=True)
    for path in sorted(ready.iterdir()):
        path.replace(home / path.name)
    sync(home)
    ready.rmdir()
    sync(ready.parent)
