"""The vector sheet draws what a sheet draws; maps stand at their scale; strips hold what is seen."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import numpy as np
import pytest

from graylight.drawing.palettes import ANIMAL, INK, PAPER
from graylight.drawing.sheet import Sheet
from graylight.grid import Grid, LonLat
from graylight.packet.sheet import ACROSS_MM, PX_PER_MM, SCALES, UPRIGHT_MM, map_sheet, whole_sheet
from graylight.packet.strips import arc_about
from graylight.packet.vector import VectorSheet

SVG = "{http://www.w3.org/2000/svg}"


def draw(sheet):
    ring = np.array([[20.0, 20.0], [90.0, 25.0], [70.0, 80.0], [20.0, 20.0]])
    sheet.fill([ring], ANIMAL)
    sheet.stroke([np.array([[5.0, 95.0], [95.0, 95.0]])], INK, 4.0)
    sheet.stroke([np.array([[5.0, 10.0], [95.0, 10.0]])], INK, 3.0, dash=(10.0, 10.0))
    sheet.disc(80.0, 70.0, 8.0, INK)
    sheet.box((5.0, 40.0, 25.0, 60.0), INK)


def rendered(svg: bytes, size: int, tmp_path):
    """An SVG as pixels, by typst: a program that shares no code with ours."""
    import io

    import typst
    from PIL import Image

    (tmp_path / "drawn.svg").write_bytes(svg)
    (tmp_path / "one.typ").write_text(
        f'#set page(width: {size}pt, height: {size}pt, margin: 0pt)\n#image("drawn.svg", width: {size}pt)'
    )
    png = typst.compile(str(tmp_path / "one.typ"), format="png", ppi=72)
    return np.asarray(Image.open(io.BytesIO(png)).convert("RGB"), dtype=np.int16)


def test_it_draws_as_the_sheet_of_pixels_does(tmp_path):
    vector, pixels = VectorSheet(100, 100), Sheet((100, 100), (255, 255, 255))
    draw(vector)
    draw(pixels)
    mine = rendered(vector.svg(), 100, tmp_path)
    theirs = np.asarray(pixels.finish(), dtype=np.int16)
    assert mine.shape == theirs.shape
    # only along edges may the two differ
    assert (np.abs(mine - theirs).max(axis=-1) > 60).mean() < 0.02
    blank = np.full_like(theirs, 255)
    assert (np.abs(mine - blank).max(axis=-1) > 60).mean() > 0.2


def test_a_hatch_stays_in_its_area_and_out_of_its_holes():
    sheet = VectorSheet(200, 200)
    outer = np.array([[20.0, 20.0], [180.0, 20.0], [180.0, 180.0], [20.0, 180.0], [20.0, 20.0]])
    hole = np.array([[80.0, 80.0], [120.0, 80.0], [120.0, 120.0], [80.0, 120.0], [80.0, 80.0]])
    sheet.hatch([outer, hole], INK, apart=10.0, width=1.0)
    (path,) = ET.fromstring(sheet.svg()).iter(f"{SVG}path")
    lines = [one.replace("L", " ").split() for one in path.get("d").split("M") if one]
    assert len(lines) > 10
    for words in lines:
        (x0, y0, x1, y1) = (float(v) for v in words)
        assert min(x0, x1, y0, y1) >= 19.9
        assert max(x0, x1, y0, y1) <= 180.1
        middle = ((x0 + x1) / 2, (y0 + y1) / 2)
        assert not all(81 < v < 119 for v in middle)
        assert x0 + y0 == pytest.approx(x1 + y1, abs=0.2)


def test_what_names_hold_cannot_break_the_drawing():
    sheet = VectorSheet(50, 50)
    sheet.text((5, 20), "<Peak & \"Co\"> 'x'", size=10, halo=PAPER)
    texts = [one.text for one in ET.fromstring(sheet.svg()).iter(f"{SVG}text")]
    assert texts == ["<Peak & \"Co\"> 'x'"] * 2


def test_lines_far_off_are_left_out_and_lines_through_are_cut():
    sheet = VectorSheet(100, 100)
    sheet.stroke([np.array([[500.0, 500.0], [900.0, 500.0]])], INK, 2.0)
    assert not list(ET.fromstring(sheet.svg()).iter(f"{SVG}path"))
    sheet.stroke([np.array([[-5000.0, 50.0], [5000.0, 50.0]])], INK, 2.0)
    (path,) = ET.fromstring(sheet.svg()).iter(f"{SVG}path")
    assert path.get("d") == "M-40 50L140 50"


# --- maps at scale -------------------------------------------------------------------------------------------------

GRID = Grid.of(500_000.0, 4_480_000.0, 10.0, 1200, 900, "EPSG:32611")  # 12 km high, 9 km wide


def place(east: float, north: float) -> LonLat:
    return GRID.lonlat((4_480_000.0 - north) / 10.0 - 0.5, (east - 500_000.0) / 10.0 - 0.5)


def test_a_small_piece_stands_at_the_scale_of_the_us_sheets():
    sheet = map_sheet(GRID, [place(503_000, 4_475_000), place(505_000, 4_477_000)])
    assert sheet.scale == 24_000
    assert sheet.size_mm in (UPRIGHT_MM, ACROSS_MM)
    box = sheet.frame.box
    assert box.east - box.west == pytest.approx(sheet.size_mm[0] * 24.0)
    assert sheet.frame.metres_per_pixel == pytest.approx(24.0 / PX_PER_MM)
    assert sheet.frame.width == sheet.size_mm[0] * PX_PER_MM


@pytest.mark.parametrize(
    ("ends", "across"),
    [
        ([(500_500, 4_474_000), (505_800, 4_475_000)], True),
        ([(503_000, 4_470_500), (504_000, 4_475_000)], False),
    ],
)
def test_a_wide_piece_lies_across_the_page(ends, across):
    sheet = map_sheet(GRID, [place(*end) for end in ends])
    assert sheet.across == across
    for end in ends:
        assert sheet.frame.holds(*sheet.frame.pixel(place(*end)))


def test_everything_asked_for_is_on_the_map_at_the_least_scale_that_holds_it():
    rng = np.random.default_rng(3)
    for _ in range(40):
        places = [place(500_000 + 9_000 * e, 4_468_000 + 12_000 * n) for e, n in rng.random((3, 2))]
        sheet = map_sheet(GRID, places)
        for one in places:
            assert sheet.frame.holds(*sheet.frame.pixel(one), margin=-1.0)
        edge, box = GRID.bounds, sheet.frame.box
        inside = (box.west - edge.west, edge.east - box.east, box.south - edge.south, edge.north - box.north)
        assert min(inside) >= -1e-6


def test_a_country_smaller_than_the_page_is_shown_whole():
    tiny = Grid.of(500_000.0, 4_480_000.0, 10.0, 60, 80, "EPSG:32611")
    sheet = whole_sheet(tiny)
    assert sheet.scale == 24_000
    assert sheet.size_mm == (33, 25)  # 800 m and 600 m at 24 m to the millimetre, cut to whole ones
    assert whole_sheet(Grid.of(0.0, 9e6, 90.0, 20_000, 20_000, "EPSG:32611")).scale == SCALES[-1]


def test_places_outside_the_country_do_not_count():
    far = LonLat(0.0, 0.0)
    assert map_sheet(GRID, [far]) == whole_sheet(GRID)
    inside = [place(503_000, 4_475_000)]
    assert map_sheet(GRID, [*inside, far]) == map_sheet(GRID, inside)


# --- the arc of a strip --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "turns", [[10.0], [350.0, 15.0], [90.0, 100.0, 130.0], [0.0, 179.0], [5.0, 125.0, 245.0]]
)
def test_the_arc_holds_what_is_looked_at_with_room_beside_it(turns):
    first, wide = arc_about(turns)
    assert 0.0 <= first < 360.0
    assert 110.0 <= wide <= 360.0
    for turn in turns:
        into = (turn - first) % 360.0
        assert wide == 360.0 or 20.0 <= into <= wide - 20.0


def test_the_arc_is_the_smallest():
    assert arc_about([350.0, 150.0])[1] == pytest.approx(160.0 + 44.0)
    assert arc_about([0.0, 90.0, 180.0, 270.0])[1] == pytest.approx(270.0 + 44.0)
    assert arc_about([0.0, 60.0, 120.0, 180.0, 240.0, 300.0]) == (0.0, 360.0)
