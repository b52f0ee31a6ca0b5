"""The plan as KMZ: the KML with the drawn map laid over the ground and its own small icons, all in one file."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping

import numpy as np
from PIL import Image
from pyproj import Transformer

from graylight.drawing.frame import Frame
from graylight.drawing.marks import Mark, mark
from graylight.drawing.palettes import PAPER
from graylight.drawing.sheet import Sheet
from graylight.exchange.kml import Overlay, write_kml
from graylight.grid import Bounds
from graylight.plan.model import Plan

__all__ = ["kmz", "level", "zipped"]

EPOCH = (1980, 1, 1, 0, 0, 0)
"""The earliest time a zip file can hold: the same bytes on every day."""
ICONS: dict[str, Mark] = {
    "lookout": "place", "feed": "feed", "bed": "bed", "crossing": "crossing", "start": "start", "water": "water",
    "peak": "peak",
}  # fmt: skip
_MESH = 16


def kmz(plan: Plan, picture: Image.Image, frame: Frame) -> bytes:
    """The plan with a drawn map.

    Parameters
    ----------
    picture, frame
        The drawn map, and where it lies.
    """
    flat, box = level(picture, frame)
    out = io.BytesIO()
    flat.save(out, format="JPEG", quality=82, subsampling=0)
    overlay = Overlay("The drawn map", "files/map.jpg", box)
    icons = {f"files/{name}.png": _icon(kind) for name, kind in ICONS.items()}
    text = write_kml(plan, overlays=(overlay,), icons={name: f"files/{name}.png" for name in ICONS})
    return zipped({"doc.kml": text.encode(), "files/map.jpg": out.getvalue(), **icons})


def zipped(parts: Mapping[str, bytes]) -> bytes:
    """Files in a zip, in the order given; pictures are stored as they are."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, data in parts.items():
            entry = zipfile.ZipInfo(name, EPOCH)
            entry.create_system, entry.external_attr = 3, 0o644 << 16  # the same on every system
            stored = name.endswith((".jpg", ".png"))
            entry.compress_type = zipfile.ZIP_STORED if stored else zipfile.ZIP_DEFLATED
            archive.writestr(entry, data)
    return out.getvalue()


def level(picture: Image.Image, frame: Frame) -> tuple[Image.Image, Bounds]:
    """A picture brought from the grid into degrees, as a box of latitudes and longitudes wants it.

    Pieces of it are laid by their corners: off by less than a tenth of a pixel.
    """
    turn = Transformer.from_crs("EPSG:4326", frame.grid.crs, always_xy=True)
    back = Transformer.from_crs(frame.grid.crs, "EPSG:4326", always_xy=True)
    box = Bounds(*back.transform_bounds(*frame.box))
    wide, high = picture.size
    xs, ys = np.linspace(0, wide, _MESH + 1).round(), np.linspace(0, high, _MESH + 1).round()
    lon = box.west + xs / wide * (box.east - box.west)
    lat = box.north - ys / high * (box.north - box.south)
    east, north = turn.transform(*np.meshgrid(lon, lat))
    at = frame.from_grid(np.ravel(east), np.ravel(north)).reshape(_MESH + 1, _MESH + 1, 2)
    mesh = [
        (
            (int(xs[j]), int(ys[i]), int(xs[j + 1]), int(ys[i + 1])),
            (*at[i, j], *at[i + 1, j], *at[i + 1, j + 1], *at[i, j + 1]),
        )
        for i in range(_MESH)
        for j in range(_MESH)
    ]
    flat = picture.transform(
        picture.size, Image.Transform.MESH, mesh, Image.Resampling.BICUBIC, fillcolor=PAPER
    )
    return flat, box


def _icon(kind: Mark) -> bytes:
    """A glyph of the map on nothing, as PNG."""
    sheet = Sheet((48, 48))
    mark(sheet, kind, 24.0, 24.0, size=30.0)
    drawn = sheet.finish()
    away = np.abs(np.asarray(drawn, dtype=np.int16) - np.array(PAPER, dtype=np.int16)).max(axis=-1)
    rgba = np.dstack([np.asarray(drawn), np.clip(away * 4, 0, 255).astype(np.uint8)])
    out = io.BytesIO()
    Image.fromarray(rgba.astype(np.uint8)).save(out, format="PNG")
    return out.getvalue()
