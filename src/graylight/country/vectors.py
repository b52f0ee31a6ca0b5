"""Vector files on entry: read with any OGR driver, moved, clipped, and put into the country's tables."""

from __future__ import annotations

import warnings
from collections import defaultdict
from collections.abc import Sequence
from contextlib import nullcontext
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal, TypeAlias

import numpy as np
import pyogrio
import shapely
from numpy.typing import NDArray
from pyogrio import raw
from pyogrio.errors import DataLayerError, DataSourceError, FeatureError
from pyproj import CRS, Transformer
from pyproj.exceptions import CRSError, ProjError
from shapely.geometry.base import BaseGeometry

from graylight.country.feature import Feature
from graylight.country.handed import ACCEPTED, openable, with_few_layers
from graylight.country.kinds import columns, kind_of
from graylight.country.outline import Crossings, Tangled, clipped
from graylight.country.tables import TABLES, Shape
from graylight.errors import BadInput
from graylight.grid import Grid
from graylight.plan.model import LayerFact
from graylight.work import Tick, silent

__all__ = ["Vectors", "read_vectors"]

_Row: TypeAlias = tuple[BaseGeometry, dict[str, Any]]

SHAPES: dict[int, Shape] = {0: "point", 1: "line", 2: "line", 3: "area", 4: "point", 5: "line", 6: "area"}
"""Shape by GEOS type number; collections (7) are taken apart first."""
DOUBLES = frozenset({"route_points", "track_points"})
"""Layers of GPX files that repeat what its lines hold."""


@dataclass
class Vectors:
    """What was brought in: features by table, a fact for each layer used, and what could not be used; crossings
    that may still be mended.
    """

    tables: dict[str, list[Feature]] = field(default_factory=lambda: defaultdict(list))
    facts: list[LayerFact] = field(default_factory=list)
    left_out: list[str] = field(default_factory=list)
    crossings: Crossings = field(default_factory=Crossings)


def read_vectors(paths: Sequence[Path], grid: Grid, *, own: bool = False, tick: Tick = silent) -> Vectors:
    """Read vector files, in the order given.

    Parameters
    ----------
    paths
        Files with one or more layers, of the formats that `openable` knows.
    grid
        The country's grid: features are moved into its CRS and clipped to its box.
    own
        Whether the program wrote them itself: they need no looking over, and one that lies outside the country as a whole is
        left out, and said.

    Raises
    ------
    BadInput
        A file is not there, is not a vector file, or lies outside the country as a whole.

    Notes
    -----
    A layer that can't be used (no CRS, a name that tells nothing) is left out, and said. Heights of points
    are dropped.
    """
    found = Vectors()
    for i, path in enumerate(paths):
        with nullcontext([path]) if own else openable(path) as inside:
            met = [
                _take(one, layer, grid, found, handed=path) for one in inside for layer in _layers(one, path)
            ]
        if "outside" in met and "met" not in met and not own:
            raise _elsewhere(path, grid)
        tick((i + 1) / len(paths))
    return found


def _layers(path: Path, handed: Path) -> list[str]:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            names = [str(name) for name, kind in pyogrio.list_layers(str(path)) if kind is not None]
    except (DataSourceError, DataLayerError):
        raise _unread(handed) from None
    return with_few_layers(names, f"the vector file {handed.name}")


def _elsewhere(path: Path, grid: Grid) -> BadInput:
    west, south, east, north = grid.lonlat_bounds()
    return BadInput(
        f"the vector file {path.name} does not overlap the country; accepted is a file with features about latitude "
        f"{south:.4f} to {north:.4f}, longitude {west:.4f} to {east:.4f}; give another file or leave it out"
    )


def _unread(path: Path) -> BadInput:
    return BadInput(
        f"the vector file {path.name} can't be read, or is cut short or damaged; accepted is {ACCEPTED}; check the file"
    )


