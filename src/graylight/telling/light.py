"""The light of the day by the local clock."""

from __future__ import annotations

import datetime as dt

from graylight.plan.model import Light
from graylight.telling.naming import moment
from graylight.telling.paragraph import Paragraph, sentence

__all__ = ["the_light"]


def the_light(light: Light) -> Paragraph:
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
    told += _missing(light)
    told.append("These are for a level horizon: ridges make the sun later and the shade earlier.")
    told.append("Legal light is a setting here, not the law.")
    return Paragraph("Light", [*told, _declination(light)])


def _in_order(part: list[tuple[str, dt.datetime | None]], light: Light) -> str:
    known = [(when, words) for words, when in part if when is not None]
    return ", ".join(f"{words} {moment(when, light)}" for when, words in sorted(known))


def _missing(light: Light) -> list[str]:
    told = []
    if light.sunrise is None and light.sunset is None:
        told.append("The sun neither rises nor sets that day.")
    elif light.sunrise is None or light.sunset is None:
        told.append(f"There is no {'sunrise' if light.sunrise is None else 'sunset'} that day.")
    if light.usable_from is None:
        told.append("No moment is known at which usable light begins.")
    return told


def _declination(light: Light) -> str:
    if light.declination_deg is None:
        return "No magnetic declination is known for that date: bearings are from true north only."
    side = "east" if light.declination_deg >= 0 else "west"
    model = f" ({light.declination_model})" if light.declination_model else ""
    return f"Magnetic north lies about {abs(light.declination_deg):.0f}° {side} of true north{model}."
