"""A box in a frame of its own, and the box that holds it in another: rasters are asked for the country's own box alone."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from pyproj import CRS, Transformer
from pyproj.exceptions import ProjError

from graylight.grid import Bounds

__all__ = ["DEGREES", "Area", "in_degrees", "within"]

DEGREES = "EPSG:4326"
EDGE_POINTS = 41
"""Points on each side of a box that is moved: a side is no straight line in another frame."""
EDGE_DEG = 3 / 3600
"""So far from the antimeridian a geographic box ends: whole cells of up to three seconds must not reach across it."""


class Area(NamedTuple):
    """A box, and the CRS of its numbers (x first).

    A box of a zone turned into degrees and back grows each time, at 16 km and far from the zone's middle by 7 % a side; so it
    is carried in the zone and moved once.
    """

    box: Bounds
    crs: CRS | str = DEGREES

    @property
    def middle(self) -> tuple[float, float]:
        """Longitude and latitude of the middle."""
        west, south, east, north = self.box
        mover = Transformer.from_crs(self.crs, DEGREES, always_xy=True)
        lon, lat = mover.transform((west + east) / 2, (south + north) / 2)
        return float(lon), float(lat)


def within(area: Area, crs: CRS | str) -> Bounds:
    """The smallest box of a CRS that holds an area.

    A geographic box ends before the antimeridian, on the side where the area's middle lies: what an area has beyond it is a
    margin, since ground across it is refused before.

    Raises
    ------
    ProjError
        It has no place there.
    """
    if area.crs == crs:
        return area.box
    mover = Transformer.from_crs(area.crs, crs, always_xy=True)
    box = Bounds(*map(float, mover.transform_bounds(*area.box, densify_pts=EDGE_POINTS)))
    if not np.isfinite(box).all():
        raise ProjError("the area has no place in this frame")
    if not CRS.from_user_input(crs).is_geographic:
        return box
    if box.west > box.east:
        box = box._replace(west=-180.0) if area.middle[0] < 0 else box._replace(east=180.0)
    return box._replace(west=max(box.west, EDGE_DEG - 180.0), east=min(box.east, 180.0 - EDGE_DEG))


def in_degrees(area: Area) -> Bounds:
    """The smallest box of WGS 84 degrees that holds an area."""
    return within(area, DEGREES)