@dataclass(frozen=True)
class _Layer:
    """A layer of a file, and the file that was handed over: itself, or the archive that it came in."""

    path: Path
    name: str
    crs: CRS
    handed: Path

    @property
    def crs_name(self) -> str:
        """Its CRS by code, else by name."""
        code = self.crs.to_epsg()
        return f"EPSG:{code}" if code else str(self.crs.name)


def _take(
    path: Path, name: str, grid: Grid, found: Vectors, *, handed: Path
) -> Literal["met", "outside", "nothing"]:
    """Put a layer's features into the tables they belong to; tell whether its extent meets the country."""
    if name in DOUBLES and path.suffix.lower() == ".gpx":
        return "nothing"
    called = f"layer {name!r} of {handed.name}"
    crs = _frame(path, name)
    if crs is None:
        found.left_out.append(f"not used: {called}; it has no CRS that can be placed on the earth")
        return "nothing"
    layer = _Layer(path, name, crs, handed)
    by_shape: dict[Shape, list[_Row]] = defaultdict(list)
    read, tangled = _read(layer, grid, found.crossings)
    if tangled:
        found.left_out.append(f"not used: {_counted(len(tangled), 'area')} of {called}; {tangled[0]}")
    for pieces, row in read:
        for shape, piece in pieces.items():
            by_shape[shape].append((piece, row))
    if not by_shape and not tangled:
        found.left_out.append(f"not used: {called}; nothing of it lies in the country")
    for shape, rows in sorted(by_shape.items()):
        _file(layer, shape, rows, grid, found)
    return "met" if by_shape else _extent(layer, grid)


def _extent(layer: _Layer, grid: Grid) -> Literal["met", "outside", "nothing"]:
    """Whether a layer of which nothing lies in the country at least spans it: a map without a trail here is no mistake."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        told = pyogrio.read_info(str(layer.path), layer=layer.name, force_total_bounds=True)["total_bounds"]
    if told is None or not np.isfinite(told).all():
        return "nothing"
    west, south, east, north = _box(layer, grid)
    apart = told[0] > east or told[2] < west or told[1] > north or told[3] < south
    return "outside" if apart else "met"


def _box(layer: _Layer, grid: Grid) -> tuple[float, float, float, float]:
    """The country's box in a layer's frame."""
    to_own = Transformer.from_crs(grid.crs, layer.crs, always_xy=True)
    west, south, east, north = to_own.transform_bounds(*grid.bounds, densify_pts=21)
    return west, south, east, north


def _file(layer: _Layer, shape: Shape, rows: list[_Row], grid: Grid, found: Vectors) -> None:
    """Put features of one shape into their table and note it."""
    table = kind_of(layer.name, layer.path.stem, shape) or kind_of("", layer.handed.stem, shape)
    if table is None:
        found.left_out.append(
            f"not used: {_counted(len(rows), shape)} of layer {layer.name!r} of {layer.handed.name}; neither name tells "
            "what they are (roads, trails, trailheads, streams, lakes, ownership, unit, names, sightings)"
        )
        return
    middles = shape == "area" and TABLES[table].shape == "point"
    kept = [
        Feature(piece.centroid if middles else piece, columns(table, row))
        for geometry, row in rows
        for piece in _pieces(geometry, shape)
    ]
    found.tables[table] += kept
    done = [f"{_counted(len(kept), shape)} from layer {layer.name!r}"]
    if layer.crs_name != grid.crs:
        done.append(f"moved from {layer.crs_name} to {grid.crs}")
    done.append("clipped to the country")
    found.facts.append(
        LayerFact(name=table, source=layer.handed.name, date=None, resolution_m=None, done=done)
    )


def _counted(count: int, shape: Shape) -> str:
    return f"{count:,} {shape}{'' if count == 1 else 's'}"


def _pieces(geometry: BaseGeometry, shape: Shape) -> list[BaseGeometry]:
    """Several points in one feature become one each; lines and areas stay whole."""
    return list(shapely.get_parts(geometry)) if shape == "point" else [geometry]


def _frame(path: Path, layer: str) -> CRS | None:
    """The layer's horizontal frame; None when it has none that can be used."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        told = pyogrio.read_info(str(path), layer=layer)["crs"]
    if told is None:
        return None
    try:
        crs = CRS.from_user_input(told)
        crs = crs.sub_crs_list[0] if crs.is_compound else crs
        Transformer.from_crs("EPSG:4326", crs, always_xy=True)
    except (CRSError, ProjError):
        return None
    return crs


