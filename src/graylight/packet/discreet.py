"""A packet's mornings without what tells where they are: for showing to others."""

from __future__ import annotations

import datetime as dt
import io
import re
from collections.abc import Iterable, Iterator
from typing import Any

from PIL import Image, ImageOps, UnidentifiedImageError

from graylight.packet.contents import Contents, Sit
from graylight.plan.model import Sees
from graylight.plan.morning_model import Morning

__all__ = ["ABOUT", "discreet_sit", "scrubbed", "stripped_photo", "unnamed"]

SUNRISE = dt.time(6, 0)
"""The clock is shifted so that the sun rises at this time: a sunrise to the minute, with its date, tells the longitude."""
DAY = dt.date(2001, 6, 1)
ABOUT = (
    "Coordinates, names, maps, heights above the sea, the date and magnetic bearings have been left out, and the clock has been "
    "shifted so that the sun rises at 06:00.",
    "The shape of a skyline can't be taken out of its picture: someone who knows the range may know the place. How long "
    "twilight and day last still narrows down latitude and season.",
)
_PLACE = re.compile(
    r"-?\d{1,3}\.\d{3,}|\b\d{1,2}[C-HJ-NP-X] ?[A-HJ-NP-Z]{2} ?\d{2,}|\b\d{6} \d{7}\b|\b\d{1,3}[ °]+\d{1,2}\.\d+['′]? ?[NSEW]\b"
)
"""Degrees with three places and more, squares of USNG, UTM, degrees and minutes."""
_DATE = re.compile(r"\b(?:19|20)\d\d-\d\d-\d\d\b")
_LONGEST_PX = 2000


def unnamed(contents: Contents) -> list[tuple[str, str]]:
    """Every name in the plan and on its map, with what is said instead; the longest first."""
    plan, data = contents.plan, contents.data
    found = {plan.country.name: "the country"}
    found |= {way.start.name: "the start" for way in plan.approaches if way.start.name}
    found |= {
        sit.morning.way.start.name: "the start" for sit in contents.sits if sit.morning and sit.morning.way
    }
    found |= {p.name: f"pocket {p.id}" for p in plan.pockets if p.name}
    found |= {one.name: f"lookout {one.id}" for one in plan.lookouts if one.name}
    own = (
        one.properties.get("name")
        for table in ("places", "starts")
        for one in contents.country.features(table)
    )
    found |= {str(name): "a place" for name in own if name and str(name) not in found}
    found |= {one.name: "a path" for one in data.paths if one.name}
    named: Iterator[str | None] = iter(
        [
            one.name
            for group in (plan.peaks, plan.saddles, plan.basins, data.lakes, data.private, data.units)
            for one in group
        ]
    )
    found |= {
        name: "a place" for name in (*named, *(one.text for one in data.names)) if name and name not in found
    }
    return sorted(
        ((name, words) for name, words in found.items() if name), key=lambda pair: (-len(pair[0]), pair[0])
    )


def scrubbed(told: Any, names: Iterable[tuple[str, str]]) -> Any:
    """Told things with every name and date said otherwise, and without the sentences that hold coordinates."""
    names = list(names)
    if isinstance(told, str):
        return _scrubbed_text(told, names)
    if isinstance(told, dict):
        return {key: scrubbed(value, names) for key, value in told.items()}
    if isinstance(told, (list, tuple)):
        return [scrubbed(value, names) for value in told]
    return told


def _scrubbed_text(text: str, names: list[tuple[str, str]]) -> str:
    for name, words in names:
        text = re.sub(rf"(?<!\w){re.escape(name)}(?!\w)", words, text, flags=re.IGNORECASE)
    text = _DATE.sub("the day", text)
    if not _PLACE.search(text):
        return text
    kept = [one for one in re.split(r"(?<=[.!?])\s+", text) if not _PLACE.search(one)]
    return " ".join(kept)


def discreet_sit(sit: Sit) -> Sit:
    """The same lookout with its morning shifted and without magnetic bearings."""
    morning = None if sit.morning is None else _shifted(sit.morning)
    sees = [_unbearing(one) for one in sit.lookout.sees]
    lookout = sit.lookout.model_copy(update={"sees": sees, "reasons": []})
    return Sit(lookout, morning, sit.why_none, sit.way, sit.strip, sit.map)


def _unbearing(one: Sees) -> Sees:
    places = [place.model_copy(update={"bearing_magnetic_deg": None}) for place in one.places]
    return one.model_copy(update={"bearing_magnetic_deg": None, "places": places})


def _shifted(morning: Morning) -> Morning:
    """All moments shifted by the same, in no zone, on no date of its own."""
    base = morning.light.sunrise or morning.light.usable_from or morning.light.noon
    by = dt.datetime.combine(DAY, SUNRISE, tzinfo=dt.UTC) - base
    told = _moved(morning.model_dump(), by)
    told |= {"timezone": "UTC", "date": DAY, "country": "the country", "calendar": []}
    told["light"] |= {"timezone": "UTC", "date": DAY, "declination_deg": None, "declination_model": None}
    for pocket in told["pockets"]:
        pocket["bearing_magnetic_deg"] = None
    # what is passed on the way are names and waters
    told["timeline"] = [one for one in told["timeline"] if one["kind"] != "passes"]
    return Morning.model_validate(told)


def _moved(value: Any, by: dt.timedelta) -> Any:
    if isinstance(value, dt.datetime):
        return value + by
    if isinstance(value, dict):
        return {key: _moved(one, by) for key, one in value.items()}
    if isinstance(value, list):
        return [_moved(one, by) for one in value]
    return value


def stripped_photo(data: bytes) -> bytes | None:
    """A photo as a new JPEG: its pixels turned upright, nothing of what the camera wrote; None if it is no picture."""
    try:
        with Image.open(io.BytesIO(data)) as photo:
            upright = ImageOps.exif_transpose(photo).convert("RGB")
    except (UnidentifiedImageError, OSError, ValueError, Image.DecompressionBombError):
        return None
    upright.thumbnail((_LONGEST_PX, _LONGEST_PX))
    bare = Image.new("RGB", upright.size)
    bare.paste(upright)
    out = io.BytesIO()
    bare.save(out, format="JPEG", quality=88)
    return out.getvalue()
