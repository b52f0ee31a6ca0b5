"""The ground under a map: cover tints, shade, and one layer laid over it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from graylight.drawing.frame import Frame
from graylight.drawing.hillshade import Floats, hillshade
from graylight.drawing.palettes import COVER, DUSK, GREEN, PAPER, RAMPS, oklch
from graylight.errors import BadInput
from graylight.grid import Grid, LonLat

__all__ = ["LAYERS", "Area", "LayerLook", "Line", "MapData", "Name", "paint", "shade_of"]


class Line(NamedTuple):
    """A road, trail or stream; `points` is (n, 2) longitudes and latitudes."""

    kind: str
    points: NDArray[np.float64]
    name: str | None = None


class Area(NamedTuple):
    """A lake, holding or unit; rings are (n, 2) longitudes and latitudes, the outer first."""

    rings: list[NDArray[np.float64]]
    name: str | None = None


class Name(NamedTuple):
    """A name on the map; kind is "basin", "saddle", "water" or "other" (peaks come from the plan)."""

    kind: str
    text: str
    place: LonLat


@dataclass(frozen=True)
class MapData:
    """What lies on the ground, for a map.

    Parameters
    ----------
    grid
        The country's grid.
    elevation_m : (rows, cols) float32
        Metres, NaN where not known.
    kind : (rows, cols) uint8, optional
        Cover by kind (graylight.ground.cover.Kind).
    green : (rows, cols) float32, optional
        Greenness in [0, 1].
    water : (rows, cols) bool, optional
        Lakes and rivers by cell.
    paths
        Roads ("road"), trails ("trail") and streams ("stream" or "perennial", "intermittent").
    lakes, private, units
        Areas; private holdings are hatched and named, unit boundaries drawn as a line.
    names
        Names of bowls, saddles, waters and other places.
    """

    grid: Grid
    elevation_m: Floats
    kind: NDArray[np.uint8] | None = None
    green: Floats | None = None
    water: NDArray[np.bool_] | None = None
    paths: list[Line] = field(default_factory=list)
    lakes: list[Area] = field(default_factory=list)
    private: list[Area] = field(default_factory=list)
    units: list[Area] = field(default_factory=list)
    names: list[Name] = field(default_factory=list)

    def __post_init__(self) -> None:
        for name in ("elevation_m", "kind", "green", "water"):
            raster = getattr(self, name)
            if raster is not None and raster.shape != self.grid.shape:
                raise BadInput(
                    f"{name} of shape {raster.shape} does not fit the grid of {self.grid.shape}; "
                    "accepted is one value per cell; bring it onto the country's grid first"
                )


@dataclass(frozen=True, slots=True)
class LayerLook:
    """How a layer is coloured: from `low` to `high` along a ramp, faded in above `bare`."""

    ramp: NDArray[np.uint8]
    low: float
    high: float
    words: str
    ends: tuple[str, str]
    bare: float | None = None
    cyclic: bool = False


LAYERS: dict[str, LayerLook] = {
    "feed": LayerLook(RAMPS["feed"], 0.0, 1.0, "Feed in the open", ("poor", "best"), bare=0.12),
    "bed": LayerLook(RAMPS["bed"], 0.0, 1.0, "Beds through the day", ("poor", "best"), bare=0.12),
    "sight": LayerLook(RAMPS["sight"], 0.0, 1.0, "In sight", ("out of sight", "in full view")),
    "slope": LayerLook(RAMPS["slope"], 0.0, 50.0, "Slope", ("level", "50°")),
    "facing": LayerLook(RAMPS["facing"], 0.0, 360.0, "Facing", ("", ""), cyclic=True),
    "walk": LayerLook(RAMPS["walk"], 0.0, 6.0, "Time on foot", ("0", "6 h")),
    "suitability": LayerLook(RAMPS["feed"], 0.0, 1.0, "Suitability", ("poor", "best"), bare=0.12),
}
"""Layers that can be laid over the ground; "ground" itself is none of them."""

_LEVEL = 0.62
_WARM = np.array(oklch(0.985, 0.022, 88), dtype=np.float32)
_SHADOW = np.array(DUSK, dtype=np.float32) / 255.0
_STEEL = oklch(0.93, 0.006, 250)


def shade_of(data: MapData, frame: Frame) -> tuple[Floats, Floats]:
    """Elevation and shade on the pixels of a frame."""
    height = frame.sample(data.elevation_m)
    return height, hillshade(height, cell_m=frame.metres_per_pixel)


def paint(
    data: MapData, frame: Frame, shade: Floats, *, layer: str = "ground", raster: Floats | None = None
) -> Image.Image:
    """Paint the ground, with a layer over it where one is named.

    Parameters
    ----------
    shade : (height, width) float32
        From `shade_of`.
    layer
        "ground" or a key of `LAYERS`.
    raster : (rows, cols) float32
        The layer's values on the grid; NaN where not known. Needed for all but "ground".
    """
    if layer != "ground" and layer not in LAYERS:
        raise BadInput(f"layer {layer!r}; accepted are ground, {', '.join(LAYERS)}; choose one of them")
    if layer == "ground":
        colour = _shaded(_tint(data, frame), shade)
    elif raster is None or raster.shape != data.grid.shape:
        got = None if raster is None else raster.shape
        raise BadInput(
            f"raster of shape {got} for layer {layer!r}; accepted is {data.grid.shape}; hand it over"
        )
    else:
        colour = _layered(data, frame, shade, LAYERS[layer], raster)
    colour[np.isnan(shade)] = np.array(PAPER) * 0.94
    return Image.fromarray(np.clip(np.rint(colour), 0, 255).astype(np.uint8))


def _tint(data: MapData, frame: Frame, *, plain: bool = False) -> NDArray[np.float32]:
    """Cover tints on the pixels; without cover, the tint of unknown ground."""
    if data.kind is None or plain:
        tint = np.empty((frame.height, frame.width, 3), dtype=np.float32)
        tint[:] = _STEEL if plain else COVER[0]
    else:
        table = np.array([COVER.get(kind, COVER[0]) for kind in range(256)], dtype=np.uint8)
        rgb = table[data.kind]
        if data.green is not None:
            rgb = _greened(rgb, data.kind, data.green)
        tint = frame.sample_colour(rgb)
    if data.water is not None:
        tint = _watered(tint, data.water, frame)
    return tint


def _greened(rgb: NDArray[np.uint8], kind: NDArray[np.uint8], green: Floats) -> NDArray[np.uint8]:
    open_ground = (kind >= 2) & (kind <= 5) & np.isfinite(green) & (green > 0.0)
    part = (np.clip(green[open_ground], 0.0, 1.0) * 0.8)[:, None]
    mixed = rgb.copy()
    mixed[open_ground] = np.rint(rgb[open_ground] * (1.0 - part) + np.array(GREEN) * part)
    return mixed


def _watered(tint: NDArray[np.float32], water: NDArray[np.bool_], frame: Frame) -> NDArray[np.float32]:
    wet = frame.sample(water.astype(np.float32), smooth=False)[..., None]
    part = np.clip((wet - 0.35) / 0.3, 0.0, 1.0)
    return np.asarray(tint * (1.0 - part) + np.array(COVER[6], dtype=np.float32) * part, dtype=np.float32)


def _shaded(tint: NDArray[np.float32], shade: Floats, *, strength: float = 1.0) -> NDArray[np.float32]:
    """Lay shade over tints: towards night blue below the level's own light, towards warm white above it."""
    value = np.nan_to_num(shade, nan=_LEVEL)[..., None]
    dark = np.clip((_LEVEL - value) / _LEVEL, 0.0, 1.0) ** 0.9 * (0.98 * strength)
    bright = np.clip((value - _LEVEL) / (1.0 - _LEVEL), 0.0, 1.0) * (0.62 * strength)
    shaded = tint * (1.0 - dark * (1.0 - _SHADOW))
    return np.asarray(shaded + (_WARM - shaded) * bright, dtype=np.float32)


