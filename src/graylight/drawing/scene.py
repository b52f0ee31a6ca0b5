"""A map body in the making: what is drawn, where, on which sheet, in which units."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from PIL import Image

from graylight.drawing.frame import Frame
from graylight.drawing.ground import MapData
from graylight.drawing.lettering import Room
from graylight.drawing.sheet import Sheet
from graylight.grid import LonLat
from graylight.plan.model import Place

__all__ = ["Scene", "Units"]

Units: TypeAlias = Literal["us", "metric"]


@dataclass(frozen=True, slots=True)
class Scene:
    """The body of a map while it is drawn.

    Parameters
    ----------
    data
        The ground.
    frame
        Where places lie on the body.
    sheet
        What is drawn on.
    room
        Where labels may still go.
    units
        Of heights and rings.
    unit
        A pixel of a picture 1600 pixels wide: all widths and letters are given in it.
    """

    data: MapData
    frame: Frame
    sheet: Sheet
    room: Room
    units: Units
    unit: float

    @classmethod
    def over(cls, picture: Image.Image, data: MapData, frame: Frame, *, units: Units, unit: float) -> Scene:
        """Begin a scene over the painted ground."""
        return cls(data, frame, Sheet(picture), Room(frame.width, frame.height), units, unit)

    def at(self, place: Place) -> tuple[float, float]:
        """Pixel x, y of a place of the plan."""
        return self.frame.pixel(LonLat(place.lon, place.lat))

    def shows(self, place: Place, *, margin: float = 0.0) -> bool:
        """Whether a place of the plan lies on the body."""
        return self.frame.holds(*self.at(place), margin=margin)
