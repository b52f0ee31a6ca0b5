"""Pictures: places land where they belong, lengths are true, nothing breaks on odd ground."""

from __future__ import annotations

import io
import subprocess
import sys

import numpy as np
import pytest
from contourpy import contour_generator
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image
from pyproj import Geod, Transformer
from scipy.ndimage import map_coordinates

from graylight.drawing.contours import FOOT_M, contours, interval, seats
from graylight.drawing.frame import frame_of
from graylight.drawing.furniture import MILE_M, bar_length, draw_scale_bars, page_of
from graylight.drawing.ground import LAYERS, Area, Line, MapData, Name
from graylight.drawing.hillshade import hillshade, lit
from graylight.drawing.legend import columns_of, cover_entries, line_entry
from graylight.drawing.lettering import Room, extent, face
from graylight.drawing.look import draw_look
from graylight.drawing.map import draw_map
from graylight.drawing.palettes import COVER, FACING, INK, LIGHT, PAPER, SLOPE, mix, oklab
from graylight.drawing.profile import draw_profile
from graylight.drawing.raster import draw_classes, draw_layer
from graylight.drawing.sheet import Sheet, chaikin, dashes
from graylight.drawing.sightline import LEAVES, draw_sightline
from graylight.errors import BadInput
from graylight.grid import Bounds, Grid, LonLat
from tests.unit.sample_plan import blind_look, polar_plan, sample_look, sample_plan


