"""GeoJSON, GeoPackage and shapefiles: their layers read by OGR and brought to degrees."""

from __future__ import annotations

import json
import warnings
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio
import shapely
from pyogrio import raw
from pyogrio.errors import DataLayerError, DataSourceError, FeatureError
from pyproj import CRS, Transformer
from pyproj.exceptions import CRSError, ProjError

from graylight.country.elsewhere import frame_elsewhere
from graylight.country.handed import MOST_LAYERS
from graylight.country.sealed import why_unsealed
from graylight.intake.found import MADE_BY, RECORD_START, WRITTEN_BY_PLAN, WRITTEN_BY_RECORD, Found, Unusable

__all__ = ["read_layers"]

MOST_BYTES = 512 * 2**20
MOST_JSON_BYTES = 64 * 2**20
"""Read as a whole, in many times that room: what the page accepts, too."""
MOST_FEATURES = 100_000


def read_layers(path: Path) -> tuple[list[Found], list[str]]:
    """Everything in a file's layers, and layers or features that can't be used.

    Raises
    ------
    Unusable
        The file as a whole.
    """
    if path.stat().st_size > MOST_BYTES:
        raise Unusable(f"it has more than {MOST_BYTES:,} bytes; split it")
    _look_over(path)
    found: list[Found] = []
    said: list[str] = []
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            names = [str(name) for name, kind in pyogrio.list_layers(str(path)) if kind is not None]
        except (DataSourceError, DataLayerError, ValueError):
            raise Unusable(_why_unread(path)) from None
        if not 0 < len(names) <= MOST_LAYERS:
            raise Unusable(f"it has {len(names):,} layers with shapes; accepted are 1 to {MOST_LAYERS:,}")
        for name in names:
            try:
                _layer(path, name, found, said)
            except (DataSourceError, DataLayerError, FeatureError, ValueError, UnicodeDecodeError):
                said.append(f"layer {name[:40]!r} can't be read")
    return found, said


def _look_over(path: Path) -> None:
    """See that a file is what its ending says.

    OGR goes by what a file holds, and some formats (virtual layers) point to other files and to addresses.
    """
    with path.open("rb") as file:
        head = file.read(4096)
    suffix = path.suffix.lower()
    if suffix == ".gpkg":
        _look_over_tables(path, head)
    elif suffix == ".shp":
        if head[:4] != b"\x00\x00\x27\x0a":  # file code 9994 (ESRI Shapefile Technical Description, 1998)
            raise Unusable("it is no shapefile")
    elif head.lstrip(b"\xef\xbb\xbf \t\r\n")[:1] not in {b"{", b"["}:
        raise Unusable("it is no JSON")
    elif MADE_BY.encode() in head and b'"schema_version"' in head:
        raise Unusable(WRITTEN_BY_PLAN)
    elif head.startswith(RECORD_START.encode()):
        raise Unusable(WRITTEN_BY_RECORD)
    elif path.stat().st_size > MOST_JSON_BYTES:
        raise Unusable(f"it is JSON of more than {MOST_JSON_BYTES:,} bytes; split it")
    elif _linked(path):
        raise Unusable("its frame is a link to another place; such a file is not opened: save it in WGS 84")


def _linked(path: Path) -> bool:
    """Whether JSON's frame is a link; what is none is told when it is read."""
    try:
        return frame_elsewhere(json.loads(path.read_text(encoding="utf-8-sig")))
    except (ValueError, RecursionError):
        return False


def _why_unread(path: Path) -> str:
    """Why a file that OGR does not read is of no use: whole JSON of another kind is no damage."""
    if path.suffix.lower() in {".json", ".geojson"}:
        try:
            json.loads(path.read_text(encoding="utf-8-sig"))
        except (ValueError, RecursionError):
            return "it is no JSON, or is cut short or damaged"
        return "it is JSON, but no GeoJSON: accepted is a FeatureCollection"
    return "it can't be read, or is cut short or damaged"


def _look_over_tables(path: Path, head: bytes) -> None:
    if head[:16] != b"SQLite format 3\x00":
        raise Unusable("it is no GeoPackage")
    why = why_unsealed(path)
    if why is not None:
        raise Unusable(f"{why}; such a file is not opened")


def _layer(path: Path, name: str, found: list[Found], said: list[str]) -> None:
    info = pyogrio.read_info(str(path), layer=name)
    mover = _mover(info["crs"])
    if mover is None:
        said.append(f"layer {name[:40]!r} has no CRS that can be placed on the earth")
        return
    if info["features"] > MOST_FEATURES:
        said.append(
            f"layer {name[:40]!r} has {info['features']:,} features; accepted are {MOST_FEATURES:,}; cut it first"
        )
        return
    meta, _, shapes, columns = raw.read(str(path), layer=name, force_2d=True, datetime_as_string=True)
    fields = [str(field) for field in meta["fields"]]
    lost = 0
    for number, blob in enumerate([] if shapes is None else shapes):
        shape = _moved(blob, mover)
        if shape is None:
            lost += 1
            continue
        told = {field: _plain(column[number]) for field, column in zip(fields, columns, strict=True)}
        found.append(Found(shape, name, {key: value for key, value in told.items() if value is not None}))
    if lost:
        said.append(
            f"{lost} feature{'s' if lost != 1 else ''} of layer {name[:40]!r} without a place on the earth"
        )


def _mover(told: Any) -> Transformer | None:
    if told is None:
        return None
    try:
        crs = CRS.from_user_input(told)
        crs = crs.sub_crs_list[0] if crs.is_compound else crs
        return Transformer.from_crs(crs, "EPSG:4326", always_xy=True)
    except (CRSError, ProjError):
        return None


def _moved(blob: Any, mover: Transformer) -> Any:
    """A shape in degrees; None where there is none, or it is not on the earth."""
    try:
        shape = None if blob is None else shapely.from_wkb(blob)
    except shapely.errors.GEOSException:
        return None
    if shape is None or shape.is_empty:
        return None
    moved = shapely.transform(shape, lambda xy: np.column_stack(mover.transform(xy[:, 0], xy[:, 1])))
    box = np.array(moved.bounds)
    fine = np.isfinite(box).all() and np.abs(box[[0, 2]]).max() <= 180 and np.abs(box[[1, 3]]).max() <= 90
    return moved if fine else None


def _plain(value: Any) -> Any:
    if value is None or (isinstance(value, float) and np.isnan(value)):
        return None
    return value.item() if isinstance(value, np.generic) else value
