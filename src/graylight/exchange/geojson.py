"""GeoJSON (RFC 7946): every part of the plan as a feature, with what it is and its numbers."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Sequence
from typing import Any

from graylight.exchange.marks import Mark, heading, marks, reminder
from graylight.exchange.outline import polygon
from graylight.plan.model import Approach, Plan, Pocket

__all__ = ["write_geojson"]


def write_geojson(plan: Plan) -> str:
    """The plan as one GeoJSON feature collection.

    Parameters
    ----------
    plan
        A plan. Shut pockets and their points are in it, each with the reason in `shut`.

    Returns
    -------
    str
        JSON in UTF-8, one feature a line: WGS 84, [lon, lat] to six places, outer rings counter-clockwise.
        Every feature has `what` (pocket, lookout, start, feed, bed, crossing, other crossing, water, way out,
        saddle, peak, basin, approach) and an `id`. Heights are properties (`height_m`), not third
        coordinates, since those would have to be above the ellipsoid (RFC 7946, section 4).
    """
    features = [*_pockets(plan), *map(_mark, marks(plan)), *map(_approach, plan.approaches)]
    lines = ",\n".join(_dump(feature) for feature in features if feature["geometry"] is not None)
    head = {"name": heading(plan), "description": reminder(plan), "schema_version": plan.schema_version}
    return f'{{"type": "FeatureCollection", {_dump(head)[1:-1]}, "features": [\n{lines}\n]}}\n'


def _dump(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def _feature(what: str, feature_id: str, geometry: Any, **properties: Any) -> dict[str, Any]:
    return {
        "type": "Feature",
        "geometry": geometry,
        "properties": {"what": what, "id": feature_id, **properties},
    }


def _pockets(plan: Plan) -> Iterator[dict[str, Any]]:
    for pocket in plan.pockets:
        facts = pocket.model_dump(
            mode="json", include={"rank", "name", "score", "chance", "confidence", "area_m2", "shut"}
        )
        reasons = [reason.words for reason in pocket.reasons]
        yield _feature("pocket", pocket.id, _area(pocket), **facts, reasons=reasons)


def _area(pocket: Pocket) -> dict[str, Any]:
    """The outline, or the middle where the outline has no area."""
    rings = polygon(pocket.outline)
    if not rings:
        return {"type": "Point", "coordinates": _position((pocket.centre.lon, pocket.centre.lat))}
    return {"type": "Polygon", "coordinates": rings}


def _mark(mark: Mark) -> dict[str, Any]:
    geometry = {"type": "Point", "coordinates": _position((mark.place.lon, mark.place.lat))}
    height_m = mark.place.height_m
    belongs = {} if mark.pocket is None else {"pocket": mark.pocket, "shut": mark.shut}
    return _feature(
        mark.what,
        mark.id,
        geometry,
        name=mark.label,
        words=mark.words,
        height_m=height_m,
        **belongs,
        **mark.facts,
    )


def _approach(way: Approach) -> dict[str, Any]:
    facts = way.model_dump(mode="json", exclude={"line", "start"})
    line = [_position(point) for point in way.line]
    geometry = {"type": "LineString", "coordinates": line} if len(line) >= 2 else None
    heights = [round(p[2], 1) if len(p) > 2 and math.isfinite(p[2]) else None for p in way.line]
    return _feature(
        "approach", f"to {way.lookout}", geometry, start=way.start.name, **facts, heights_m=heights
    )


def _position(point: Sequence[float]) -> list[float]:
    return [round(point[0], 6) + 0.0, round(point[1], 6) + 0.0]
