"""The entry of `graylight` and of `python -m graylight`: imports begin inside, so that a stop is clean from the first."""

import gc
import os
import signal
import sys
import threading
from types import FrameType

__all__ = ["heed_stops", "run"]

STOPPED = 130
UNSWEPT = 200_000
"""Objects made before the first look for garbage: what a start loads is none, and looking costs a tenth of it."""
AGAIN_S = 0.02
"""How soon a stop that had to wait is tried again."""


def run() -> None:
    """Run the command line; Ctrl-C, or being told to end, stops it cleanly at any moment."""
    gc.set_threshold(UNSWEPT, 10, 10)
    try:
        heed_stops()
        from graylight.cli.main import main

        code = main()
        sys.stdout.flush()
        sys.stderr.flush()
        # all is done, written and said; putting the interpreter away piece by piece, with all that was compiled, would
        # take a third of a second more
        os._exit(code)
    except KeyboardInterrupt:
        print("graylight: stopped; nothing is left half-written", file=sys.stderr, flush=True)
        # not sys.exit: an interrupt that struck inside exec (numpy, numba) makes CPython end by the signal even
        # though it was caught; all that had to be put away was put away on the way here
        os._exit(STOPPED)
    except BrokenPipeError:
        # whoever read our words has gone: nothing is left to say, not even at exit
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        os._exit(0)


def heed_stops() -> None:
    """Let Ctrl-C, and being told to end, raise KeyboardInterrupt, but never in the middle of the compiler's own work."""
    for stop in (signal.SIGINT, signal.SIGTERM):
        signal.signal(stop, _stop)


def _stop(number: int, frame: FrameType | None) -> None:
    """Stop now, or a moment later: LLVM calls back into Python, and an exception in there is lost or ends in a crash."""
    if _compiling(frame):
        again = threading.Timer(AGAIN_S, signal.pthread_kill, [threading.main_thread().ident, number])
        again.daemon = True
        again.start()
        return
    raise KeyboardInterrupt


def _compiling(frame: FrameType | None) -> bool:
    while frame is not None:
        if frame.f_globals.get("__name__", "").startswith("llvmlite"):
            return True
        frame = frame.f_back
    return False


if __name__ == "__main__":
    run()
