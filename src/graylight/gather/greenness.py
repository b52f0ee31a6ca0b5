"""Red, green, blue and near infrared for the season: Sentinel-2 scenes found by STAC, clouds masked, the clearest first."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from graylight.errors import SourceUnavailable
from graylight.gather.errand import Errand, Had
from graylight.gather.gate import Expired, NotThere, Trouble, as_json
from graylight.gather.sheet import Frame, Sheet, area_of, read_window, spread_over, write_sheet, zone_frame
from graylight.gather.store import now

__all__ = ["season_of", "sentinel"]

BANDS = ("red", "green", "blue", "nir")
CLEAR = (4, 5, 6, 7, 11)
"""Classes of Sentinel-2's scene classification that show the ground: plants, bare, water, unclassified, snow (ESA's Level-2A
Algorithm Theoretical Basis Document). The others are no data, faulty, dark, shadow, cloud and cirrus."""
PLANTS = 4
CELL_M = 10.0
NEGATIVE = 0.05
"""When more than this part of the plants would be darker than black, the offset told has been taken off already."""
SCALE, OFFSET = 0.0001, -0.1
"""Where the item says nothing: products from baseline 04.00 on."""
ENOUGH = 0.98
"""No further scene is read once this part of the ground is clear."""
LEAST = 0.01
MOST_ITEMS = 100


@dataclass(frozen=True, slots=True)
class Scene:
    """One overflight of one tile: its day, cloud in percent, outline in degrees, and its files by name."""

    name: str
    day: str
    cloud: float
    outline: shapely.Geometry
    assets: Mapping[str, Any]


def season_of(day: dt.date, around: int, today: dt.date) -> tuple[dt.date, dt.date]:
    """The days about a date in the last year in which they are all over.

    >>> season_of(dt.date(2026, 8, 27), 30, dt.date(2026, 6, 1))
    (datetime.date(2025, 7, 28), datetime.date(2025, 9, 26))
    """
    year = min(day.year, today.year)
    while True:
        leap = (day.month, day.day) == (2, 29)
        middle = day.replace(year=year, day=28 if leap else day.day)
        first, last = middle - dt.timedelta(around), middle + dt.timedelta(around)
        if last <= today:
            return first, last
        year -= 1


def sentinel(errand: Errand) -> list[Had]:
    """The clearest scenes of the season laid over each other, the clearest on top."""
    wanted, more = errand.wanted, errand.service.more
    cell_m = max(CELL_M, wanted.fine_m)
    frame = zone_frame(wanted.crs, wanted.box_m, cell_m, margin=2)
    span = season_of(wanted.date, int(more["days_around"]), now().date())
    scenes = _found(errand, span)
    laid = _Laid(frame)
    for scene in scenes:
        if laid.scenes >= int(more["scenes"]) or laid.clear >= ENOUGH:
            break
        _lay(errand, scene, laid, span)
    if laid.clear < LEAST:
        raise NotThere(f"{errand.service.title}: no ground without cloud from {span[0]} to {span[1]}")
    return [_written(errand, laid)]


class _Laid:
    """What has been laid so far: 1 to 65535 is reflectance x 10 000, 0 not known."""

    def __init__(self, frame: Frame) -> None:
        self.frame = frame
        self.values = np.zeros((len(BANDS), frame.rows, frame.cols), np.uint16)
        self.days: list[str] = []
        self.said: list[str] = []
        self.fetched: list[str] = []
        self.scenes = 0
        self.anew: dict[str, Scene] = {}

    @property
    def free(self) -> NDArray[np.bool_]:
        free: NDArray[np.bool_] = self.values.max(axis=0) == 0
        return free

    @property
    def clear(self) -> float:
        return 1.0 - float(self.free.mean())


def _found(errand: Errand, span: tuple[dt.date, dt.date], *, again: bool = False) -> list[Scene]:
    """Scenes over the ground, the clearest first; ties by name."""
    service, box = errand.service, errand.wanted.reach()
    post = {
        "collections": [service.more["collection"]],
        "bbox": [round(v, 6) for v in box],
        "datetime": f"{span[0]}T00:00:00Z/{span[1]}T23:59:59Z",
        "query": {"eo:cloud_cover": {"lte": service.more["most_cloud_percent"]}},
        "limit": MOST_ITEMS,
    }

    def check(body: bytes) -> None:
        given = as_json(body, service.title)
        if not isinstance(given, dict) or not isinstance(given.get("features"), list):
            raise Trouble(f"{service.title} sent a list of scenes that can't be read")

    answer = errand.gate.ask(service, service.url, post=post, check=check, again=again)
    items = as_json(answer.body, service.title)["features"]
    scenes = [scene for scene in map(_scene, items) if scene is not None]
    if not scenes:
        raise NotThere(f"{service.title} has no scene from {span[0]} to {span[1]} with little cloud")
    return sorted(scenes, key=lambda s: (s.cloud, s.day, s.name))


def _scene(item: Any) -> Scene | None:
    """A scene from a STAC item; None where it lacks what is needed."""
    try:
        told = item["properties"]
        assets = {name: item["assets"][name] for name in (*BANDS, "scl")}
        outline = shapely.geometry.shape(item["geometry"])
        day = str(told["datetime"])[:10]
        return Scene(str(item["id"]), day, float(told.get("eo:cloud_cover", 100.0)), outline, assets)
    except (KeyError, TypeError, ValueError, AttributeError, shapely.errors.GEOSException):
        return None


def _lay(errand: Errand, scene: Scene, laid: _Laid, span: tuple[dt.date, dt.date]) -> None:
    """Lay one scene under what is there already; a scene that can't be had is passed over and said."""
    try:
        bands = _bands_or_anew(errand, scene, laid, span)
    except SourceUnavailable as error:
        laid.said.append(f"scene {scene.name} could not be had: {error}")
        return
    if bands is None:
        return
    take = laid.free & bands.any(axis=0)
    np.copyto(laid.values, bands, where=take)
    laid.days.append(scene.day)
    laid.scenes += 1


