"""Water: lakes and streams as mapped or, without a map, as the shape of the ground suggests them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from graylight.errors import BadInput
from graylight.ground.cover import Kind
from graylight.ground.drainage import drainage_area_m2
from graylight.ground.patches import middle, patches, pieces_of
from graylight.work import Tick, silent

__all__ = ["STREAM_AREA_M2", "Water", "WaterPlace", "bytes_needed", "water"]

Mask: TypeAlias = NDArray[np.bool_]

STREAM_AREA_M2 = 1.5e6
"""Drainage area from which a stream is inferred. Common practice, no source: in high country streams that
last into late summer begin between about 0.5 and 3 km2."""
SURE_LAKE_M2 = 2500.0
"""A smaller lake may dry up: it is marked unsure. Common practice, no source."""
LEVEL_LAKE_M2 = 10_000.0
"""Smallest exactly level piece of ground taken as a lake where no lake is mapped."""
LEVEL_LAKE_CELLS = 40
"""The same where heights are whole metres or feet, in cells. The largest level piece that is no lake has 10 cells in
both real samples of tests/reference/real_ground.py, the smallest lake 44."""
NEXT_STEP_PART = 0.25
"""Where heights are rounded, ground that runs on as it began has its next step up or down as wide as itself: a round
bowl exactly so, one with sides like the fourth power of the distance at 0.4. A lake lies between banks: the steps
beside it are smaller than this part of it."""
OUTLET_PART = 0.2
"""Most of a lake's bank that may lie lower than its water: the outlet, and the dam. Proposed default."""
BANKS_SEEN = 0.6
"""Least part of a lake's bank that must be seen to rise where the country's edge cuts it: of a valley floor along the
edge it is half at most. Proposed default."""
FOOT_M = np.float32(0.3048)
APART_M = 300.0
"""Places along a stream are given about this far apart."""


@dataclass(frozen=True, slots=True)
class WaterPlace:
    """A place where water may be had; `sure` is false for small or inferred water, which may be dry."""

    row: int
    col: int
    kind: Literal["lake", "stream", "spring", "inferred stream"]
    sure: bool


@dataclass(frozen=True, slots=True)
class Water:
    """Water in a country.

    Parameters
    ----------
    deep : (rows, cols) bool
        Lakes: not walked.
    near : (rows, cols) bool
        Every cell with water.
    sure : (rows, cols) bool
        Those of `near` where water is to be counted on.
    places
        One for each lake, and along streams one about every 300 m; by row and column.
    """

    deep: Mask
    near: Mask
    sure: Mask
    places: tuple[WaterPlace, ...]


def bytes_needed(shape: tuple[int, int]) -> int:
    """Memory that `water` takes at its peak for rasters of this shape."""
    return 96 * shape[0] * shape[1]


def water(
    elevation_m: NDArray[np.float32],
    *,
    cell_m: float,
    kind: NDArray[np.uint8] | None = None,
    stream_cells: Mask | None = None,
    stream_sure: Mask | None = None,
    lake_cells: Mask | None = None,
    tick: Tick = silent,
) -> Water:
    """Find the water.

    Parameters
    ----------
    elevation_m
        (rows, cols) float32, metres, NaN for unknown.
    cell_m
        Cell size, metres.
    kind
        (rows, cols) uint8 kinds of cover: its water counts as lake.
    stream_cells, lake_cells
        (rows, cols) bool: mapped streams and lakes.
    stream_sure
        (rows, cols) bool: where a mapped stream is known to last. None: it is taken to last from 1.5 km2 of
        drainage area on.

    Notes
    -----
    Without mapped streams, streams are inferred where at least 1.5 km2 drains through a cell, and never
    sure. Without any lake, exactly level pieces of at least 1 ha are taken as lakes, never sure. Where heights are
    whole metres or feet, gentle ground is level too: there a piece must have at least 40 cells, banks that rise
    on at least four fifths of its edge, and no step of a quarter of its size beside it. Level ground at exactly 0
    is the sea. Not modelled:
    springs and seeps, rain, season, intakes, whether it is fit to drink; streams that come in over the
    edge count only what drains inside.
    """
    shape = elevation_m.shape
    _check(shape, stream_cells, stream_sure, lake_cells, kind)
    lakes, mapped_lakes = _lakes(elevation_m, kind, lake_cells, cell_m)
    lake_labels, n = patches(lakes)
    big = np.bincount(lake_labels.ravel(), minlength=n + 1) * cell_m**2 >= SURE_LAKE_M2
    sure_lakes = big[lake_labels] & lakes if mapped_lakes else np.zeros(shape, bool)
    tick(0.2)
    area = None
    if stream_cells is None or stream_sure is None:
        area = drainage_area_m2(elevation_m, cell_m=cell_m)
    tick(0.8)
    streams, sure_streams, named = _streams(area, stream_cells, stream_sure)
    streams &= ~lakes
    sure = sure_lakes | (sure_streams & streams)
    places = _lake_places(lake_labels, n, sure_lakes) + _stream_places(streams, sure, named, area, cell_m)
    tick(1.0)
    return Water(lakes, lakes | streams, sure, tuple(sorted(places, key=lambda p: (p.row, p.col))))