def ground(rows: int = 90, cols: int = 100, cell_m: float = 60.0) -> MapData:
    """A smooth double hill about the sample plan's own middle, with every kind of thing on it."""
    x, y = Transformer.from_crs("EPSG:4326", "EPSG:32612", always_xy=True).transform(-111.5, 39.3)
    grid = Grid.of(x - cols * cell_m / 2, y + rows * cell_m / 2, cell_m, rows, cols, "EPSG:32612")
    row, col = np.mgrid[:rows, :cols]
    hills = 2500 + 600 * np.exp(-(((row - 30) / 18.0) ** 2) - ((col - 35) / 22.0) ** 2)
    hills += 450 * np.exp(-(((row - 60) / 20.0) ** 2) - ((col - 70) / 15.0) ** 2)
    kind = ((row // 12 + col // 9) % 9).astype(np.uint8)
    green = ((row + col) / (rows + cols)).astype(np.float32)
    return MapData(
        grid,
        hills.astype(np.float32),
        kind,
        green,
        kind == 6,
        paths=[
            Line("road", np.array([[-111.53, 39.28], [-111.51, 39.29]]), "Low Road"),
            Line("trail", np.array([[-111.51, 39.29], [-111.50, 39.31], [-111.48, 39.31]]), "Señal Trail"),
            Line("intermittent", np.array([[-111.49, 39.28], [-111.48, 39.30]])),
        ],
        private=[
            Area(
                [np.array([[-111.52, 39.28], [-111.51, 39.28], [-111.51, 39.285], [-111.52, 39.28]])],
                "A. Holder",
            )
        ],
        lakes=[
            Area(
                [np.array([[-111.5, 39.30], [-111.498, 39.30], [-111.498, 39.302], [-111.5, 39.30]])], "Tarn"
            )
        ],
        units=[
            Area(
                [np.array([[-111.6, 39.2], [-111.4, 39.2], [-111.4, 39.32], [-111.6, 39.32], [-111.6, 39.2]])]
            )
        ],
        names=[Name("basin", "Tinder Bowl", LonLat(-111.50, 39.31))],
    )


DATA = ground()


def test_a_known_place_lands_on_its_pixel():
    # pyproj is the outside measure: the frame must agree with it, whatever the box
    box = Bounds(-111.52, 39.285, -111.48, 39.315)
    for frame in (frame_of(DATA.grid, width=700), frame_of(DATA.grid, width=701, box=box)):
        east, north = Transformer.from_crs("EPSG:4326", "EPSG:32612", always_xy=True).transform(
            -111.4987, 39.3021
        )
        scale = (frame.box.east - frame.box.west) / frame.width
        x, y = frame.pixel(LonLat(-111.4987, 39.3021))
        assert x == pytest.approx((east - frame.box.west) / scale, abs=0.01)
        assert y == pytest.approx((frame.box.north - north) / scale, abs=0.01)
        assert (frame.box.north - frame.box.south) / frame.height == pytest.approx(scale, rel=1e-9)


def test_raster_and_places_share_a_frame():
    spike = np.zeros(DATA.grid.shape, np.float32)
    spike[40, 57] = 1.0
    frame = frame_of(DATA.grid, width=1000)
    sampled = frame.sample(spike)
    row, col = np.unravel_index(int(sampled.argmax()), sampled.shape)
    x, y = frame.pixel(DATA.grid.lonlat(40, 57))
    assert abs(col + 0.5 - x) <= 1.0
    assert abs(row + 0.5 - y) <= 1.0


def test_a_lookout_is_drawn_at_its_place():
    plan = sample_plan()
    picture = draw_map(DATA, plan, width_px=1600)
    margin, top = 58, 144
    frame = frame_of(DATA.grid, width=1600 - 2 * margin)
    for lookout in plan.lookouts:
        x, y = frame.pixel(LonLat(lookout.place.lon, lookout.place.lat))
        colour = picture.getpixel((int(margin + x), int(top + y)))
        assert np.linalg.norm(oklab(np.array(colour)) - oklab(LIGHT)) < 0.05


def test_box_outside_the_country_is_refused():
    with pytest.raises(BadInput, match="does not lie on the country"):
        frame_of(DATA.grid, width=500, box=Bounds(-100.0, 30.0, -99.0, 31.0))


@pytest.mark.parametrize(("units", "unit_m"), [("us", MILE_M), ("metric", 1000.0)])
def test_scale_bar_is_true_on_the_ellipsoid(units, unit_m):
    frame = frame_of(DATA.grid, width=1000)
    length, pixels = bar_length(frame.metres_per_pixel, 300.0, units=units)
    metres = pixels * frame.metres_per_pixel
    row, col = 45.0, 20.0
    a, b = DATA.grid.lonlat(row, col), DATA.grid.lonlat(row, col + metres / DATA.grid.cell_m)
    geodesic = Geod(ellps="WGS84").inv(a.lon, a.lat, b.lon, b.lat)[2]
    assert geodesic == pytest.approx(length * unit_m, rel=0.005)
    assert pixels <= 300.0


def test_scale_bar_is_drawn_as_long_as_reckoned():
    frame = frame_of(DATA.grid, width=1484)
    page = page_of(frame, unit=1.0, title="", line="", invented=False, contours="", declination_deg=None)
    sheet = Sheet((600, 200))
    draw_scale_bars(sheet, page, x=50, y=40, longest=300)
    row = np.asarray(sheet.finish())[41].astype(int)  # along the upper edge of the miles bar
    ink = np.flatnonzero(np.abs(row - np.array(INK)).sum(axis=1) < 120)
    _, pixels = bar_length(frame.metres_per_pixel, 300, units="us")
    assert ink[-1] - ink[0] + 1 == pytest.approx(pixels, abs=1.5)


def test_contours_of_a_cliff_are_those_of_the_whole_ground():
    """Boxes save time and change nothing: contourpy over all the ground gives the same lines to the last bit."""
    y, x = np.mgrid[0:90, 0:120]
    cliff = (900.0 / (1.0 + np.exp((50.0 - x + 8.0 * np.sin(y / 9.0)) / 2.0)) + np.cos(x / 5.0)).astype(
        np.float32
    )
    cliff[30:40, 47:60] = cliff[:, :4] = np.nan
    found = contours(cliff, interval_m=25.0)
    whole = contour_generator(z=np.ma.masked_invalid(cliff))
    heights = np.arange(0.0, 925.0, 25.0)
    lines = [(h, line) for h in heights for line in whole.lines(h + 1e-4) if len(line) > 1]
    assert len(found) == len(lines) > 30
    for one, (height_m, line) in zip(found, lines, strict=True):
        assert one.height_m == height_m
        assert np.array_equal(one.line, line)


def test_contours_lie_at_their_height():
    for one in contours(DATA.elevation_m, interval_m=40 * FOOT_M):
        assert one.height_m / (40 * FOOT_M) == pytest.approx(round(one.height_m / (40 * FOOT_M)), abs=1e-6)
        assert one.heavy == (round(one.height_m / (40 * FOOT_M)) % 5 == 0)
        heights = map_coordinates(
            DATA.elevation_m.astype(float), one.line[:, ::-1].T, order=1, mode="nearest"
        )
        # on cell edges linear interpolation is exact; scipy is the outside measure
        assert np.abs(heights - one.height_m).max() < 0.01


def test_contour_of_a_cone_is_a_circle():
    row, col = np.mgrid[:101, :101]
    cone = (1000.0 - 10.0 * np.hypot(row - 50.0, col - 50.0)).astype(np.float32)
    ring = next(one for one in contours(cone, interval_m=100.0) if one.height_m == 700.0)
    assert np.hypot(*(ring.line - 50.0).T) == pytest.approx(30.0, abs=0.05)


@pytest.mark.parametrize("wrong", [0.0, -5.0, float("nan")])
def test_a_contour_interval_must_be_a_height(wrong):
    with pytest.raises(BadInput, match="contour interval"):
        contours(DATA.elevation_m, interval_m=wrong)


def test_interval_widens_as_the_scale_shrinks():
    near = interval(DATA.elevation_m, pixels_per_cell=20.0, units="us")
    far = interval(DATA.elevation_m, pixels_per_cell=1.0, units="us")
    assert near < far
    steep = np.hypot(*np.gradient(DATA.elevation_m))
    gap = far * FOOT_M / np.percentile(steep, 90.0)
    assert gap >= 0.9 * 4.0  # pixels between lines on the steepest tenth


def test_contour_labels_are_never_upside_down():
    turn = np.linspace(0, 2 * np.pi, 400)
    ring = np.column_stack([500 + 300 * np.cos(turn), 500 + 300 * np.sin(turn)])
    found = seats(700.0, ring, length_px=40.0, apart_px=150.0)
    assert len(found) >= 5
    assert all(-90.0 <= one.turn_deg <= 90.0 for one in found)


def test_one_light_agrees_with_matplotlib():
    # matplotlib's LightSource.hillshade, which stretches its contrast from least to greatest
    from matplotlib.colors import LightSource

    theirs = LightSource(azdeg=315, altdeg=45).hillshade(DATA.elevation_m.astype(float), dx=60.0, dy=60.0)
    ours = lit(DATA.elevation_m, cell_m=60.0, azimuth_deg=315.0, altitude_deg=45.0)
    stretched = (ours - ours.min()) / (ours.max() - ours.min())
    assert np.abs(stretched - theirs).max() < 1e-4


def test_shade_is_light_towards_the_light_and_keeps_gaps():
    elevation = DATA.elevation_m.copy()
    elevation[5:9, 5:9] = np.nan
    shade = hillshade(elevation, cell_m=60.0)
    assert np.isnan(shade[6, 6])
    assert np.nanmin(shade) >= 0.0
    assert np.nanmax(shade) <= 1.0
    assert shade[20, 22] > 0.62 > shade[40, 50]  # north-west and south-east sides of the first hill


@pytest.mark.parametrize("shape", [(1, 1), (2, 2), (3, 3), (16, 40)])
@pytest.mark.parametrize("what", ["flat", "nothing", "holes"])
def test_odd_ground_is_drawn(shape, what):
    elevation = np.full(shape, 2000.0, np.float32)
    if what == "nothing":
        elevation[:] = np.nan
    elif what == "holes":
        elevation += np.arange(elevation.size, dtype=np.float32).reshape(shape)
        elevation[shape[0] // 2, shape[1] // 2] = np.nan
    grid = Grid.of(500000.0, 4350000.0, 30.0, *shape, "EPSG:32612")
    picture = draw_map(MapData(grid, elevation), width_px=400)
    assert picture.width == 400
    slope = np.zeros(shape, np.float32)
    draw_map(MapData(grid, elevation), sample_plan(), width_px=400, layer="slope", raster=slope)
    hillshade(elevation, cell_m=30.0)
    draw_layer(elevation, SLOPE, title="height")


@pytest.mark.parametrize("layer", sorted(LAYERS))
def test_every_layer_is_drawn_differently(layer):
    look = LAYERS[layer]
    raster = np.linspace(look.low, look.high, DATA.elevation_m.size, dtype=np.float32).reshape(
        DATA.grid.shape
    )
    picture = draw_map(DATA, None, width_px=500, layer=layer, raster=raster)
    plain = draw_map(DATA, None, width_px=500)
    assert (
        np.abs(np.asarray(picture)[100:300, 30:470].astype(int) - np.asarray(plain)[100:300, 30:470]).mean()
        > 5
    )


def test_facing_is_sampled_round_north():
    azimuth = np.where(np.arange(100)[None, :] % 2 == 0, 359.0, 1.0).astype(np.float32)
    azimuth = np.broadcast_to(azimuth, (90, 100)).copy()
    grid = DATA.grid
    flat = MapData(grid, np.full(grid.shape, 2000.0, np.float32))
    picture = np.asarray(draw_map(flat, None, width_px=400, layer="facing", raster=azimuth))
    body = oklab(picture[120:200, 100:300].reshape(-1, 3))
    north, south = oklab(FACING[0]), oklab(FACING[128])
    nearer_north = np.linalg.norm(body - north, axis=1) < np.linalg.norm(body - south, axis=1)
    assert nearer_north.mean() > 0.95


def test_wrong_orders_are_refused():
    with pytest.raises(BadInput, match="accepted are ground"):
        draw_map(DATA, None, layer="aspect")
    with pytest.raises(BadInput, match="hand it over"):
        draw_map(DATA, None, layer="feed")
    with pytest.raises(BadInput, match="400 to 6000"):
        draw_map(DATA, None, width_px=10)
    with pytest.raises(BadInput, match="does not fit the grid"):
        MapData(DATA.grid, DATA.elevation_m[:-1])
    with pytest.raises(BadInput, match="answers of shape"):
        draw_look(DATA, sample_look(), np.zeros((3, 3), np.uint8))
    with pytest.raises(BadInput, match="two or more known points"):
        draw_profile(np.array([0.0]), np.array([1.0]))


def test_the_same_input_gives_the_same_bytes():
    pngs = []
    for _ in range(2):
        out = io.BytesIO()
        draw_map(DATA, sample_plan(), width_px=700).save(out, "PNG")
        pngs.append(out.getvalue())
    assert pngs[0] == pngs[1]


def test_an_invented_range_is_flagged_and_a_real_one_is_not():
    plan = sample_plan()
    real = plan.model_copy(update={"country": plan.country.model_copy(update={"invented": False})})
    invented = plan.model_copy(update={"country": plan.country.model_copy(update={"invented": True})})

    def amber(picture: Image.Image) -> int:
        head = np.asarray(picture)[:100].astype(int)
        return int((np.abs(head - np.array(LIGHT)).sum(axis=2) < 12).sum())

    assert amber(draw_map(DATA, invented, width_px=1600)) > 5000
    assert amber(draw_map(DATA, real, width_px=1600)) == 0


def test_a_plan_without_light_or_declination_is_drawn():
    plan = polar_plan()
    draw_map(DATA, plan, width_px=500, units="metric")
    draw_map(DATA, sample_plan(declination=None), width_px=500)


def test_look_lights_what_is_clear_and_dims_what_is_blocked():
    answers = np.full(DATA.grid.shape, 3, np.uint8)
    answers[20:70, 20:50], answers[20:70, 50:80] = 2, 0
    flat = MapData(DATA.grid, np.full(DATA.grid.shape, 2000.0, np.float32))
    picture = draw_look(
        flat, sample_look(), answers, pockets=sample_plan().pockets, width_px=900, radius_m=1500.0
    )
    pixels = oklab(np.asarray(picture))[:, :, 0]
    left, right = pixels[200:600, 100:300], pixels[200:600, 600:800]
    assert np.median(left) > np.median(right) + 0.2
    draw_look(DATA, blind_look(), np.full(DATA.grid.shape, 3, np.uint8), width_px=400)


def test_touch_and_go_is_a_pattern_not_a_colour():
    answers = np.full(DATA.grid.shape, 1, np.uint8)
    flat = MapData(DATA.grid, np.full(DATA.grid.shape, 2000.0, np.float32))
    picture = np.asarray(
        draw_look(flat, sample_look(), answers, width_px=900, radius_m=1500.0, units="metric")
    )
    patch = oklab(picture[200:260, 100:160])[:, :, 0]
    assert np.ptp(patch) > 0.12  # dots on dimmed ground, not one flat tint
    assert 0.05 < (patch > patch.mean()).mean() < 0.5


def test_answers_are_those_of_sight():
    from graylight.drawing import look
    from graylight.sight import answers

    for name in ("BLOCKED", "TOUCH_AND_GO", "CLEAR", "OUTSIDE"):
        assert getattr(look, name) == getattr(answers, name)


def test_lakes_are_blue_without_a_cover_layer():
    ring = np.array(
        [[-111.505, 39.295], [-111.495, 39.295], [-111.495, 39.305], [-111.505, 39.305], [-111.505, 39.295]]
    )
    data = MapData(DATA.grid, np.full(DATA.grid.shape, 2000.0, np.float32), lakes=[Area([ring])])
    picture = draw_map(data, None, width_px=1600)
    x, y = frame_of(DATA.grid, width=1600 - 2 * 58).pixel(LonLat(-111.5, 39.3))
    assert picture.getpixel((int(58 + x), int(144 + y))) == COVER[6]


def test_profile_is_as_wide_as_asked():
    along = np.linspace(0, 5000, 50)
    up = 2500 + along / 10
    assert draw_profile(along, up, steep=along > 4000, start="Señal", end="L1", width_px=600).size == (
        600,
        340,
    )
    assert draw_profile(along, np.full(50, 2000.0), units="metric").width == 1200


def count(picture: Image.Image, colour: tuple[int, int, int], near: int = 30) -> int:
    away = np.abs(np.asarray(picture).astype(int) - np.array(colour)).sum(axis=2)
    return int((away < near).sum())


def test_a_sight_line_is_bright_as_far_as_the_ground_lets_it_by():
    along = np.linspace(0, 1000, 101)
    ground, ray = np.full(101, 2000.0), np.linspace(2060, 2040, 101)
    hill = ground + np.where((along > 400) & (along < 600), 90.0, 0.0)
    seen = draw_sightline(along, ground, ray, closest=(990.0, 40.0))
    stopped = draw_sightline(along, hill, ray, closest=(500.0, -40.0))
    unknown = draw_sightline(along, np.where(along == 400, np.nan, ground), ray)
    bright = [count(picture, LIGHT) for picture in (seen, stopped, unknown)]
    assert seen.size == (1200, 460)
    assert 0.3 * bright[0] < bright[1] < 0.5 * bright[0]
    assert 0.3 * bright[0] < bright[2] < 0.5 * bright[0]


def test_trees_under_a_sight_line_are_drawn_where_they_stand():
    along = np.linspace(0, 1000, 101)
    ground, ray = np.full(101, 2000.0), np.full(101, 2060.0)
    wooded = along > 500
    top, base = ground + 30.0 * wooded, ground + 10.0 * wooded
    bare = draw_sightline(along, ground, ray, width_px=600, height_px=230, units="metric")
    trees = draw_sightline(
        along, ground, ray, base_m=base, top_m=top, width_px=600, height_px=230, units="metric"
    )
    left, right = trees.crop((0, 0, 300, 230)), trees.crop((330, 0, 600, 230))
    crown = mix(PAPER, LEAVES, 0.8)
    assert count(bare, crown, 12) == count(left, crown, 12) == 0
    assert count(right, crown, 12) > 1000
    with pytest.raises(BadInput, match="two or more distances"):
        draw_sightline(along, ground[:5], ray)


def test_classes_keep_their_tints():
    picture = draw_classes(np.array([[1, 3], [6, 5]], np.uint8), width_px=2)
    assert picture.getpixel((0, 0)) == COVER[1]
    assert picture.getpixel((1, 1)) == COVER[5]


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.floats(0, 400), st.floats(0, 300), st.floats(5, 120)), min_size=1, max_size=25))
def test_labels_stay_on_the_picture_and_off_each_other(asked):
    room = Room(400, 300)
    boxes = [room.seat(x, y, (wide, 14.0), gap=6.0, far=3) for x, y, wide in asked]
    boxes = [box for box in boxes if box is not None]
    for number, (left, top, right, bottom) in enumerate(boxes):
        assert left >= 0
        assert top >= 0
        assert right <= 400
        assert bottom <= 300
        for other in boxes[:number]:
            assert right <= other[0] or left >= other[2] or bottom <= other[1] or top >= other[3]


