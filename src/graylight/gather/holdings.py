"""Who owns or manages the ground, as far as public layers say. Management is not title, and access is not proof."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

from graylight.gather.arcgis import features
from graylight.gather.errand import Errand, Had
from graylight.gather.gate import NotThere
from graylight.gather.geojson import write_features

__all__ = ["blm", "padus", "private_alone"]

PRIVATE_CODES = frozenset({"PVT", "PV", "PRI"})
"""Private ground in the surface management layer, as public programs that ask the service read its codes."""
UNDETERMINED = "UND"
"""Ground of which the layer knows nobody: the service draws it as one with private ground, so it is told, to be asked after."""
NOT_DETERMINED = "not determined"
UNKNOWN_CODES = frozenset({"", "UND", "UNK", "UNKNOWN"})
AREAS = frozenset({"Polygon", "MultiPolygon"})


def padus(errand: Errand) -> list[Had]:
    """Protected areas with who manages them and how open they are said to be."""
    return [_had(errand, lambda told: _access(errand, told), "access is given by category, it is not proof")]


def blm(errand: Errand) -> list[Had]:
    """Ground by the agency that manages its surface; ground of none of them is mostly private."""

    def access(told: Mapping[str, Any]) -> str | None:
        plain = {key.lower(): str(value).strip().upper() for key, value in told.items() if value is not None}
        codes = [plain.get(column.lower(), "") for column in errand.service.more["access_columns"]]
        if PRIVATE_CODES.intersection(codes):
            return "private"
        return NOT_DETERMINED if UNDETERMINED in codes else None

    return [_had(errand, access, "management of the surface, not title")]


def private_alone(had: Had) -> None:
    """Leave only holdings that are, or may be, private in a file: the others are told better by another service."""
    given = json.loads(had.path.read_text(encoding="utf-8"))
    write_features(
        had.path,
        [f for f in given["features"] if f["properties"].get("access") in {"private", NOT_DETERMINED}],
    )


def _access(errand: Errand, told: Mapping[str, Any]) -> str | None:
    value = _first(told, errand.service.more["access_columns"])
    return None if value is None else str(value)


def _had(errand: Errand, access: Any, said: str) -> Had:
    found, fetched = features(errand, errand.wanted.reach())
    areas = [f for f in found if isinstance(f.get("geometry"), dict) and f["geometry"].get("type") in AREAS]
    told = [
        {"type": "Feature", "geometry": area["geometry"], "properties": _told(errand, area, access)}
        for area in areas
    ]
    if not told:
        raise NotThere(f"{errand.service.title} has nothing here")
    told.sort(key=lambda f: json.dumps(f, sort_keys=True))
    path = errand.work / f"ownership-{errand.service.key}.geojson"
    write_features(path, told)
    return Had(path, errand.service.date, fetched, (errand.service.title, said))


def _told(errand: Errand, area: Mapping[str, Any], access: Any) -> dict[str, Any]:
    properties = area.get("properties") or {}
    owner, shut = _first(properties, errand.service.more["owner_columns"]), access(properties)
    if str(owner).upper() in PRIVATE_CODES:
        owner = "private"
    elif owner is None and shut == NOT_DETERMINED:
        owner = "nobody known, may be private"
    given = {"owner": None if owner is None else str(owner), "access": shut}
    return {key: value for key, value in given.items() if value is not None}


def _first(told: Mapping[str, Any], columns: Sequence[str]) -> Any:
    """The first of some columns that says something."""
    plain = {key.lower(): value for key, value in told.items()}
    for column in columns:
        value = plain.get(column.lower())
        if value is not None and str(value).strip().upper() not in UNKNOWN_CODES:
            return value
    return None