def _bands_or_anew(
    errand: Errand, scene: Scene, laid: _Laid, span: tuple[dt.date, dt.date]
) -> NDArray[np.uint16] | None:
    """The bands; where the addresses of the scenes have expired, they are all looked up again, once."""
    try:
        return _bands(errand, laid.anew.get(scene.name, scene), laid)
    except Expired:
        if laid.anew:
            raise
        laid.anew = {fresh.name: fresh for fresh in _found(errand, span, again=True)}
        if scene.name not in laid.anew:
            raise
        return _bands(errand, laid.anew[scene.name], laid)


def _bands(errand: Errand, scene: Scene, laid: _Laid) -> NDArray[np.uint16] | None:
    """The four bands of a scene on the frame, 0 where cloud or nothing; None where it adds nothing."""
    classes = _read(errand, scene, "scl", laid)
    clear = np.isin(classes, CLEAR)
    if not (clear & laid.free).any():
        return None
    raw = np.stack([_read(errand, scene, name, laid) for name in BANDS])
    clear &= (raw > 0).all(axis=0)
    scales = [_scale(scene.assets[name]) for name in BANDS]
    values = np.stack([band * scale + offset for band, (scale, offset) in zip(raw, scales, strict=True)])
    plants = clear & (classes == PLANTS)
    if any(offset < 0 for _, offset in scales) and plants.any():
        dark = float((values[0][plants] < 0).mean())
        if dark > NEGATIVE:
            values = np.stack([band * scale for band, (scale, _) in zip(raw, scales, strict=True)])
            laid.said.append(
                f"scene {scene.name}: its offset was not taken off ({dark:.0%} of the plants would be darker than black: "
                "it has been taken off before)"
            )
    scaled = np.clip(np.rint(values * 10000.0), 1, 65535).astype(np.uint16)
    return np.where(clear, scaled, np.uint16(0))


def _read(errand: Errand, scene: Scene, name: str, laid: _Laid) -> NDArray[Any]:
    """One file of a scene on the frame, 0 where it says nothing."""
    href = str(scene.assets[name]["href"])
    sheet = read_window(errand.gate, errand.service, href, area_of(laid.frame), cell_m=laid.frame.transform.a)
    laid.fetched.append(sheet.fetched)
    whole = Sheet(sheet.values[:1], sheet.frame, 0, sheet.fetched, sheet.changed)
    values: NDArray[Any] = spread_over([whole], laid.frame, smooth=False).values[0]
    return values


def _scale(asset: Mapping[str, Any]) -> tuple[float, float]:
    """Scale and offset of an asset: STAC's raster extension, or the common band object of STAC 1.1."""
    for key in ("raster:bands", "bands"):
        bands = asset.get(key)
        told = bands[0] if isinstance(bands, list) and bands and isinstance(bands[0], dict) else asset
        scale = told.get("scale", told.get("raster:scale"))
        if scale is not None:
            return float(scale), float(told.get("offset", told.get("raster:offset")) or 0.0)
    return SCALE, OFFSET


def _written(errand: Errand, laid: _Laid) -> Had:
    path = errand.work / "imagery.tif"
    sheet = Sheet(laid.values, laid.frame, 0)
    write_sheet(path, sheet, names=BANDS)
    days = sorted(set(laid.days))
    done = [
        f"{errand.service.title}, {laid.scenes} scene{'s' if laid.scenes != 1 else ''} of {', '.join(days)}",
        f"clouds and their shadows masked: {laid.clear:.0%} of the ground is clear",
        *laid.said,
    ]
    return Had(path, days[0], min(laid.fetched, default=""), tuple(done))
