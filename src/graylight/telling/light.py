"""The light of the day by the local clock."""

from __future__ import annotations

import datetime as dt

from graylight.plan.model import CountryFacts, Light
from graylight.telling.naming import moment
from graylight.telling.paragraph import Paragraph, sentence

__all__ = ["never_dark", "the_light"]


def the_light(light: Light, country: CountryFacts) -> Paragraph:
    """Dawn and dusk in the order of the clock; what does not happen that day is said."""
    dawn = [
        ("first grey (nautical dawn)", light.nautical_dawn),
        ("usable light", light.usable_from),
        ("legal light by the setting", light.legal_from),
        ("civil dawn", light.civil_dawn),
        ("sunrise", light.sunrise),
    ]
    dusk = [
        ("sunset", light.sunset),
        ("civil dusk", light.civil_dusk),
        ("legal light ends", light.legal_until),
        ("usable light ends", light.usable_until),
        ("dark (nautical dusk)", light.nautical_dusk),
    ]
    told = [_in_order(part, light) for part in (dawn, dusk)]
    told = [sentence(words) for words in told if words]
    told += _missing(light, country)
    told.append("These are for a level horizon: ridges make the sun later and the shade earlier.")
    told.append("Legal light is a setting here, not the law.")
    return Paragraph("Light", [*told, _declination(light)])


def _in_order(part: list[tuple[str, dt.datetime | None]], light: Light) -> str:
    known = [(when, words) for words, when in part if when is not None]
    return ", ".join(f"{words} {moment(when, light)}" for when, words in sorted(known))


def _missing(light: Light, country: CountryFacts) -> list[str]:
    told = []
    if light.sunrise is None and light.sunset is None:
        told.append(
            "The sun does not set that day: it stays above the level horizon."
            if _summer(light, country)
            else "The sun does not rise that day: it stays below the level horizon."
        )
    elif light.sunrise is None or light.sunset is None:
        told.append(f"There is no {'sunrise' if light.sunrise is None else 'sunset'} that day.")
    if light.usable_from is None:
        told.append(
            "It is light enough to watch all night."
            if never_dark(light, country)
            else "No usable light begins that day: it stays too dark to watch."
        )
    return told


def never_dark(light: Light, country: CountryFacts) -> bool:
    """Whether usable light lasts through the night, rather than never coming."""
    sun_comes_up = light.sunrise is not None or light.sunset is not None
    return light.usable_from is None and (sun_comes_up or _summer(light, country))


def _summer(light: Light, country: CountryFacts) -> bool:
    """Whether it is the half of the year in which the sun stands over the country's half of the earth.

    Where the sun does not pass the horizon on a day it is above it all day in that half of the year, and below it in
    the other, as far towards the poles as a country can lie (84 N, 80 S).
    """
    in_north = (3, 21) <= (light.date.month, light.date.day) <= (9, 22)
    return in_north == (country.south + country.north > 0.0)


def _declination(light: Light) -> str:
    if light.declination_deg is None:
        return "No magnetic declination is known for that date: bearings are from true north only."
    side = "east" if light.declination_deg >= 0 else "west"
    model = f" ({light.declination_model})" if light.declination_model else ""
    return f"Magnetic north lies about {abs(light.declination_deg):.0f}° {side} of true north{model}."
