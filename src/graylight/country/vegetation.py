"""Land cover, canopy and imagery on entry."""

from __future__ import annotations

import re
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from graylight.country.layers import Scheme
from graylight.country.source import Source
from graylight.country.warp import bring, bring_codes
from graylight.errors import BadInput
from graylight.grid import Grid
from graylight.units import part_of, share
from graylight.work import Tick, part, silent

__all__ = ["Plants", "Scheme", "canopy", "imagery", "land_cover"]

CODES: dict[Scheme, tuple[int, ...]] = {
    # ESA WorldCover 10 m v200, Product User Manual, doi:10.5281/zenodo.7254221
    "worldcover": (10, 20, 30, 40, 50, 60, 70, 80, 90, 95, 100),
    # National Land Cover Database legend (MRLC), Alaska's classes included
    "nlcd": (11, 12, 21, 22, 23, 24, 31, 41, 42, 43, 51, 52, 71, 72, 73, 74, 81, 82, 90, 95),
}
CALLED: dict[Scheme, str] = {"worldcover": "WorldCover", "nlcd": "NLCD"}
UNKNOWN_CODES = (0, 250, 255)
CODES_KNOWN = 0.9
"""At least this part of the cells must have a code of the scheme."""
TALLEST_M = 120.0
"""The tallest tree stands 116 m high (from memory); a higher canopy is in another unit."""
LEAST_COVERED = 0.01
LEAST_KNOWN = 0.5
"""A layer that knows less of the country is told to be mostly empty. Proposed default."""
ALPHA_PART = 0.9
"""A band of which at least this part is empty or full is an alpha band."""
PICTURE_BRIGHT = 0.3
"""Reflectance shown as full brightness in the picture: snow and cloud are brighter, little else is. Common
practice."""
REFLECTANCE_STEPS = 10000.0
"""Common scaling of whole-number reflectance (Sentinel-2, Landsat collections in Sentinel style)."""
_BANDS = {
    "red": "red", "r": "red", "b04": "red", "b4": "red",
    "green": "green", "g": "green", "b03": "green", "b3": "green",
    "blue": "blue", "b": "blue", "b02": "blue", "b2": "blue",
    "nir": "nir", "near infrared": "nir", "nearinfrared": "nir", "near ir": "nir", "b08": "nir", "b8": "nir",
}  # fmt: skip
"""Names of bands: plain, and Sentinel-2's numbers."""


class Plants(NamedTuple):
    """Layers by name, and what was done."""

    layers: dict[str, NDArray[Any]]
    done: tuple[str, ...]
    cautions: tuple[str, ...] = ()


def _mostly_unknown(known: NDArray[np.bool_], source: Source) -> tuple[str, ...]:
    """A caution where a layer knows less than half of the country."""
    part_known = float(known.mean())
    if part_known >= LEAST_KNOWN:
        return ()
    return (
        f"the {source.role} file {source.name} knows {share(part_known)} of the country: elsewhere the plan goes "
        "by the shape of the ground alone",
    )


def _covered(known: NDArray[np.bool_], source: Source) -> list[str]:
    """How much of the country is known, when not all is.

    Raises
    ------
    BadInput
        Next to nothing is.
    """
    part_known = float(known.mean())
    if part_known < LEAST_COVERED:
        raise BadInput(
            f"the {source.role} file {source.name} has no known cells in the country; accepted is a raster "
            "that covers it; check that both are of the same ground, or leave it out"
        )
    return [f"known on {part_of(part_known)} of the country"] if part_known < 0.995 else []


