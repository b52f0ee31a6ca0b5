"""The layers of the map: what each is called, how it is keyed, and how a tile of it is drawn."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TypeAlias

import numpy as np

from graylight.drawing.ground import LAYERS as LOOKS
from graylight.drawing.ground import LayerLook
from graylight.drawing.holdings import boundary_tile, holdings_tile
from graylight.drawing.overlay import (
    BLANK,
    GREENNESS,
    QUIET,
    WORTH,
    cover_tile,
    facing_tile,
    picture_tile,
    ramp_tile,
    relief_tile,
    seen_tile,
    shade_tile,
)
from graylight.drawing.tile import Cut, Tile, level_terrain, terrain
from graylight.errors import BadInput
from graylight.grid import LonLat
from graylight.server.opened import Opened

__all__ = ["TILES", "Asked", "TileLayer", "available", "draw_tile"]


@dataclass(frozen=True, slots=True)
class Asked:
    """What a tile's query says beside it: a moment, a place looked from, an arc, an answered question, the map's light."""

    time: dt.datetime | None = None
    place: LonLat | None = None
    arc: tuple[float, float] | None = None
    watch: str | None = None
    day: bool = False


Draw: TypeAlias = Callable[[Opened, Tile, Asked], bytes | None]


@dataclass(frozen=True, slots=True)
class TileLayer:
    """A layer of the map.

    Parameters
    ----------
    name, title, group
        As it is asked for; as it is called on the page; where it stands there.
    draw
        Draws a tile; None: nothing lies on it.
    rests_on
        Layers of the country without which it can't be drawn.
    needs
        Keys of the query that it needs.
    look
        Its ramp, where it has one; `unit` is that of the ramp's values.
    """

    name: str
    title: str
    group: str
    draw: Draw
    rests_on: tuple[str, ...] = ()
    needs: tuple[str, ...] = ()
    look: LayerLook | None = None
    unit: str = "1"
    words: str = ""
    lines: Callable[[Opened], Mapping[str, float]] = field(default=lambda _: {})


def _ramp(layer: str, look: LayerLook, *, scale: float = 1.0) -> Draw:
    def draw(opened: Opened, tile: Tile, _: Asked) -> bytes | None:
        cut = _on(opened, tile)
        return None if cut is None else ramp_tile(opened.stack(layer), cut, look, scale=scale)

    return draw


def _on(opened: Opened, tile: Tile, *, rim: int = 0) -> Cut | None:
    """Where a tile lies on the country; None where it does not."""
    cut = Cut.of(opened.country.grid, tile, rim=rim)
    return cut if cut.meets(opened.country.grid) else None


def _terrain(opened: Opened, tile: Tile, _: Asked) -> bytes | None:
    cut = Cut.of(opened.country.grid, tile)
    return (
        terrain(opened.filled, cut)
        if np.isfinite(cut.quad).all()
        else level_terrain(float(opened.filled.min()))
    )


def _imagery(opened: Opened, tile: Tile, _: Asked) -> bytes | None:
    cut = _on(opened, tile)
    return None if cut is None else picture_tile(opened.stack("imagery"), cut)


def _cover(opened: Opened, tile: Tile, _: Asked) -> bytes | None:
    cut = _on(opened, tile)
    return None if cut is None else cover_tile(opened.stack("cover"), cut)


def _relief(opened: Opened, tile: Tile, _: Asked) -> bytes | None:
    cut = _on(opened, tile)
    return None if cut is None else relief_tile(opened.stack("hillshade"), cut)


def _limits(opened: Opened) -> dict[str, float]:
    """The walker's two lines: loaded or in the dark first, as `ramp_tile` draws them."""
    walk = opened.country.settings.walk
    return {"yours, loaded or in the dark": walk.scramble_deg, "yours": walk.shut_deg}


def _slope(opened: Opened, tile: Tile, _: Asked) -> bytes | None:
    cut = _on(opened, tile, rim=1)
    lines = list(_limits(opened).values())[::-1]
    return None if cut is None else ramp_tile(opened.stack("slope"), cut, LOOKS["slope"], lines=lines)


def _facing(opened: Opened, tile: Tile, asked: Asked) -> bytes | None:
    cut = _on(opened, tile)
    if cut is None:
        return None
    return facing_tile(opened.stack("east"), opened.stack("north"), cut, asked.arc, day=asked.day)


def _shade(opened: Opened, tile: Tile, asked: Asked) -> bytes | None:
    if asked.time is None:
        raise _missing("shade", "time", "2026-08-27T14:00:00Z")
    cut = _on(opened, tile)
    return None if cut is None else shade_tile(opened.shade_at(asked.time), cut)


