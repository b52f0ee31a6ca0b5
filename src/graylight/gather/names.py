"""Named tops, gaps and basins of the USA from the Geographic Names Information System: one archive a state."""

from __future__ import annotations

import csv
import io
import json
import zipfile
from collections.abc import Iterator
from typing import Any

import shapely

from graylight.gather.errand import Errand, Had
from graylight.gather.gate import NotThere, Refused, Trouble, is_zip
from graylight.gather.geojson import feature, write_features
from graylight.grid import Bounds, LonLat, distance_m

__all__ = ["gnis", "without_doubles"]

KINDS = {"summit": "peak", "ridge": "other", "gap": "saddle", "basin": "basin", "valley": "other", "spring": "other",
         "lake": "other", "cliff": "other", "flat": "other", "stream": "other", "bench": "other"}  # fmt: skip
MOST_TEXT = 200 * 2**20
SAME_M = 300.0


def gnis(errand: Errand) -> list[Had]:
    """Names inside the ground wanted."""
    service, box = errand.service, errand.wanted.reach()
    found, fetched = [], []
    for state in _states(errand, box):
        answer = errand.gate.ask(service, service.url.format(state=state), check=_checked(service.title))
        fetched.append(answer.fetched)
        found += [feature(*told) for told in _inside(answer.body, box, service.title)]
    if not found:
        raise NotThere(f"{service.title} has no name here")
    path = errand.work / "names-gnis.geojson"
    found.sort(key=lambda f: (f["properties"]["name"], f["geometry"]["coordinates"]))
    write_features(path, found)
    return [Had(path, service.date, min(fetched), (service.title,))]


def _states(errand: Errand, box: Bounds) -> list[str]:
    found = [
        name
        for name, s in errand.gate.services.states.items()
        if s.west < box.east and s.east > box.west and s.south < box.north and s.north > box.south
    ]
    if not found:
        raise NotThere(f"{errand.service.title} has nothing outside the USA")
    return found


def _checked(title: str) -> Any:
    def check(body: bytes) -> None:
        if not is_zip(body):
            raise Trouble(f"{title} sent something that is no archive")

    return check


def _inside(body: bytes, box: Bounds, title: str) -> Iterator[tuple[shapely.Point, dict[str, Any]]]:
    """Names of an archive inside a box; the archive is read in memory and never unpacked."""
    try:
        with zipfile.ZipFile(io.BytesIO(body)) as archive:
            texts = [i for i in archive.infolist() if i.filename.lower().endswith(".txt")]
            for info in texts:
                if info.file_size > MOST_TEXT:
                    raise Refused(f"{title} sent an archive that unpacks to {info.file_size:,} bytes")
                with archive.open(info) as file:
                    text = io.TextIOWrapper(file, encoding="utf-8-sig", errors="replace", newline="")
                    yield from _rows(csv.DictReader(text, delimiter="|", quoting=csv.QUOTE_NONE), box)
    except (zipfile.BadZipFile, EOFError, OSError, csv.Error, NotImplementedError):
        raise Refused(f"{title} sent an archive that can't be read") from None


def _rows(rows: Any, box: Bounds) -> Iterator[tuple[shapely.Point, dict[str, Any]]]:
    for row in rows:
        plain = {str(key).strip().lower(): value for key, value in row.items() if key is not None}
        kind = KINDS.get(str(plain.get("feature_class") or "").strip().lower())
        name = str(plain.get("feature_name") or "").strip()
        if kind is None or not name:
            continue
        try:
            lon, lat = float(plain["prim_long_dec"]), float(plain["prim_lat_dec"])
        except (KeyError, TypeError, ValueError):
            continue
        if box.west <= lon <= box.east and box.south <= lat <= box.north:
            yield shapely.Point(lon, lat), {"name": name, "kind": kind}


def without_doubles(ours: list[Had], others: list[Had]) -> None:
    """Take names out of the names' files that the ways' file of names has within 300 m, spelt the same."""
    known = [f for had in others if had.path.stem == "names" for f in _read(had)]
    for had in ours:
        kept = [f for f in _read(had) if not any(_same(f, other) for other in known)]
        write_features(had.path, kept)


def _read(had: Had) -> list[dict[str, Any]]:
    return list(json.loads(had.path.read_text(encoding="utf-8"))["features"])


def _same(one: dict[str, Any], other: dict[str, Any]) -> bool:
    if one["properties"]["name"].casefold() != str(other["properties"].get("name", "")).casefold():
        return False
    return (
        distance_m(LonLat(*one["geometry"]["coordinates"]), LonLat(*other["geometry"]["coordinates"]))
        < SAME_M
    )