def test_legend_stays_beside_the_scale_bars():
    entries = [
        *cover_entries(list(range(9))),
        *(line_entry("stream, may be dry", "intermittent") for _ in range(20)),
    ]
    for width in (400, 800, 1600, 2400):
        unit = width / 1600
        columns = columns_of(entries, width, margin=58 * unit, unit=unit)
        assert [entry for column in columns for entry in column] == entries
        wide = sum(max(extent(entry.words, "plain", 25 * unit)[0] for entry in column) for column in columns)
        assert wide + (70 * len(columns) + 34 * (len(columns) - 1) + 440 + 2 * 58) * unit <= width + 1


def test_letters_hold_what_names_and_numbers_need():
    # a face draws its empty box for a letter it lacks (here a Thai one): letters it has must look different
    for kind in ("plain", "strong", "slanted"):
        empty = bytes(face(kind, 40).getmask("\u0e01"))
        for letter in "ñéèüöçàêôíóúÅøßčšžłÖ°½¼¾·–’":
            assert bytes(face(kind, 40).getmask(letter)) != empty, letter


def test_dashes_keep_the_length():
    line = np.array([[0.0, 0.0], [30.0, 0.0], [30.0, 40.0]])
    parts = dashes(line, (7.0, 3.0))
    total = sum(np.hypot(*np.diff(part, axis=0).T).sum() for part in parts)
    assert total == pytest.approx(49.0)
    assert len(dashes(line, (0.0, 0.0))) == 1


def test_cut_corners_stay_within_their_box():
    ring = np.array([[0, 0], [10, 0], [10, 10], [0, 10], [0, 0]], float)
    cut = chaikin(ring, 3, closed=True)
    assert cut.min() >= 0
    assert cut.max() <= 10
    assert (cut[0] == cut[-1]).all()


def test_the_map_does_not_load_plotting_or_sight():
    heavy = "[m for m in ('matplotlib', 'numba', 'rasterio') if m in sys.modules]"
    code = f"import sys, graylight.drawing.map; print({heavy})"
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]"


def test_a_cliff_gets_no_more_lines_than_can_be_told_apart():
    """A wall of 4000 m: the steepest tenth of the ground is level, the span decides."""
    ground = np.zeros((60, 60), np.float32)
    ground[:, :30] = 4000.0
    for units, unit_m in (("us", FOOT_M), ("metric", 1.0)):
        step = interval(ground, pixels_per_cell=1.0, units=units)
        assert 4000.0 / (step * unit_m) <= 201