def _sight(opened: Opened, tile: Tile, asked: Asked) -> bytes | None:
    if asked.place is None:
        raise _missing("sight", "lookout", "L1, or lon and lat")
    cut = _on(opened, tile)
    return None if cut is None else seen_tile(opened.sight_of(asked.place), cut)


def _watch(opened: Opened, tile: Tile, asked: Asked) -> bytes | None:
    if asked.watch is None:
        raise _missing("watch", "watch", "the key of an answer of POST /api/watch")
    cut = _on(opened, tile)
    return None if cut is None else ramp_tile(opened.watched(asked.watch), cut, LOOKS["sight"])


def _ownership(opened: Opened, tile: Tile, _: Asked) -> bytes | None:
    return holdings_tile(opened.holdings, tile)


def _unit(opened: Opened, tile: Tile, _: Asked) -> bytes | None:
    return boundary_tile(opened.unit_shapes, tile)


def _missing(layer: str, key: str, such_as: str) -> BadInput:
    return BadInput(f"the layer {layer} without {key}; accepted is {key}={such_as}; add it to the query")


_SUITED = LOOKS["suitability"]
_ALL = (
    TileLayer("terrain", "Heights for 3D ground", "ground", _terrain, ("elevation",), unit="m"),
    TileLayer("imagery", "Picture from above", "ground", _imagery, ("red", "nir")),
    TileLayer("hillshade", "Shaded relief", "ground", _relief, ("elevation",)),
    TileLayer("cover", "Cover", "ground", _cover, ("cover",)),
    TileLayer("slope", "Slope", "ground", _slope, ("elevation",), look=LOOKS["slope"], unit="deg", lines=_limits),
    TileLayer("facing", "Facing", "ground", _facing, ("elevation",), look=LOOKS["facing"], unit="deg"),
    TileLayer("greenness", "Greenness", "ground", _ramp("greenness", GREENNESS), ("greenness",), look=GREENNESS),
    TileLayer("shade", "Sun and shade now", "sky", _shade, ("elevation",), needs=("time",)),
    TileLayer("band", "Elevation band", "animals", _ramp("band", _SUITED), ("band",), look=_SUITED),
    TileLayer("feed", "Feed", "animals", _ramp("feed", LOOKS["feed"]), ("feed",), look=LOOKS["feed"]),
    TileLayer("beds", "Beds", "animals", _ramp("bed", LOOKS["bed"]), ("bed",), look=LOOKS["bed"]),
    TileLayer("use", "Where to look at first light", "animals", _ramp("use_at_dawn", _SUITED), ("use_at_dawn",), look=_SUITED),
    TileLayer("worth", "Worth of sitting there", "sight", _ramp("watch_worth", WORTH), ("watch_worth",), look=WORTH),
    TileLayer("sight", "In sight of a lookout", "sight", _sight, ("pockets",), needs=("lookout",)),
    TileLayer("watch", "From where marks show", "sight", _watch, ("elevation",), needs=("watch",), look=LOOKS["sight"]),
    TileLayer(
        "walk", "Time on foot", "people", _ramp("walk_seconds", LOOKS["walk"], scale=1 / 3600.0), ("walk_seconds",),
        look=LOOKS["walk"], unit="h",
    ),
    TileLayer(
        "quiet", "Far from roads", "people", _ramp("quiet_seconds", QUIET, scale=1 / 3600.0), ("quiet_seconds",),
        look=QUIET, unit="h",
    ),
    TileLayer("ownership", "Ownership", "people", _ownership),
    TileLayer("unit", "Unit boundary", "people", _unit),
)  # fmt: skip

TILES: dict[str, TileLayer] = {layer.name: layer for layer in _ALL}
"""All layers of the map by name."""


def available(opened: Opened) -> list[TileLayer]:
    """The layers that the country as it stands can show."""
    return [layer for layer in _ALL if _there(opened, layer)]


def _there(opened: Opened, layer: TileLayer) -> bool:
    if layer.name == "imagery" and opened.has("picture"):
        return True
    if layer.name in {"ownership", "unit"}:
        return bool(opened.holdings if layer.name == "ownership" else opened.unit_shapes)
    return all(opened.has(name) for name in layer.rests_on)


def draw_tile(opened: Opened, name: str, tile: Tile, asked: Asked) -> bytes:
    """A tile as PNG.

    Raises
    ------
    BadInput
        No such layer, or not yet; or it needs something that was not said.
    """
    layer = TILES.get(name)
    if layer is None or not _there(opened, layer):
        known = ", ".join(one.name for one in available(opened))
        raise BadInput(f"no layer {name!r}; accepted are {known}; a plan brings those that hang on it")
    return layer.draw(opened, tile, asked) or BLANK
