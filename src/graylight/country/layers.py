"""The table of layers: what each raster in a country's folder is called, holds and means."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

__all__ = ["LAYERS", "MARKS_SEEN", "LayerSpec", "Scheme", "Writer"]

Writer: TypeAlias = Literal["entry", "ground", "sky", "reach", "habitat", "sight", "siting"]
Scheme: TypeAlias = Literal["worldcover", "nlcd"]
"""Legends of land cover codes."""
NAN = float("nan")


@dataclass(frozen=True, slots=True)
class LayerSpec:
    """What a layer is.

    Parameters
    ----------
    name
        Its name; the file is layers/NAME.tif.
    dtype
        Of its cells. Layers of float32 have NaN where nothing is known.
    unit
        Of its values; "1" for parts and suitabilities in [0, 1], "code" for classes, "label" for numbered
        pieces. nodata
        The value that means "not known" or "none", as told to other programs; None: every value counts.
    writer
        The stage whose result it is.
    words
        What it holds, in plain words.
    bands
        How many bands.
    """

    name: str
    dtype: Literal["float32", "uint8", "int16", "int32"]
    unit: str
    nodata: float | None
    writer: Writer
    words: str
    bands: int = 1

    @property
    def smooth(self) -> bool:
        """Whether the mean of two cells means something: not of classes, labels or azimuths."""
        return self.unit not in {"code", "label"} and self.name != "aspect"


def _floats(name: str, unit: str, writer: Writer, words: str) -> LayerSpec:
    return LayerSpec(name, "float32", unit, NAN, writer, words)


def _codes(name: str, writer: Writer, words: str, *, nodata: float | None = None) -> LayerSpec:
    return LayerSpec(name, "uint8", "code", nodata, writer, words)


def _labels(name: str, writer: Writer, words: str) -> LayerSpec:
    return LayerSpec(name, "int32", "label", 0.0, writer, words)


_ALL = (
    _floats("elevation", "m", "entry", "height of the ground above the source's own datum"),
    _codes("cover_codes", "entry", "land cover codes as the source has them", nodata=0.0),
    _floats("canopy_height", "m", "entry", "height of the canopy above the ground, as measured"),
    _floats("canopy_closure", "1", "entry", "part of the sky that the canopy closes, as measured"),
    _floats("red", "1", "entry", "reflectance in red"),
    _floats("nir", "1", "entry", "reflectance in the near infrared"),
    LayerSpec("picture", "uint8", "1", None, "entry", "colour picture; black: not known", 3),
    _floats("slope", "deg", "ground", "steepness of the ground"),
    _floats("aspect", "deg", "ground", "azimuth the ground faces, clockwise from true north; level: not set"),
    _floats("local_relief", "m", "ground", "highest minus lowest ground around"),
    _floats("ruggedness", "1", "ground", "vector ruggedness of the ground"),
    _codes("forms", "ground", "landform: 1 flat, 2 summit, 3 ridge, 4 shoulder, 5 spur, 6 slope, 7 hollow, "
           "8 footslope, 9 valley, 10 pit; 0 not known", nodata=0.0),
    _codes("cliffs", "ground", "1 where the ground is a cliff"),
    _labels("basins", "ground", "number of the bowl the cell lies in; 0 none"),
    _labels("benches", "ground", "number of the bench the cell lies on; 0 none"),
    _codes("cover", "ground", "1 timber, 2 brush, 3 grass, 4 rock with growth, 5 rock, 6 water, 7 snow, "
           "8 worked; 0 not known", nodata=0.0),
    _floats("greenness", "1", "ground", "how green the ground is, inside rock too"),
    _floats("canopy", "m", "ground", "height of the canopy the plan reckons with, measured or assumed"),
    _floats("closure", "1", "ground", "closure of the canopy the plan reckons with, measured or assumed"),
    _codes("water", "ground", "1 where water is near"),
    _floats("shade_midday", "1", "sky", "shade through the middle of the day; 1 full shade"),
    _floats("first_sun", "s", "sky", "seconds after midnight UTC, at the start of the date, when the sun first "
            "reaches the cell; not set: no sun that day"),
    _floats("last_sun", "s", "sky", "seconds after midnight UTC, at the start of the date, when the sun leaves the "
            "cell for the day; not set: no sun that day"),
    _floats("walk_seconds", "s", "reach", "walking time from the nearest start; not set beyond the limit"),
    _floats("quiet_seconds", "s", "reach", "walking time from the nearest road, trailhead or motor route"),
    _floats("band", "1", "habitat", "how well the height suits the season's elevation belt"),
    _floats("feed", "1", "habitat", "suitability for feeding in the open"),
    _floats("bed", "1", "habitat", "suitability for lying by day"),
    _labels("pockets", "habitat", "number of the pocket the cell belongs to; 0 none"),
    _floats("use_at_dawn", "1", "habitat", "where in a pocket animals are looked for at first light"),
    _floats("sight_share", "1", "sight", "part of all pockets' use that is in view from the cell"),
    _floats("watch_worth", "1", "siting", "worth of sitting in the cell: chance in view, by distance"),
)  # fmt: skip

MARKS_SEEN = _codes(
    "marks_seen", "sight", "how many of the marks asked for show from the cell, where one can sit"
)
"""Kept apart, as watch/NAME.tif: an answer to one question, not a layer of the country."""

LAYERS: dict[str, LayerSpec] = {spec.name: spec for spec in _ALL}
"""All layers by name."""
