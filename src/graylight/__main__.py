"""The entry of `graylight` and of `python -m graylight`: imports begin inside, so that a stop is clean from the first."""

import gc
import os
import signal
import sys

__all__ = ["run"]

STOPPED = 130
UNSWEPT = 200_000
"""Objects made before the first look for garbage: what a start loads is none, and looking costs a tenth of it."""


def run() -> None:
    """Run the command line; Ctrl-C, or being told to end, stops it cleanly at any moment."""
    gc.set_threshold(UNSWEPT, 10, 10)
    try:
        signal.signal(signal.SIGTERM, signal.default_int_handler)
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


if __name__ == "__main__":
    run()