def _check(shape: tuple[int, ...], *layers: NDArray[np.bool_] | NDArray[np.uint8] | None) -> None:
    for layer in layers:
        if layer is not None and layer.shape != shape:
            raise BadInput(
                f"a water layer has shape {layer.shape}; accepted is that of the elevation, "
                f"{shape}; bring all layers onto one grid first"
            )


def _lakes(
    elevation_m: NDArray[np.float32], kind: NDArray[np.uint8] | None, lake_cells: Mask | None, cell_m: float
) -> tuple[Mask, bool]:
    """Lake cells, and whether they are mapped."""
    lakes = np.zeros(elevation_m.shape, bool)
    if lake_cells is not None:
        lakes |= lake_cells
    if kind is not None:
        lakes |= kind == Kind.WATER
    if lakes.any() or lake_cells is not None:
        return lakes, True
    return _level_lakes(elevation_m, cell_m), False


def _level_lakes(elevation_m: NDArray[np.float32], cell_m: float) -> Mask:
    """Exactly level pieces of ground, as lakes are drawn in good elevation grids."""
    level = np.zeros(elevation_m.shape, bool)
    for axis in (0, 1):
        same = np.diff(elevation_m, axis=axis) == 0.0
        level |= np.pad(same, [(0, 1), (0, 0)] if axis == 0 else [(0, 0), (0, 1)])
        level |= np.pad(same, [(1, 0), (0, 0)] if axis == 0 else [(0, 0), (1, 0)])
    sea = level & (elevation_m == 0.0)
    heights = elevation_m[~np.isnan(elevation_m) & ~sea]
    # the whole raster decides: a lake drawn at a round height on ground with fractions is a lake
    step_m = next((unit for unit in (np.float32(1.0), FOOT_M) if _whole(heights / unit)), None)
    if step_m is not None:
        level = sea
    pieces, n = patches(level)
    area = np.bincount(pieces.ravel(), minlength=n + 1) * cell_m**2
    known = np.nan_to_num(elevation_m)
    spread = ndimage.maximum(known, pieces, np.arange(n + 1)) - ndimage.minimum(
        known, pieces, np.arange(n + 1)
    )
    most = 0.5 * (~np.isnan(elevation_m)).sum() * cell_m**2  # more is no lake but a raster without relief
    at_sea = ndimage.maximum(known, pieces, np.arange(n + 1)) == 0.0
    lake = (area >= LEVEL_LAKE_M2) & ((area <= most) | at_sea) & (np.asarray(spread) == 0.0)
    lake[0] = False
    found: Mask = lake[pieces]
    return found if step_m is None else found | _between_banks(np.rint(elevation_m / step_m), cell_m)


def _whole(heights: NDArray[np.float32]) -> bool:
    """Whether nearly all heights are whole numbers of their unit."""
    # heights brought in from feet are kept to the centimetre: a foot may be off by 0.02
    return heights.size == 0 or bool((np.abs(heights - np.rint(heights)) < 0.02).mean() > 0.9)


