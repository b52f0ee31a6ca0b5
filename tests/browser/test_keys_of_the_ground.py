"""The keys of the ground look like the ground as the map draws it.

The map's own pixels are taken where the ground is flat and of one kind, as the country's layers say, and set beside the keys.
Distances are those of CAM02-UCS (Luo, Cui and Li 2006, doi:10.1002/col.20227), by colorspacious: about 1 is the least that is
seen side by side. The least asked for is ours. Before the keys were drawn as the map draws, it was 31 to 44 in the dark.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import rasterio
from colorspacious import deltaE
from PIL import Image
from pyproj import Transformer
from scipy.ndimage import maximum_filter, minimum_filter

from graylight.ground.kind import WORDS, Kind

ALIKE = 4.0
FLAT_DEG = 4.0
BARE = """() => {
  const map = document.querySelector('.map').graylight;
  for (const one of map.getStyle().layers) {
    if (!['paper', 'ground', 'relief'].includes(one.id)) map.setLayoutProperty(one.id, 'visibility', 'none');
  }
}"""


def layer(country: Path, name: str) -> tuple[np.ndarray, Any]:
    with rasterio.open(country / "layers" / f"{name}.tif") as src:
        return src.read(1), src


def pixels(seen: Any, country: Path, cells: np.ndarray) -> Iterator[tuple[tuple[int, int], np.ndarray]]:
    """Cells with the colour of the map over each, where nothing covers it."""
    _, src = layer(country, "slope")
    turned = Transformer.from_crs(src.crs, "EPSG:4326", always_xy=True)
    picture = np.asarray(Image.open(io.BytesIO(seen.page.screenshot())).convert("RGB"), float)
    top = seen.page.locator(".choice").bounding_box()
    foot = seen.page.locator(".foot").bounding_box()
    right = seen.page.locator(".notes").bounding_box()
    for row, col in cells:
        x, y = seen.at(*turned.transform(*src.xy(row, col)))
        covered = x < top["x"] + top["width"] and y < top["y"] + top["height"]
        if 0 < x < right["x"] and 0 < y < foot["y"] and not covered:
            yield (int(row), int(col)), picture[int(y), int(x)]


def some(where: np.ndarray, most: int = 60) -> np.ndarray:
    """Cells spread over a mask, in their order."""
    found = np.argwhere(where)
    return found[np.linspace(0, len(found) - 1, min(most, len(found))).astype(int)] if len(found) else found


def even(values: np.ndarray) -> np.ndarray:
    """Where a cell and its two neighbours to each side hold one value."""
    return (minimum_filter(values, 5) == values) & (maximum_filter(values, 5) == values)


def rgb(text: str) -> np.ndarray:
    return np.array([float(one) for one in re.findall(r"[\d.]+", text)[:3]])


def away(one: np.ndarray, other: np.ndarray) -> float:
    return float(deltaE(one / 255, other / 255, input_space="sRGB1", uniform_space="CAM02-UCS"))


@pytest.fixture(params=["dark", "day"])
def ground(opened, request) -> Any:
    """The page with the ground bare of marks and lines, its readings listed."""
    seen = opened(1300, 800)
    seen.settle()
    seen.page.locator(".sentence").click()
    seen.page.get_by_label("for daylight").set_checked(request.param == "day")
    return seen


def test_kinds_of_cover_look_as_in_their_key(ground, country):
    ground.page.get_by_label("by what grows on it").check()
    keys = ground.page.locator(".choice li").evaluate_all(
        "all => all.map((one) => [one.textContent.trim(), getComputedStyle(one.querySelector('i')).backgroundColor])"
    )
    keys = {words: rgb(colour) for words, colour in keys}
    ground.page.locator(".sentence").click()
    ground.page.evaluate(BARE)
    ground.settle()
    cover, _ = layer(country, "cover")
    slope, _ = layer(country, "slope")
    compared = 0
    for kind in Kind:
        flat = some(even(cover) & (cover == kind.value) & (slope < FLAT_DEG))
        shown = [colour for _, colour in pixels(ground, country, flat)]
        if kind.value and len(shown) >= 10:
            assert away(np.median(shown, axis=0), keys[WORDS[kind]]) < ALIKE, kind.name
            compared += 1
    assert compared >= 4


def test_a_ramp_looks_as_in_its_key(ground, country):
    ground.page.get_by_label("by feed").check()
    ground.page.locator(".sentence").click()
    ground.settle()
    stops = ground.page.locator(".ramp").evaluate("one => getComputedStyle(one).backgroundImage")
    stops = np.array([rgb(one) for one in re.findall(r"rgb\([^)]*\)", stops)])
    look = ground.page.evaluate(
        "fetch('/api/state').then((one) => one.json()).then((one) => one.layers.find((one) => one.name === 'feed').ramp)"
    )
    ground.page.evaluate(BARE)
    ground.settle()
    feed, _ = layer(country, "feed")
    slope, _ = layer(country, "slope")
    spread = maximum_filter(feed, 5) - minimum_filter(feed, 5)
    off = []
    for (row, col), colour in pixels(
        ground, country, some((spread < 0.06) & (slope < FLAT_DEG) & (feed > look["low"] + 0.05), 200)
    ):
        part = np.clip((feed[row, col] - look["low"]) / (look["high"] - look["low"]), 0, 1)
        at = part * (len(stops) - 1)
        key = np.array([np.interp(at, np.arange(len(stops)), stops[:, i]) for i in range(3)])
        off.append(away(colour, key))
    assert len(off) >= 20
    assert np.median(off) < ALIKE
