"""The plan in open file formats: GPX 1.1, KML 2.2, GeoJSON (RFC 7946); WGS 84, metres, repeatable bytes."""

from __future__ import annotations

from graylight.exchange.geojson import write_geojson
from graylight.exchange.gpx import write_gpx
from graylight.exchange.kml import write_kml

__all__ = ["write_geojson", "write_gpx", "write_kml"]
