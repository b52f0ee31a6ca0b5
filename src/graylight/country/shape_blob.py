"""Geometry as a GeoPackage keeps it: a short header, then ISO well-known binary (OGC 12-128, clause 2.1.3)."""

from __future__ import annotations

import struct

import shapely
from shapely.errors import GEOSException
from shapely.geometry.base import BaseGeometry

__all__ = ["from_blob", "to_blob"]

_HEAD = struct.Struct("<2sBBi")
_LITTLE, _ENVELOPE_XY = 0b1, 0b10
_ENVELOPE_BYTES = (0, 32, 48, 48, 64)
"""Length of the envelope by its code: none, xy, xyz, xym, xyzm."""


def to_blob(geometry: BaseGeometry, srs_id: int) -> bytes:
    """A geometry as a GeoPackage keeps it: little-endian, flat, with an envelope unless it is a point."""
    flat = shapely.force_2d(geometry)
    body = shapely.to_wkb(flat, byte_order=1, flavor="iso")
    if flat.geom_type == "Point":
        return _HEAD.pack(b"GP", 0, _LITTLE, srs_id) + bytes(body)
    west, south, east, north = flat.bounds
    envelope = struct.pack("<4d", west, east, south, north)
    return _HEAD.pack(b"GP", 0, _LITTLE | _ENVELOPE_XY, srs_id) + envelope + bytes(body)


def from_blob(blob: object) -> BaseGeometry | None:
    """A geometry as a GeoPackage keeps it; None for nothing, an empty one, or what can't be read.

    >>> from_blob(to_blob(shapely.Point(1, 2), 32611))
    <POINT (1 2)>
    """
    if not isinstance(blob, bytes) or len(blob) < _HEAD.size or blob[:2] != b"GP":
        return None
    code = (blob[3] >> 1) & 0b111
    if code >= len(_ENVELOPE_BYTES):
        return None
    try:
        found = shapely.from_wkb(blob[_HEAD.size + _ENVELOPE_BYTES[code] :])
    except GEOSException:
        return None
    return None if found is None or found.is_empty else found
