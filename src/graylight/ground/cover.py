"""What grows or lies on the ground: kind, greenness, canopy, closure, treeline, and how surely they are
known.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from graylight.errors import BadInput
from graylight.ground.greenness import green_of_bands, green_of_picture
from graylight.ground.kind import Kind
from graylight.ground.patches import smoothed
from graylight.ground.relief import Relief
from graylight.ground.treeline import treeline_by_latitude, treeline_of_trees
from graylight.work import Tick, silent

__all__ = ["SCHEMES", "Cover", "Kind", "bytes_needed", "cover", "kinds_of"]

Raster: TypeAlias = NDArray[np.float32]
Kinds: TypeAlias = NDArray[np.uint8]


SCHEMES: dict[str, dict[int, Kind]] = {
    # ESA WorldCover 10 m v200, Product User Manual, table of classes, doi:10.5281/zenodo.7254221
    "worldcover": {
        10: Kind.TIMBER, 20: Kind.BRUSH, 30: Kind.GRASS, 40: Kind.WORKED, 50: Kind.WORKED, 60: Kind.ROCK,
        70: Kind.SNOW, 80: Kind.WATER, 90: Kind.GRASS, 95: Kind.TIMBER, 100: Kind.GRASS,
    },
    # National Land Cover Database legend (MRLC); open space in towns (21) counts as worked
    "nlcd": {
        11: Kind.WATER, 12: Kind.SNOW, 21: Kind.WORKED, 22: Kind.WORKED, 23: Kind.WORKED, 24: Kind.WORKED,
        31: Kind.ROCK, 41: Kind.TIMBER, 42: Kind.TIMBER, 43: Kind.TIMBER, 51: Kind.BRUSH, 52: Kind.BRUSH,
        71: Kind.GRASS, 72: Kind.GRASS, 73: Kind.GRASS, 74: Kind.GRASS, 81: Kind.WORKED, 82: Kind.WORKED,
        90: Kind.TIMBER, 95: Kind.GRASS,
    },
}  # fmt: skip
"""Kind of each code of a land cover map; 0, 250 and 255 are nodata in both."""
_NODATA = (0, 250, 255)

TREE_M = 3.0
"""A canopy from this height on is timber, less is brush. Common practice: a standing elk or a person is
hidden."""
TREE_CLOSURE = 0.25
"""Less closed than this, the ground is open with single trees. Common practice, no source."""
BRUSH_M = 0.5
ASSUMED_TREE = (12.0, 0.6)
ASSUMED_BRUSH = (1.0, 0.4)
"""Canopy height in metres and closure given to mapped trees and brush that nobody measured. Assumed, and
said."""
ASSUMED_FULL_CLOSURE = 0.8
"""Closure given to ground with trees on all sides, where heights are known and closure is not. Assumed, and
said."""
GROWTH_GREEN = 0.12
"""Mapped bare ground at least this green is rock with growth between: NDVI 0.18. Common practice, no
source."""
MEADOW_GREEN = 0.35
LEVEL_DEG = 2.0
OPEN_ROCK_DEG = 40.0
OPEN_GRASS_DEG = 30.0
"""Above treeline, known by its shape alone: grass below 30 degrees, rock from 40. Common practice, no
source."""


@dataclass(frozen=True, slots=True)
class Cover:
    """What grows or lies on the ground.

    Parameters
    ----------
    kind : (rows, cols) uint8
        `Kind`.
    green : (rows, cols) float32
        Greenness 0 to 1, inside rock too; NaN unknown.
    canopy_m, closure : (rows, cols) float32, or None
        Canopy height and the part of the sky it closes, 0 where there is none, never NaN; None where neither
        a canopy nor a land cover layer nor imagery says anything.
    treeline_m, treeline_rule
        Treeline, and where it comes from.
    confidence
        Of the whole.
    not_known, notes
        What the data can't show; what was assumed and done.
    """

    kind: Kinds
    green: Raster
    canopy_m: Raster | None
    closure: Raster | None
    treeline_m: float
    treeline_rule: str
    confidence: Literal["low", "fair", "good"]
    not_known: tuple[str, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Layers:
    """What was handed over."""

    codes: NDArray[np.integer] | None
    scheme: str
    canopy_m: Raster | None
    closure: Raster | None
    red: NDArray[np.floating] | None
    nir: NDArray[np.floating] | None
    picture: NDArray[np.uint8] | None

    @property
    def bands(self) -> bool:
        """Whether red and near-infrared are both there."""
        return self.red is not None and self.nir is not None

    @property
    def trees(self) -> bool:
        """Whether something shows where trees stand."""
        return self.codes is not None or self.canopy_m is not None or self.closure is not None

    def measured_open(self, shape: tuple[int, ...]) -> NDArray[np.bool_]:
        """Where a measurement shows that no canopy closes."""
        clear = np.zeros(shape, bool)
        if self.canopy_m is not None:
            clear |= self.canopy_m < BRUSH_M
        if self.closure is not None:
            clear |= self.closure < TREE_CLOSURE
        return clear


@dataclass(frozen=True, slots=True)
class _Ground:
    """The shape of the ground as far as it says what grows."""

    slope_deg: Raster
    above: NDArray[np.bool_]


def bytes_needed(shape: tuple[int, int]) -> int:
    """Memory that `cover` takes at its peak for rasters of this shape."""
    return 64 * shape[0] * shape[1]


def cover(
    elevation_m: Raster,
    relief: Relief,
    *,
    cell_m: float,
    lat_deg: float,
    codes: NDArray[np.integer] | None = None,
    scheme: Literal["worldcover", "nlcd"] = "worldcover",
    canopy_m: Raster | None = None,
    closure: Raster | None = None,
    red: NDArray[np.floating] | None = None,
    nir: NDArray[np.floating] | None = None,
    picture: NDArray[np.uint8] | None = None,
    treeline_m: float | None = None,
    tick: Tick = silent,
) -> Cover:
    """Work out the cover from whatever layers there are, and say what they can't show.

    Parameters
    ----------
    elevation_m, relief
        (rows, cols) float32, metres, NaN for unknown; its relief.
    cell_m, lat_deg
        Cell size; latitude of the country's middle.
    codes, scheme
        (rows, cols) integer land cover codes, and what they mean.
    canopy_m, closure
        (rows, cols) float32: canopy height; part of the sky closed, 0 to 1. NaN for unknown.
    red, nir
        (rows, cols) reflectances, or any common multiple; NaN for unknown.
    picture
        (3, rows, cols) uint8 colour picture, used only where red and near infrared are missing.
    treeline_m
        Treeline; none: from the trees, or by latitude.

    Notes
    -----
    Measured canopy goes before mapped codes, codes before colour, colour before the shape of the ground.
    Greenness is read inside rock too, for growth between boulders feeds animals. Not modelled: kinds of
    plants, season beyond the date of the imagery, burns and cuttings newer than the layers.
    """
    layers = _Layers(codes, scheme, canopy_m, closure, red, nir, picture)
    _check(elevation_m.shape, layers)
    green, said = _green(elevation_m, layers)
    tick(0.3)
    kind, trees = _mapped(elevation_m.shape, layers, said)
    line, rule = _treeline(elevation_m, trees, lat_deg, treeline_m)
    kind = _filled(kind, green, _Ground(relief.slope_deg, elevation_m >= line), layers, said)
    tick(0.6)
    height, closed = _canopy(kind, layers, cell_m, said)
    kind[np.isnan(elevation_m)] = Kind.UNKNOWN
    tick(1.0)
    return Cover(
        kind, green, height, closed, line, rule, _confidence(layers), _not_known(layers), tuple(said)
    )


def kinds_of(codes: NDArray[np.integer], scheme: str) -> tuple[Kinds, tuple[int, ...]]:
    """Kinds of the codes of a land cover map, and the codes that the scheme does not have (kind unknown).

    >>> kinds_of(np.array([[10, 60, 7]]), "worldcover")
    (array([[1, 5, 0]], dtype=uint8), (7,))
    """
    if scheme not in SCHEMES:
        raise BadInput(
            f"land cover scheme {scheme!r} is unknown; accepted are {', '.join(sorted(SCHEMES))}; say which "
            "map the codes come from"
        )
    table = np.zeros(256, np.uint8)
    for code, kind in SCHEMES[scheme].items():
        table[code] = kind
    inside = np.where((codes >= 0) & (codes <= 255), codes, 255).astype(np.uint8)
    seen = np.flatnonzero(np.bincount(inside.ravel(), minlength=256))
    strange = tuple(int(code) for code in seen if table[code] == 0 and code not in _NODATA)
    return table[inside], strange


def _check(shape: tuple[int, ...], layers: _Layers) -> None:
    for name in ("codes", "canopy_m", "closure", "red", "nir", "picture"):
        layer = getattr(layers, name)
        if layer is not None and layer.shape[-2:] != shape:
            raise BadInput(
                f"{name} has shape {layer.shape[-2:]}; accepted is that of the elevation, {shape}; bring all "
                "layers onto one grid first"
            )


def _green(elevation_m: Raster, layers: _Layers) -> tuple[Raster, list[str]]:
    """Greenness from the best source there is, and what to say about it."""
    if layers.red is not None and layers.nir is not None:
        return green_of_bands(layers.red, layers.nir), [
            "greenness: NDVI stretched from 0.1 (nothing green) to 0.6 (all green)"
        ]
    if layers.picture is not None:
        return green_of_picture(layers.picture), [
            "greenness: excess green of a colour picture, a rough measure"
        ]
    return np.full(elevation_m.shape, np.nan, np.float32), []


def _mapped(
    shape: tuple[int, ...], layers: _Layers, said: list[str]
) -> tuple[Kinds, NDArray[np.bool_] | None]:
    """Kinds by codes and canopy (unknown elsewhere), and where trees stand if anything shows it."""
    kind: Kinds = np.zeros(shape, np.uint8)
    if layers.codes is not None:
        kind, strange = kinds_of(layers.codes, layers.scheme)
        if strange:
            names = ", ".join(map(str, strange))
            said.append(f"land cover codes {names} are not in {layers.scheme}: taken as unknown")
    if layers.canopy_m is not None:
        _measured(kind, layers.canopy_m, layers.closure)
    elif layers.closure is not None:
        kind[(layers.closure >= TREE_CLOSURE) & (kind == Kind.UNKNOWN)] = Kind.TIMBER
    return kind, (kind == Kind.TIMBER) if layers.trees else None


def _measured(kind: Kinds, canopy_m: Raster, closure: Raster | None) -> None:
    """Put what was measured over what was mapped."""
    tall = canopy_m >= TREE_M
    if closure is not None:
        tall &= ~(closure < TREE_CLOSURE)
    low = (canopy_m >= BRUSH_M) & (canopy_m < TREE_M)
    growing = ~np.isin(kind, (Kind.WATER, Kind.SNOW, Kind.WORKED))
    kind[tall & growing] = Kind.TIMBER
    kind[low & np.isin(kind, (Kind.UNKNOWN, Kind.TIMBER))] = Kind.BRUSH
    # mapped as trees, measured as open or with single trees: the measurement holds, the rest is found later
    thin = canopy_m < BRUSH_M if closure is None else (canopy_m < BRUSH_M) | (closure < TREE_CLOSURE)
    kind[thin & (kind == Kind.TIMBER)] = Kind.UNKNOWN


def _treeline(
    elevation_m: Raster, trees: NDArray[np.bool_] | None, lat_deg: float, given: float | None
) -> tuple[float, str]:
    if given is not None:
        return float(given), "as set"
    by_rule = treeline_by_latitude(lat_deg)
    if trees is None:
        return by_rule, "by latitude: 12,000 ft in northern New Mexico, 11,000 ft in northern Colorado"
    seen = treeline_of_trees(elevation_m, trees)
    if seen is not None:
        return seen, "top of the highest 50 m belt with at least 15 % under trees"
    return by_rule, "by latitude: the trees shown here do not tell"


def _filled(kind: Kinds, green: Raster, ground: _Ground, layers: _Layers, said: list[str]) -> Kinds:
    """Kinds where nothing is mapped: by colour, else by the shape of the ground; green rock has growth."""
    kind = kind.copy()
    kind[(kind == Kind.ROCK) & (green >= GROWTH_GREEN)] = Kind.ROCK_GROWTH
    seen = (kind == Kind.UNKNOWN) & ~np.isnan(green)
    if seen.any() and not layers.trees:
        kind[seen & ~ground.above & _dark(green, layers)] = Kind.TIMBER
        said.append("timber: taken from dark green ground below the treeline, unsure")
    if layers.codes is None and layers.red is not None and layers.nir is not None:
        # water swallows near infrared; snow, which does so too, hardly ever lies level
        kind[seen & (layers.nir < layers.red) & (ground.slope_deg < LEVEL_DEG)] = Kind.WATER
    coloured = seen & (kind == Kind.UNKNOWN)
    kind[coloured] = _by_colour(green[coloured], ground.slope_deg[coloured])
    shaped = (kind == Kind.UNKNOWN) & (ground.above | layers.measured_open(kind.shape))
    shaped &= ~np.isnan(ground.slope_deg)
    if shaped.any():
        kind[shaped] = _by_shape(ground.slope_deg[shaped])
        said.append("open ground of which no layer says more: grass under 30 degrees, rock from 40")
    return kind


def _by_colour(green: Raster, slope_deg: Raster) -> Kinds:
    kind = np.full(green.shape, Kind.ROCK_GROWTH, np.uint8)
    kind[(green >= MEADOW_GREEN) | ((green >= GROWTH_GREEN) & (slope_deg < OPEN_GRASS_DEG))] = Kind.GRASS
    kind[green < GROWTH_GREEN / 2.0] = Kind.ROCK
    return kind


def _by_shape(slope_deg: Raster) -> Kinds:
    kind = np.full(slope_deg.shape, Kind.ROCK_GROWTH, np.uint8)
    kind[slope_deg < OPEN_GRASS_DEG] = Kind.GRASS
    kind[slope_deg >= OPEN_ROCK_DEG] = Kind.ROCK
    return kind


def _dark(green: Raster, layers: _Layers) -> NDArray[np.bool_]:
    """Green ground darker than meadow: conifers throw back less near infrared, and less light of any
    colour.
    """
    growing = green >= GROWTH_GREEN
    light = layers.nir if layers.bands else None
    if light is None and layers.picture is not None:
        light = layers.picture.sum(axis=0, dtype=np.float32)
    if light is None or not growing.any():
        return np.zeros(green.shape, bool)
    bright = float(np.nanpercentile(light[growing], 90.0))
    dark: NDArray[np.bool_] = growing & (light < 0.7 * bright)
    return dark


def _canopy(
    kind: Kinds, layers: _Layers, cell_m: float, said: list[str]
) -> tuple[Raster | None, Raster | None]:
    """Canopy height and closure without NaN; what was not measured is assumed, and said."""
    if not (layers.trees or layers.bands or layers.picture is not None):
        return None, None
    trees, brush = kind == Kind.TIMBER, kind == Kind.BRUSH
    height, closed = np.zeros(kind.shape, np.float32), np.zeros(kind.shape, np.float32)
    for mask, (tall, dense) in ((trees, ASSUMED_TREE), (brush, ASSUMED_BRUSH)):
        height[mask], closed[mask] = tall, dense
    if layers.canopy_m is not None:
        known = ~np.isnan(layers.canopy_m)
        height[known] = np.maximum(layers.canopy_m[known], 0.0)
    elif trees.any() or brush.any():
        said.append("canopy height not measured: trees taken as 12 m, brush as 1 m")
    if layers.closure is not None:
        known = ~np.isnan(layers.closure)
        closed[known] = np.clip(layers.closure[known], 0.0, 1.0)
    elif layers.canopy_m is not None:
        share = smoothed((height >= TREE_M).astype(np.float32), span_m=50.0, cell_m=cell_m)
        closed[trees] = np.clip(ASSUMED_FULL_CLOSURE * share[trees], TREE_CLOSURE, 1.0)
        said.append(
            "canopy closure not measured: taken as 0.8 of the part of the ground within 25 m under trees"
        )
    elif trees.any() or brush.any():
        said.append("canopy closure not measured: trees taken as 0.6, brush as 0.4")
    closed[height <= 0.0] = 0.0
    return height, closed


def _confidence(layers: _Layers) -> Literal["low", "fair", "good"]:
    if not layers.trees:
        return "low"
    return "good" if layers.bands else "fair"


def _not_known(layers: _Layers) -> tuple[str, ...]:
    lines = []
    if not layers.trees and not layers.bands and layers.picture is None:
        lines.append("no vegetation layer: cover unknown")
    elif not layers.trees:
        lines.append("no land cover or canopy layer: timber is guessed from colour")
    if not layers.bands:
        lines.append(
            "no near-infrared imagery: greenness "
            + ("is rough, from a colour picture" if layers.picture is not None else "unknown")
        )
    if layers.canopy_m is None and (layers.trees or layers.bands or layers.picture is not None):
        lines.append("no canopy height: how far trees hide animals is assumed")
    return tuple(lines)
