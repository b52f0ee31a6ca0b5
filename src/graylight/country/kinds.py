"""What a vector layer is, told from its name, and how its columns become the country's."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any

from graylight.country.feature import plain_text
from graylight.country.tables import TABLES, Shape

__all__ = ["columns", "kind_of"]

_WORDS: tuple[tuple[str, frozenset[str]], ...] = (
    ("sightings", frozenset({"sighting", "seen", "animal", "observation", "observed"})),
    ("trailheads", frozenset({"trailhead", "parking", "access"})),
    ("names", frozenset({"name", "gnis", "peak", "summit", "placename", "toponym"})),
    ("trails", frozenset({"trail", "path", "footpath", "footway", "bridleway"})),
    ("roads", frozenset({"road", "highway", "street", "motor", "mvum", "jeep"})),
    ("streams", frozenset({"stream", "river", "creek", "flowline", "waterway", "hydro", "brook", "water"})),
    ("lakes", frozenset({"lake", "pond", "tarn", "reservoir", "waterbody", "waterbodies", "hydro", "water"})),
    (
        "ownership",
        frozenset({"ownership", "owner", "parcel", "land", "private", "holding", "tenure", "management"}),
    ),
    ("unit", frozenset({"unit", "boundary", "area", "zone"})),
    ("traces", frozenset({"trace", "track", "route"})),
    ("places", frozenset({"place", "waypoint", "mark", "point"})),
)
"""Words that give a layer away, in the order in which they are tried; plurals are taken back first."""


def kind_of(layer: str, file: str, shape: Shape) -> str | None:
    """The table that features of a shape belong to, by the layer's name, else by the file's; None: can't be
    told.

    >>> kind_of("hydro lines", "utah.gpkg", "line")
    'streams'
    >>> kind_of("tracks", "Old_Trails.gpx", "line")
    'trails'
    """
    # names that every file of a format has say less than the name that a person gave the file
    general = {"traces", "places"}
    for text in (layer, file):
        found = _match(text, shape)
        if found is not None and found not in general:
            return found
    return _match(layer, shape) or _match(file, shape)


def _match(text: str, shape: Shape) -> str | None:
    apart = re.sub(r"(?<=[a-z])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z])", " ", text)  # NHDFlowline: NHD, Flowline
    found = {word for word in re.split(r"[^a-z]+", apart.lower()) if word}
    words = found | {_singular(word) for word in found}
    joined = {a + b for a in words for b in words}  # "trail heads", "way points"
    for table, telling in _WORDS:
        if fits(table, shape) and telling & (words | joined):
            return table
    return None


def fits(table: str, shape: Shape) -> bool:
    """Whether features of a shape can go into a table; areas stand for their middles among points."""
    wanted = TABLES[table].shape
    return wanted == shape or (wanted == "point" and shape == "area")


def _singular(word: str) -> str:
    return word[:-1] if len(word) > 3 and word.endswith("s") and not word.endswith("ss") else word


_SAME: Mapping[str, tuple[str, ...]] = {
    "name": (
        "name",
        "label",
        "title",
        "trailname",
        "roadname",
        "gnisname",
        "featurename",
        "fullname",
        "unitname",
    ),
    "kind": ("kind", "type", "class", "featureclass", "highway", "natural", "fcode", "fclass"),
    "owner": ("owner", "ownername", "manager", "mangname", "agency", "name"),
    "access": ("access", "pubaccess", "publicaccess", "ownertype", "owntype", "kind", "type"),
    "note": ("note", "comment", "desc", "description", "cmt"),
    "animal": ("animal", "species", "name"),
    "count": ("count", "number", "howmany"),
    "date": ("date", "day", "seenon", "observed", "time"),
}
"""Column names, letters only, that hold the same thing, the likeliest first."""


def columns(table: str, given: Mapping[str, Any]) -> dict[str, Any]:
    """A feature's properties as the table's columns; what has no column is left out."""
    plain = {re.sub(r"[^a-z]", "", key.lower()): value for key, value in given.items()}
    found = {}
    for name in TABLES[table].columns:
        values = (plain.get(same) for same in _SAME.get(name, (re.sub(r"[^a-z]", "", name),)))
        value = next((v for v in values if v is not None and str(v).strip()), None)
        cleaned = _cleaned(table, name, value)
        if cleaned is not None:
            found[name] = cleaned
    if table == "ownership" and "access" not in found:
        access = _access(found.get("owner"))
        found |= {"access": access} if access in {"private", "closed"} else {}
    return found


def _cleaned(table: str, name: str, value: Any) -> Any:
    clean: Callable[[Any], Any] = _CLEAN.get((table, name), _plain)
    return clean(value)


def _plain(value: Any) -> str | None:
    text = None if value is None else plain_text(value)
    return text or None


def _access(value: Any) -> str | None:
    """Open, restricted, private or closed. The codes are those of the Protected Areas Database (from
    memory).
    """
    text = str(value or "").strip().lower()
    codes = {
        "oa": "open",
        "ra": "restricted",
        "xa": "closed",
        "uk": None,
        "open": "open",
        "yes": "open",
        "no": "closed",
    }
    if text in codes:
        return codes[text]
    # what is shut goes first, and no word that a "no" may turn round opens a holding
    if re.search(r"\bno\b.*\b(access|entry)\b", text):
        return "closed"
    turned = re.search(r"\b(no|not|non)\b", text) is not None
    for word, access in (
        ("private", "private"),
        ("closed", "closed"),
        ("restricted", "restricted"),
        ("public", "open"),
    ):
        if word in text:
            return None if turned and access in {"restricted", "open"} else access
    return None


def _running(value: Any) -> str | None:
    """Perennial or intermittent; numbers are feature codes of the National Hydrography Dataset (from
    memory).
    """
    text = str(value or "").strip().lower()
    codes = {"46003": "intermittent", "46006": "perennial", "46007": "intermittent"}
    if text.split(".")[0] in codes:
        return codes[text.split(".")[0]]
    if any(word in text for word in ("intermittent", "ephemeral", "seasonal", "dry")):
        return "intermittent"
    return "perennial" if "perennial" in text or "permanent" in text else None


def _landform(value: Any) -> str:
    text = str(value or "").lower()
    for kind, words in (
        ("peak", ("peak", "summit", "top", "mountain")),
        ("saddle", ("saddle", "gap", "pass", "col")),
        ("basin", ("basin", "bowl", "cirque", "valley")),
    ):
        if any(word in text for word in words):
            return kind
    return "other"


def _start(value: Any) -> str:
    return "road end" if "road" in str(value or "").lower() else "trailhead"


MOST_COUNTED = 1_000_000


def _whole(value: Any) -> int | None:
    """A count: nothing below zero, and nothing that no herd has."""
    try:
        count = int(float(value))
    except (TypeError, ValueError, OverflowError):
        return None
    return count if 0 <= count <= MOST_COUNTED else None


def _number(value: Any) -> float | None:
    try:
        return float(value)
    except (TypeError, ValueError):
        return None


_CLEAN: Mapping[tuple[str, str], Callable[[Any], Any]] = {
    ("ownership", "access"): _access,
    ("streams", "kind"): _running,
    ("names", "kind"): _landform,
    ("trailheads", "kind"): _start,
    ("sightings", "count"): _whole,
    ("sightings", "bearing_true_deg"): _number,
    ("sightings", "distance_m"): _number,
}
