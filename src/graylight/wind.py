"""The general wind, as a person or a forecast says it: direction it blows from, and speed."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from graylight.errors import BadInput

__all__ = ["CALM", "COMPASS", "NO_WIND", "WIND_ACCEPTED", "GeneralWind", "read_wind"]

COMPASS = (
    "N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW",
)  # fmt: skip
"""The sixteen winds, clockwise from north, 22.5 degrees apart."""

_WORDS = {"NORTH": "N", "EAST": "E", "SOUTH": "S", "WEST": "W"}

# International units, exact by definition: mile 1609.344 m, nautical mile 1852 m.
_METRES_A_SECOND = {
    "mph": 1609.344 / 3600.0,
    "mi/h": 1609.344 / 3600.0,
    "km/h": 1.0 / 3.6,
    "kmh": 1.0 / 3.6,
    "kph": 1.0 / 3.6,
    "m/s": 1.0,
    "kt": 1852.0 / 3600.0,
    "kts": 1852.0 / 3600.0,
    "knots": 1852.0 / 3600.0,
}

LIGHT_MS = 1.5
"""What 'light' is taken for: the top of Beaufort 1, direction told by smoke and not by vanes."""
_STRONGEST_MS = 60.0

NO_WIND = "none"
"""What is typed for no wind to be said, where one is set."""
WIND_ACCEPTED = (
    "a direction it blows from (N, NNE ... NNW, 'southwest', or degrees from true north) with a speed in "
    "mph, km/h, m/s or kt, such as 'SW 8mph', '225 13km/h' or 'SW 5 to 10 mph', and 'calm', 'light' or 'light SW'"
)

_NUMBER = r"\d+(?:\.\d+)?"
_SPEED = re.compile(
    rf"(?P<low>{_NUMBER})(?:\s*(?:-|–|to)\s*(?P<high>{_NUMBER}))?\s*(?P<unit>{'|'.join(_METRES_A_SECOND)})(?![a-z/])"
)
_DEGREES = re.compile(rf"(?P<degrees>{_NUMBER})\s*(?:°|deg|degrees)?")


@dataclass(frozen=True, slots=True)
class GeneralWind:
    """A wind over the whole country.

    Parameters
    ----------
    from_deg
        Where it blows from, degrees clockwise from true north in [0, 360); None where it has no direction.
    speed_ms
        As forecasts give it: in the open, 6 to 10 m above the ground.
    """

    from_deg: float | None
    speed_ms: float

    @property
    def toward_deg(self) -> float | None:
        """Where it carries to, degrees clockwise from true north."""
        return None if self.from_deg is None else (self.from_deg + 180.0) % 360.0


CALM = GeneralWind(None, 0.0)


def read_wind(text: str) -> GeneralWind:
    """Read a wind as people and forecasts write it.

    Parameters
    ----------
    text
        Direction the wind blows *from* and speed, in either order: "SW 8mph", "8 kt from 225", "southwest
        wind 5 to 10 mph" (of a range the middle is taken); "calm"; "light" (1.5 m/s and no direction, so that
        the winds of slope and valley rule) and "light SW".

    Raises
    ------
    BadInput
        The text is not understood, or the speed is more than 60 m/s; the message lists what is accepted.

    Examples
    --------
    >>> read_wind("SW 8mph")
    GeneralWind(from_deg=225.0, speed_ms=3.57632)
    >>> read_wind("10 km/h from 200°")
    GeneralWind(from_deg=200.0, speed_ms=2.77778)
    >>> read_wind("calm")
    GeneralWind(from_deg=None, speed_ms=0.0)
    """
    plain = " ".join(re.sub(r"\b(winds?|from|the|at)\b|[,@]", " ", text.lower()).split())
    if plain == "calm":
        return CALM
    if plain.split()[:1] == ["light"]:
        rest = plain.removeprefix("light").removeprefix(" and variable").strip()
        return GeneralWind(_direction(rest, text) if rest else None, LIGHT_MS)
    found = _SPEED.search(plain)
    if found is None:
        raise _not_understood(text, "no speed with its unit is in it")
    low = float(found["low"])
    speed = (low + float(found["high"] or low)) / 2.0 * _METRES_A_SECOND[found["unit"]]
    if speed > _STRONGEST_MS:
        raise BadInput(
            f"a wind of {speed:.0f} m/s ('{text}'); accepted is at most {_STRONGEST_MS:.0f} m/s (134 mph); "
            "check the number and its unit"
        )
    rest = (plain[: found.start()] + " " + plain[found.end() :]).strip()
    if speed == 0.0 and not rest:
        return CALM
    return GeneralWind(_direction(rest, text), round(speed, 5))


def _direction(words: str, text: str) -> float:
    """Degrees from true north of a compass point, its name, or a number."""
    name = words.upper()
    for word, letter in _WORDS.items():
        name = name.replace(word, letter)
    name = re.sub(r"(?<=[A-Z])[ -](?=[A-Z])", "", name)
    if name in COMPASS:
        return COMPASS.index(name) * 22.5
    number = _DEGREES.fullmatch(words)
    if number is None:
        raise _not_understood(text, f"'{words}' is no direction" if words else "no direction is in it")
    degrees = float(number["degrees"])
    if degrees > 360.0 or not math.isfinite(degrees):
        raise _not_understood(text, f"{degrees:g} is no direction: degrees run from 0 to 360")
    return degrees % 360.0


def _not_understood(text: str, why: str) -> BadInput:
    return BadInput(
        f"the wind '{text}' is not understood: {why}; accepted are {WIND_ACCEPTED}; say both direction and speed"
    )
