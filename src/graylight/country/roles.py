"""Which of some rasters holds heights, cover, canopy or a picture: by their names, else by what they hold."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal, TypeAlias

import numpy as np
import rasterio
from rasterio.errors import RasterioError

from graylight.country.entry import Sources
from graylight.country.incoming import Incoming, Kept
from graylight.errors import BadInput
from graylight.grid import Bounds

__all__ = ["Sorted", "sort_out"]

Role: TypeAlias = Literal["elevation", "cover", "canopy", "imagery"]

_TELLING: tuple[tuple[Role, frozenset[str]], ...] = (
    ("canopy", frozenset({"canopy", "chm", "treeheight", "closure"})),
    ("cover", frozenset({"cover", "landcover", "worldcover", "nlcd", "lulc"})),
    ("imagery", frozenset({"imagery", "naip", "image", "picture", "ortho", "rgb", "nir", "sentinel"})),
    (
        "elevation",
        frozenset(
            {"elevation", "dem", "dtm", "dsm", "height", "heights", "ned", "3dep", "srtm", "relief", "elev"}
        ),
    ),
)
TALLEST_M = 120.0
FEW_CODES = 40
_LOOK = 256
"""Cells a side that a raster is looked at with."""


@dataclass(frozen=True, slots=True)
class Sorted:
    """What a country is made from, and in words what was taken for what."""

    sources: Sources
    words: tuple[str, ...] = field(default=())


def sort_out(incoming: Incoming, *, name: str, bounds: Bounds | None = None) -> Sorted:
    """Tell what each file that came in is for.

    Raises
    ------
    BadInput
        None of them holds heights, or a raster can't be read.
    """
    roles: dict[Role, Kept] = {}
    words = list(incoming.left_out)
    for one in [kept for kept in incoming.kept if kept.kind == "raster"]:
        role = _role(one)
        if role in roles:
            words.append(f"not used: {one.called}; {roles[role].called} is taken for the {role} already")
        else:
            roles[role] = one
            words.append(f"{one.called} is taken for the {role}")
    if "elevation" not in roles:
        raise BadInput(
            "none of the files holds heights; accepted is a GeoTIFF, ASCII grid or HGT file with elevations, beside whatever "
            "else there is; add one"
        )
    paths = {role: kept.path for role, kept in roles.items()}
    vectors = tuple(kept.path for kept in incoming.kept if kept.kind == "vector")
    sources = Sources(
        elevation=paths["elevation"], cover=paths.get("cover"), canopy=paths.get("canopy"), imagery=paths.get("imagery"),
        vectors=vectors, bounds=bounds, name=name,
    )  # fmt: skip
    return Sorted(sources, tuple(words))


def _role(one: Kept) -> Role:
    words = set(re.split(r"[^a-z0-9]+", one.called.lower()))
    for role, telling in _TELLING:
        if words & telling:
            return role
    return _by_content(one.path, one.called)


def _by_content(path: Path, called: str) -> Role:
    """By bands and range: pictures have several bands, cover few whole codes, canopy low heights from 0 up."""
    try:
        with rasterio.open(path) as source:
            shape = (min(_LOOK, source.height), min(_LOOK, source.width))
            values = source.read(1, out_shape=shape, masked=True)
            bands, whole = source.count, source.dtypes[0] == "uint8"
    except (RasterioError, ValueError, MemoryError):
        raise BadInput(
            f"the raster {called} can't be read; accepted is a whole GeoTIFF, ASCII grid or HGT file"
        ) from None
    known: Sequence[float] = np.unique(values.compressed()).tolist()
    if bands >= 3 or (bands == 2 and whole):
        return "imagery"
    if whole and len(known) <= FEW_CODES:
        return "cover"
    low = bool(known) and known[0] >= 0.0 and known[-1] <= TALLEST_M
    return "canopy" if low and bands <= 2 and not whole else "elevation"
