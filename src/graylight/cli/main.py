"""The command `graylight`: one function a command, imported when it is called."""

from __future__ import annotations

import sys

from cyclopts import App, CycloptsError

from graylight import __version__
from graylight.errors import GraylightError

__all__ = ["app", "main"]

PLACES = 'A PLACE is "39.30, -111.50", "39 18.0 N 111 30.0 W", "12S 456789 4350123" (UTM) or "12S VJ 56789 50123" (USNG).'

app = App(
    name="graylight",
    help="Read a mountain before setting foot on it: where deer and elk feed, bed and cross, "
    "from where they can be watched, and how to be there before the light.",
    help_epilogue=PLACES,
    version=__version__,
    suppress_keyboard_interrupt=False,
)
COMMANDS = {
    "demo": "Invent a range, plan on it, tell the plan, and write the files.",
    "new": "Make a country from an elevation raster and whatever else there is.",
    "info": "Tell what a country holds and what was done to it on entry.",
    "plan": "Work the whole plan out and tell it.",
    "look": "Tell what can be seen from one place, and draw it.",
    "morning": "Tell one morning, evening or day at a lookout by the clock, and whether it is worth going.",
    "watch": "Find from where marks can be watched, and the best seats.",
    "outing": "Record a time of watching, and tell what it searched.",
    "seen": "Record animals seen, put on the ground where they were.",
    "sign": "Record sign found, or a trail that animals use.",
    "odds": "Tell where the animals likely are, by habitat and record, and why.",
    "next": "Tell where the mornings left are worth most, and why.",
    "learn": "Tell what the record says of pace, air and habitat weights, beside those in use.",
    "serve": "Show the country on the map page, in the browser, on this machine alone.",
    "export": "Write the plan as GPX 1.1, KML and GeoJSON, draw its map, and write the record as GeoJSON and CSV.",
    "camp": "Tell places to camp near the lookouts, and where the water is.",
    "pace": "Measure one's own pace from tracks with times.",
    "gather": "Gather open data for any place and make a country of it.",
    "take": "Take marks, tracks and boundaries that people already have into a country.",
    "packet": "Make the packet: the plan on paper, on the phone and in open formats, for where there is no network.",
}
HOMES = {
    "camp": "walking", "pace": "walking", "gather": "gathering", "take": "gathering", "outing": "recording",
    "seen": "recording", "sign": "recording", "odds": "recording", "next": "recording", "learn": "recording",
    "packet": "packets",
}  # fmt: skip
"""Modules of `graylight.cli` in which commands stand; those not named here stand in `commands`."""
FUNCTIONS = {"next": "next_sit"}
"""Functions that are not called as their command: `next` is a word of the language."""


EXAMPLES = {
    "--bounds": "Accepted are four numbers apart, west south east north: --bounds -111.6 39.2 -111.4 39.4.",
    "--radius": "Accepted is a distance above 0: --radius 5mi.",
}
"""What is said beside the message for options that people write otherwise at first."""


def home(command: str) -> str:
    """Where a command's function stands, as module:function."""
    return f"graylight.cli.{HOMES.get(command, 'commands')}:{FUNCTIONS.get(command, command)}"


for _name, _words in COMMANDS.items():
    app.command(home(_name), name=_name, help=_words)


def _example(said: str) -> str:
    return "".join(f" {words}" for name, words in EXAMPLES.items() if f"parameter {name} " in said)


def main(words: list[str] | None = None) -> int:
    """Run one command; the exit code is 0 done, 2 bad input, 3 source not to be had, 130 stopped."""
    try:
        app(words, exit_on_error=False, print_error=False, result_action="return_value")
    except CycloptsError as error:
        said = " ".join(str(error).split())
        print(
            f"graylight: {said}{_example(said)} Say graylight --help, or --help after a command, for what is accepted.",
            file=sys.stderr,
        )
        return 2
    except GraylightError as error:
        print(f"graylight: {error}", file=sys.stderr)
        return error.exit_code
    except BrokenPipeError:
        raise  # the entry ends quietly
    except OSError as error:
        print(
            f"graylight: the system refused: {error}; accepted are names, rights and room on the disk that it allows; "
            "change these and run it again",
            file=sys.stderr,
        )
        return 2
    return 0