def _read(
    layer: _Layer, grid: Grid, crossings: Crossings
) -> tuple[list[tuple[dict[Shape, BaseGeometry], dict[str, Any]]], list[Tangled]]:
    """Features in the grid's CRS, clipped to it, by shape, and areas that can't be; what lies outside is left out."""
    shapes, rows = _near(layer, grid)
    to_grid = Transformer.from_crs(layer.crs, grid.crs, always_xy=True)
    moved = shapely.transform(shapes, lambda xy: np.column_stack(to_grid.transform(xy[:, 0], xy[:, 1])))
    sound = np.isfinite(shapely.bounds(moved)).all(axis=1)
    found, tangled = [], []
    for shape, row, fine in zip(moved, rows, np.asarray(sound), strict=True):
        try:
            pieces = _by_shape(clipped(shape, grid.bounds, crossings), shape) if fine else {}
        except Tangled as error:
            tangled.append(error)
            continue
        if pieces:
            found.append((pieces, row))
    return found, tangled


def _near(layer: _Layer, grid: Grid) -> tuple[NDArray[np.object_], list[dict[str, Any]]]:
    """Features whose boxes touch the country's, as the file has them, without heights."""
    box = _box(layer, grid)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            meta, _, shapes, fields = raw.read(
                str(layer.path), layer=layer.name, force_2d=True, bbox=box, datetime_as_string=True
            )
        if shapes is None:
            return np.empty(0, object), []
        there = np.array([wkb is not None for wkb in shapes], bool)
        geometries = shapely.from_wkb(shapes[there])
    except (DataSourceError, DataLayerError, FeatureError, shapely.errors.GEOSException):
        raise _unread(layer.handed) from None
    names = [str(name) for name in meta["fields"]]
    fields = [_values(column[there]) for column in fields]
    by_row = zip(*fields, strict=True) if names else [()] * len(geometries)
    return geometries, [dict(zip(names, values, strict=True)) for values in by_row]


def _values(column: NDArray[Any]) -> list[Any]:
    """A column as plain values; None where it is empty."""
    if column.dtype.kind == "f":
        return [None if np.isnan(v) else float(v) for v in column]
    return list(column.tolist())


def _by_shape(inside: BaseGeometry, whole: BaseGeometry) -> dict[Shape, BaseGeometry]:
    """A geometry's points, lines and areas, each together.

    Mending and clipping can leave a line where an area only touches the box, and a point where a line does:
    what has another shape than the whole had is left out, unless that was a mixed collection.
    """
    parts: dict[Shape, list[BaseGeometry]] = defaultdict(list)
    waiting = [inside]
    while waiting:
        piece = waiting.pop(0)
        number = int(shapely.get_type_id(piece))
        if number >= 4:
            waiting = [*shapely.get_parts(piece), *waiting]
        elif not piece.is_empty:
            parts[SHAPES[number]].append(piece)
    own = SHAPES.get(int(shapely.get_type_id(whole)))
    return {shape: _joined(shape, pieces) for shape, pieces in parts.items() if own in {None, shape}}


def _joined(shape: Shape, pieces: list[Any]) -> BaseGeometry:
    if len(pieces) == 1:
        return pieces[0]  # type: ignore[no-any-return]
    if shape == "line":
        return shapely.MultiLineString(pieces)
    return shapely.MultiPolygon(pieces) if shape == "area" else shapely.MultiPoint(pieces)