def _between_banks(steps: NDArray[np.float32], cell_m: float) -> Mask:
    """Level pieces of rounded heights that are larger than rounding makes them, and have banks (see `water`).

    Parameters
    ----------
    steps
        (rows, cols) float32, heights in whole steps, NaN for unknown.
    """
    labels = _equal(steps)
    cells = np.bincount(labels.ravel())
    least = max(LEVEL_LAKE_CELLS, int(np.ceil(LEVEL_LAKE_M2 / cell_m**2)))
    # more than half is no lake but a raster without relief; equal to unknown nothing is
    wide = np.flatnonzero((cells >= least) & (cells <= 0.5 * np.count_nonzero(~np.isnan(steps))))
    number = np.zeros(cells.size, np.int32)
    number[wide] = np.arange(1, wide.size + 1, dtype=np.int32)
    found = np.zeros(steps.shape, bool)
    framed, names = np.pad(steps, 1, constant_values=np.nan), np.pad(labels, 1)
    for k, window in enumerate(ndimage.find_objects(number[labels]), 1):
        wider = tuple(slice(part.start, part.stop + 2) for part in window)
        piece = (number[names[wider]] == k) & ~np.isnan(framed[wider])
        if _banked(piece, framed[wider], cells[names[wider]]):
            found[window] |= piece[1:-1, 1:-1]
    return found


def _banked(piece: Mask, steps: NDArray[np.float32], cells: NDArray[np.int64]) -> bool:
    """Whether a piece lies between banks; `cells` is the size of the piece that each cell belongs to."""
    bank = ndimage.binary_dilation(piece, structure=np.ones((3, 3), bool)) & ~piece
    rise = steps[bank] - steps[piece][0]
    known = int((~np.isnan(rise)).sum())
    beside = int(cells[bank][np.abs(rise) == 1.0].max(initial=0))
    return bool(
        beside < NEXT_STEP_PART * float(piece.sum())
        and np.count_nonzero(rise < 0.0) <= OUTLET_PART * known
        and np.count_nonzero(rise > 0.0) >= BANKS_SEEN * rise.size
    )


def _equal(steps: NDArray[np.float32]) -> NDArray[np.int32]:
    """Numbers of the pieces of equal height that hang together by the sides of cells."""
    index = np.arange(steps.size, dtype=np.int32).reshape(steps.shape)
    right, down = np.diff(steps, axis=1) == 0.0, np.diff(steps, axis=0) == 0.0
    one = np.concatenate([index[:, :-1][right], index[:-1][down]])
    other = np.concatenate([index[:, 1:][right], index[1:][down]])
    links = coo_matrix((np.ones(one.size, np.int8), (one, other)), shape=(steps.size, steps.size))
    labels: NDArray[np.int32] = connected_components(links, directed=False)[1].reshape(steps.shape)
    return labels


def _streams(
    area: NDArray[np.float64] | None, stream_cells: Mask | None, stream_sure: Mask | None
) -> tuple[Mask, Mask, Literal["stream", "inferred stream"]]:
    if stream_cells is None:
        assert area is not None
        streams: Mask = area >= STREAM_AREA_M2
        return streams, np.zeros(streams.shape, bool), "inferred stream"
    if stream_sure is not None:
        return stream_cells.copy(), stream_cells & stream_sure, "stream"
    assert area is not None
    # a mapped line may lie a cell or two beside the line of the grid
    lasting = ndimage.binary_dilation(area >= STREAM_AREA_M2, structure=np.ones((5, 5), bool))
    return stream_cells.copy(), stream_cells & lasting, "stream"


def _lake_places(labels: NDArray[np.int32], n: int, sure: Mask) -> list[WaterPlace]:
    """The cell of each lake nearest to its middle."""
    places = []
    for _, window, mask in pieces_of(labels, n):
        row, col = middle(mask, window)
        places.append(WaterPlace(row, col, "lake", bool(sure[row, col])))
    return places


def _stream_places(
    streams: Mask,
    sure: Mask,
    kind: Literal["stream", "inferred stream"],
    area: NDArray[np.float64] | None,
    cell_m: float,
) -> list[WaterPlace]:
    """In each square of about 300 m the surest, most watered cell of a stream, ties by place."""
    rows, cols = np.nonzero(streams)
    step = max(1, round(APART_M / cell_m))
    square = (rows // step) * (streams.shape[1] // step + 1) + cols // step
    flow = np.zeros(rows.size) if area is None else area[rows, cols]
    order = np.lexsort((cols, rows, -flow, ~sure[rows, cols], square))
    first = order[np.r_[True, np.diff(square[order]) != 0]] if order.size else order
    return [WaterPlace(int(rows[k]), int(cols[k]), kind, bool(sure[rows[k], cols[k]])) for k in first]
