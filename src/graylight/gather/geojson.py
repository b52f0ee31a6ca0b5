"""Features written as GeoJSON for the country's entry, one file a table."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import shapely
from shapely.geometry.base import BaseGeometry

__all__ = ["feature", "write_features"]


def feature(geometry: BaseGeometry, properties: Mapping[str, Any]) -> dict[str, Any]:
    """A GeoJSON feature (RFC 7946); what is None is left out."""
    told = {key: value for key, value in properties.items() if value is not None}
    return {"type": "Feature", "properties": told, "geometry": shapely.geometry.mapping(geometry)}


def write_features(path: Path, features: Iterable[Mapping[str, Any]]) -> None:
    """Write a feature collection, WGS 84 degrees."""
    collection = {"type": "FeatureCollection", "features": list(features)}
    path.write_text(json.dumps(collection, ensure_ascii=False), encoding="utf-8")