def land_cover(source: Source, grid: Grid) -> tuple[Plants, Scheme]:
    """Bring land cover codes onto the grid and tell which legend they follow.

    Returns
    -------
    Plants
        cover_codes: (rows, cols) uint8, 0 where not known.
    Scheme
        The legend.

    Raises
    ------
    BadInput
        The codes belong to neither WorldCover nor NLCD.
    """
    brought = bring_codes(source, 1, grid)
    codes = np.where(np.isfinite(brought.values) & (np.abs(brought.values) < 256), brought.values, 0)
    known = ~np.isin(codes, UNKNOWN_CODES)
    said = _covered(known, source)
    scheme = _scheme(codes[known], source)
    fits = known & np.isin(codes, CODES[scheme])
    done = [brought.words, f"codes of {CALLED[scheme]}, told by their values", *said]
    if (known & ~fits).any():
        other = sorted({int(c) for c in np.unique(codes[known & ~fits])})
        done.append(f"codes {', '.join(map(str, other))} are not in its legend: not known")
    return Plants(
        {"cover_codes": np.where(fits, codes, 0).astype(np.uint8)}, tuple(done), _mostly_unknown(fits, source)
    ), scheme


def _scheme(codes: NDArray[Any], source: Source) -> Scheme:
    parts = {name: float(np.isin(codes, legend).mean()) for name, legend in CODES.items()}
    best = max(parts, key=lambda name: parts[name])
    if parts[best] < CODES_KNOWN:
        found = ", ".join(f"{c:g}" for c in np.unique(codes)[:12])
        raise BadInput(
            f"the land cover file {source.name} has codes {found}; accepted are the codes of WorldCover "
            "(10, 20 ... 100) or NLCD (11, 12, 21 ... 95); translate them, or leave the file out"
        )
    return best


def canopy(source: Source, grid: Grid, *, tick: Tick = silent) -> Plants:
    """Bring canopy height, and closure where there is a second band, onto the grid.

    Returns
    -------
    Plants
        canopy_height: (rows, cols) float32 metres; canopy_closure: part of the sky closed, [0, 1].
        NaN not known.

    Raises
    ------
    BadInput
        Heights that no tree has.
    """
    brought = bring(source, 1, grid, tick=part(tick, 0.0, 0.5))
    height, done = brought.values, [brought.words]
    if source.file.dtypes[0] == "uint8" and source.file.nodata is None and (height == 255).any():
        height = np.where(height == 255, np.float32(np.nan), height)
        done.append("255 taken as not known")
    done += _covered(np.isfinite(height), source)
    if float(np.nanmax(height)) > TALLEST_M:
        raise BadInput(
            f"the canopy file {source.name} has heights up to {np.nanmax(height):.0f}; accepted is 0 to "
            f"{TALLEST_M:.0f} m; it may hold decimetres, feet or a height above the sea: turn it into "
            "metres above the ground"
        )
    layers = {"canopy_height": np.maximum(height, 0.0)}
    if source.file.count > 1:
        layers["canopy_closure"] = _closure(source, grid, done, part(tick, 0.5, 1.0))
    return Plants(layers, tuple(done), _mostly_unknown(np.isfinite(height), source))


def _closure(source: Source, grid: Grid, done: list[str], tick: Tick) -> NDArray[np.float32]:
    closure = bring(source, 2, grid, tick=tick).values
    top = float(np.nanmax(closure)) if np.isfinite(closure).any() else 0.0
    if top > 100.0:
        raise BadInput(
            f"the canopy file {source.name} has a closure up to {top:g} in its second band; accepted is 0 "
            "to 1, or 0 to 100 percent; mend the band or take it out"
        )
    percent = top > 1.5
    done.append(f"closure from the second band{', percent to parts' if percent else ''}")
    return np.clip(closure / (100.0 if percent else 1.0), 0.0, 1.0).astype(np.float32)


def imagery(source: Source, grid: Grid, *, tick: Tick = silent) -> Plants:
    """Bring imagery onto the grid: red and near infrared as reflectance, and a colour picture.

    Returns
    -------
    Plants
        red, nir: (rows, cols) float32 reflectance, NaN not known. picture: (3, rows, cols) uint8,
        black not known.

    Raises
    ------
    BadInput
        The bands can't be told apart.
    """
    which, words = _bands(source)
    brought = {
        name: bring(source, band, grid, tick=part(tick, i / len(which), (i + 1) / len(which)))
        for i, (name, band) in enumerate(which.items())
    }
    done = [next(iter(brought.values())).words, words]
    bands = {name: found.values for name, found in brought.items()}
    if source.file.nodata is None:
        _drop_blank(bands, done)
    known = np.any([np.isfinite(values) for values in bands.values()], axis=0)
    done += _covered(known, source)
    full, said = _full_scale(source, bands)
    layers: dict[str, NDArray[Any]] = {}
    if "red" in bands and "nir" in bands:
        done.append(said)
        layers = {name: (bands[name] / full).astype(np.float32) for name in ("red", "nir")}
    if {"red", "green", "blue"} <= bands.keys():
        layers["picture"] = _picture([bands[c] for c in ("red", "green", "blue")], full, source, done)
    return Plants(layers, tuple(done), _mostly_unknown(known, source))