def _layered(
    data: MapData, frame: Frame, shade: Floats, look: LayerLook, raster: Floats
) -> NDArray[np.float32]:
    values = _sample_turning(frame, raster) if look.cyclic else frame.sample(raster, smooth=False)
    known = np.isfinite(values)
    part = np.nan_to_num((values - look.low) / (look.high - look.low), nan=0.0)
    at = (
        np.rint(part * 256).astype(int) % 256
        if look.cyclic
        else np.clip(np.rint(part * 255), 0, 255).astype(int)
    )
    over = _shaded(look.ramp[at].astype(np.float32), shade, strength=0.45 if look.cyclic else 0.62)
    under = _shaded(_tint(data, frame, plain=True), shade, strength=0.85)
    weight = known.astype(np.float32)
    if look.bare is not None:
        weight *= np.clip((part - look.bare * 0.5) / look.bare, 0.0, 1.0).astype(np.float32) * 0.92
    return np.asarray(under + (over - under) * weight[..., None], dtype=np.float32)


def _sample_turning(frame: Frame, azimuth_deg: Floats) -> Floats:
    """Bring azimuths onto the pixels by their sine and cosine: 359 and 1 meet at 0, not at 180."""
    turn = np.radians(azimuth_deg)
    east, north = (
        frame.sample(part.astype(np.float32), smooth=False) for part in (np.sin(turn), np.cos(turn))
    )
    return np.asarray(np.degrees(np.arctan2(east, north)) % 360.0, dtype=np.float32)
