"""Elevation on entry: its unit, its holes, and whether it can be true."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from pyproj import CRS
from rasterio.fill import fillnodata
from scipy.ndimage import find_objects, label

from graylight.country.source import Source
from graylight.country.warp import bring
from graylight.errors import BadInput
from graylight.grid import Grid, LonLat
from graylight.units import part_of, share
from graylight.work import Tick, silent

__all__ = ["Heights", "fill_holes", "heights"]

FOOT_M = 0.3048
SURVEY_FOOT_M = 1200.0 / 3937.0
LOWEST_M, HIGHEST_M = -450.0, 8900.0
"""The shore of the Dead Sea and the top of Everest, with a little room."""
LEAST_RANGE_M = 1.0
HOLE_PART = 0.005
HOLE_CELLS = 50
HOLE_M = 500.0
"""A hole is filled when it is at most half a percent of the country or under 50 cells across, and never when
it is
more than 500 m across: a basin can hide in that. Common practice, no source."""
MOSTLY = 0.5
"""From this unknown part on a raster is told to be mostly empty. Proposed default."""
USA_LOWEST_M = -100.0
"""Death Valley lies 86 m below the sea (from memory)."""
STEEP_MEDIAN_DEG = 60.0
USA = ((-125.0, 24.0, -66.0, 49.5, 4450.0), (-180.0, 15.0, -60.0, 72.0, 6500.0))
"""West, south, east, north, and a height that nothing there reaches (Whitney 4421 m, Denali 6190 m; from
memory)."""


class Heights(NamedTuple):
    """Elevation on the grid, what was done to it, and what looks doubtful."""

    values: NDArray[np.float32]
    done: tuple[str, ...]
    cautions: tuple[str, ...]


def heights(source: Source, grid: Grid, *, feet: bool | None = None, tick: Tick = silent) -> Heights:
    """Bring elevation onto the grid in metres, fill small holes, and question what can't be true.

    Parameters
    ----------
    source
        Its first band is taken.
    grid
        The country's grid.
    feet
        Whether the person says that heights are in feet; None: as the file says, else metres.

    Returns
    -------
    Heights
        (rows, cols) float32 metres above the source's own vertical datum, NaN where not known.

    Raises
    ------
    BadInput
        No cell is known, all are the same, or heights that no mountain on earth has.
    """
    brought = bring(source, 1, grid, sharp=True, tick=tick)
    values, done = brought.values, [brought.words]
    _drop_zero_rim(source, values, done)
    if source.file.count > 1:
        done.append(f"the first of {source.file.count} bands taken")
    factor, words = _unit(source, feet)
    done.append(words)
    if factor != 1.0:
        # to the centimetre: what single precision makes of feet is finer than that, and so both units give one ground
        values = np.round(values * np.float64(factor), 2).astype(np.float32)
    _refuse_nonsense(values, source, said_feet=factor != 1.0)
    values = fill_holes(values, cell_m=grid.cell_m, done=done)
    low, high = float(np.nanmin(values)), float(np.nanmax(values))
    if feet is not None:
        words_said = f"the ground so lies between {low:.0f} and {high:.0f} m ({low / FOOT_M:.0f} and {high / FOOT_M:.0f} ft)"
        done.append(words_said)
    cautions = [
        *_contradicted(source, feet),
        *_cautions(values, grid, source, words),
        *_mostly_unknown(values),
    ]
    return Heights(values, tuple(done), tuple(cautions))


def _drop_zero_rim(source: Source, values: NDArray[np.float32], done: list[str]) -> None:
    """Cells of exactly 0 where everything else lies far above are a rim that nobody declared."""
    zero = values == 0.0
    rest = values[np.isfinite(values) & ~zero]
    if source.file.nodata is None and zero.any() and rest.size and rest.min() > 100.0:
        values[zero] = np.nan
        done.append(f"{_cells(zero)} of exactly 0 taken as not known")


def _cells(mask: NDArray[np.bool_]) -> str:
    count = int(np.count_nonzero(mask))
    return f"{count:,} cell{'s' if count != 1 else ''}"


def _unit(source: Source, feet: bool | None) -> tuple[float, str]:
    """Factor to metres, and the sentence about it."""
    told, where = _told_unit(source)
    if feet is not None:
        if not feet:
            return 1.0, "heights in metres, as was said"
        return told if told is not None and told != 1.0 else FOOT_M, "feet to metres, as was said"
    if told is None:
        return 1.0, "heights taken as metres: the file does not say"
    return told, "heights in metres" if told == 1.0 else f"feet to metres, by {where}"


def _told_unit(source: Source) -> tuple[float | None, str]:
    """What the file says of its unit: the band first, then the vertical part of the CRS."""
    unit = (source.file.units[0] or "").strip().lower().replace("_", " ")
    if unit:
        if "survey" in unit or unit in {"us-ft", "ftus"}:
            return SURVEY_FOOT_M, "the band's unit"
        if unit in {"ft", "foot", "feet", "international foot", "international feet"}:
            return FOOT_M, "the band's unit"
        if unit in {"m", "metre", "meter", "metres", "meters"}:
            return 1.0, "the band's unit"
    for part in CRS.from_wkt(source.file.crs.to_wkt()).sub_crs_list:
        if part.is_vertical:
            return float(part.axis_info[0].unit_conversion_factor), "the vertical CRS"
    return None, ""


def _refuse_nonsense(values: NDArray[np.float32], source: Source, *, said_feet: bool) -> None:
    known = values[np.isfinite(values)]
    if known.size == 0:
        raise BadInput(
            f"the elevation file {source.name} has no known cell in the country (all nodata); accepted is "
            "elevation with known cells; check the nodata value or give other bounds"
        )
    low, high = float(known.min()), float(known.max())
    if low < LOWEST_M or high > HIGHEST_M:
        hint = "say --no-feet if it is in metres" if said_feet else "say --feet if it is in feet"
        raise BadInput(
            f"the elevation file {source.name} would give heights of {low:.0f} to {high:.0f} m; accepted is "
            f"{LOWEST_M:.0f} to {HIGHEST_M:.0f} m; {hint}, or check its nodata value"
        )
    if high - low < LEAST_RANGE_M:
        raise BadInput(
            f"the elevation file {source.name} is constant ({low:.2f} to {high:.2f} m); accepted is ground "
            f"with at least {LEAST_RANGE_M:g} m between its lowest and highest cell; check the band and the "
            "file"
        )


def fill_holes(values: NDArray[np.float32], *, cell_m: float, done: list[str]) -> NDArray[np.float32]:
    """Fill small holes by interpolation from all sides, and add to `done` what was filled and what was not.

    Parameters
    ----------
    values : (rows, cols) float32
        NaN where not known.
    cell_m
        Cell size, metres.

    Returns
    -------
    (rows, cols) float32
        Holes that touch the edge or are too large stay NaN.
    """
    unknown = np.isnan(values)
    if not unknown.any():
        return values
    small = _small_holes(unknown, cell_m)
    left = unknown & ~small
    if small.any():
        # the search ends at the first known cell each way; unknown cells that stay are no sources either
        filled = fillnodata(
            np.where(unknown, 0, values).astype(np.float32), mask=~unknown, max_search_distance=200.0
        )
        values = np.where(small, filled, values).astype(np.float32)
        done.append(f"{_cells(small)} of nodata filled by interpolation")
    if left.any():
        done.append(
            f"{_cells(left)} ({part_of(left.mean())}) not known: at the edge, or holes too large to fill"
        )
    return values


def _small_holes(unknown: NDArray[np.bool_], cell_m: float) -> NDArray[np.bool_]:
    """Holes that may be filled."""
    numbered, count = label(unknown, structure=np.ones((3, 3)))
    rows, cols = unknown.shape
    sizes = np.bincount(numbered.ravel(), minlength=count + 1)
    fill = np.zeros(count + 1, bool)
    for number, (r, c) in enumerate(find_objects(numbered), 1):
        across = max(r.stop - r.start, c.stop - c.start)
        at_edge = r.start == 0 or c.start == 0 or r.stop == rows or c.stop == cols
        little = sizes[number] <= HOLE_PART * unknown.size or across < HOLE_CELLS
        fill[number] = little and across * cell_m <= max(HOLE_M, cell_m) and not at_edge
    return fill[numbered]  # type: ignore[no-any-return]


def _contradicted(source: Source, feet: bool | None) -> list[str]:
    """What was said of the unit against what the file says."""
    told, _ = _told_unit(source)
    if feet is None or told is None or (told != 1.0) == feet:
        return []
    said, own = ("feet", "metres") if feet else ("metres", "feet")
    return [
        f"the elevation was read as {said}, as was said, but the file itself says {own}: if it is right, every height is "
        f"{'less than a third of' if feet else 'more than three times'} the true one, and slopes with it"
    ]


def _mostly_unknown(values: NDArray[np.float32]) -> list[str]:
    unknown = float(np.isnan(values).mean())
    if unknown <= MOSTLY:
        return []
    return [
        f"the height of {share(unknown)} of the country is not known: nothing is found there, and what lies beside "
        "it is seen and walked as if the country ended; give a raster that covers it, or smaller --bounds"
    ]


def _cautions(values: NDArray[np.float32], grid: Grid, source: Source, unit_words: str) -> list[str]:
    told = []
    north, east = np.gradient(values.astype(np.float64), grid.cell_m)
    steep = np.degrees(np.arctan(np.hypot(north, east)))
    median = float(np.nanmedian(steep)) if np.isfinite(steep).any() else 0.0
    if median > STEEP_MEDIAN_DEG:
        told.append(
            f"half of the ground would be steeper than {median:.0f} degrees: is the elevation in feet, or "
            "not in metres?"
        )
    high = float(np.nanmax(values))
    limit = _never_so_high(grid.center)
    if limit is not None and high > limit:
        told.append(
            f"the highest ground would be {high:.0f} m, which nothing in this part of the world reaches: "
            f"{'is it in metres?' if unit_words.startswith('feet') else 'feet?'}"
        )
    low = float(np.nanmin(values))
    if limit is not None and low < USA_LOWEST_M:
        told.append(
            f"the lowest ground would be {low:.0f} m, lower than any dry ground in this part of the world: is the nodata "
            "value declared, and the unit right?"
        )
    horizontal_feet = source.crs.axis_info[0].unit_name.lower().find("foot") >= 0
    if horizontal_feet and "does not say" in unit_words:
        told.append(
            "the raster's frame is in feet and its heights were taken as metres: say --feet if they are in "
            "feet"
        )
    return told


def _never_so_high(place: LonLat) -> float | None:
    for west, south, east, north, limit in USA:
        if west <= place.lon <= east and south <= place.lat <= north:
            return limit
    return None