def _bands(source: Source) -> tuple[dict[str, int], str]:
    """Which band is which, by description, else by number."""
    told = {}
    for band, text in enumerate(source.file.descriptions, 1):
        name = _BANDS.get(re.sub(r"[^a-z0-9]+", " ", (text or "").lower()).strip())
        if name and name not in told:
            told[name] = band
    if {"red", "nir"} <= told.keys() or {"red", "green", "blue"} <= told.keys():
        return told, f"bands by their descriptions: {', '.join(told)}"
    colours = [i for i, c in enumerate(source.file.colorinterp, 1) if c.name != "alpha" or _varies(source, i)]
    orders = {2: ("red", "nir"), 3: ("red", "green", "blue"), 4: ("red", "green", "blue", "nir")}
    order = orders.get(len(colours))
    if order is None:
        raise BadInput(
            f"the imagery file {source.name} has {len(colours)} bands without descriptions red, green, blue "
            "or nir; accepted are 2 bands (red, nir), 3 (red, green, blue), 4 (red, green, blue, nir), or "
            "any number with those descriptions; describe the bands"
        )
    return dict(zip(order, colours, strict=True)), f"{len(order)} bands taken as {', '.join(order)}"


def _varies(source: Source, band: int) -> bool:
    """Whether a band called alpha is none: near infrared in fourth place is often called so. Looks at a thinned copy."""
    height, width = min(source.file.height, 256), min(source.file.width, 256)
    seen = source.read(band, source.whole(), out_shape=(height, width))
    full = np.iinfo(seen.dtype).max if seen.dtype.kind in "iu" else 1
    return float(np.isin(seen, (0, 1, full)).mean()) < ALPHA_PART


def _drop_blank(bands: dict[str, NDArray[np.float32]], done: list[str]) -> None:
    """Cells that are 0 in every band lie outside the scene."""
    blank = np.all([values == 0 for values in bands.values()], axis=0)
    if blank.any():
        for values in bands.values():
            values[blank] = np.nan
        done.append(f"{int(blank.sum()):,} cells of 0 in every band taken as not known")


def _full_scale(source: Source, bands: dict[str, NDArray[np.float32]]) -> tuple[float, str]:
    """The value that stands for a reflectance of 1."""
    if source.file.dtypes[0] == "uint8":
        return 255.0, "8-bit brightness, not reflectance: greenness is rough"
    top = max(float(np.nanmax(values)) for values in bands.values())
    if top <= 2.0:
        return 1.0, "reflectance as it is"
    return REFLECTANCE_STEPS, f"reflectance divided by {REFLECTANCE_STEPS:g}"


def _picture(
    colours: list[NDArray[np.float32]], full: float, source: Source, done: list[str]
) -> NDArray[np.uint8]:
    """Colours as bytes; known cells are at least 1, so that black means not known."""
    bright = full if source.file.dtypes[0] == "uint8" else PICTURE_BRIGHT * full
    if bright != full:
        done.append(f"picture: reflectance 0 to {PICTURE_BRIGHT:g} shown as dark to bright")
    stack = np.stack(colours)
    known = np.isfinite(stack).any(axis=0)
    stack = np.where(
        np.isnan(stack), bright, stack
    )  # files with nodata 255 lose what is brightest in one colour
    scaled = np.clip(stack / bright * 255.0, 1.0, 255.0)
    return np.where(known, np.rint(scaled), 0).astype(np.uint8)
