"""The drawn panorama: places stand at their bearing, light falls from its side, letters don't overlap."""

from __future__ import annotations

import io
import itertools
import math

import numpy as np
import pytest
from PIL import Image

from graylight.drawing import dusk
from graylight.drawing import panorama as drawing
from graylight.drawing.palettes import ANIMAL, INK, PAPER, contrast
from graylight.drawing.panorama import draw_panorama, landmarks, margin_px
from graylight.drawing.strip import HALO, Landmark, seat_names
from graylight.errors import BadInput
from graylight.grid import Grid
from graylight.sight.panorama import Panorama, panorama
from tests.unit.hand_ground import axes, hills
from tests.unit.sample_plan import CENTER, sample_plan

CELL_M = 20.0
ROWS = COLS = 161
SEAT = (110, 80)
TOPS = ((600.0, 0.0, 260.0, 180.0), (700.0, 800.0, 330.0, 200.0), (300.0, -900.0, 220.0, 160.0))
"""Round hills north, north-east and west-north-west of the seat: north_m, east_m, height_m, width_m."""


def cell(north_m: float, east_m: float) -> tuple[int, int]:
    return round(80 - north_m / CELL_M), round(80 + east_m / CELL_M)


GROUND = hills(ROWS, COLS, CELL_M, *TOPS)
MARKS = [Landmark("peak", *cell(n, e), f"Hill {i} 7,{i}00 ft") for i, (n, e, _, _) in enumerate(TOPS)]


def look(ground=GROUND, **given) -> Panorama:
    plain = {
        "row": SEAT[0], "col": SEAT[1], "cell_m": CELL_M, "eye_m": 2.0, "convergence_deg": 1.0,
        "azimuth_from_deg": 270.0, "azimuth_to_deg": 90.0, "up_from_deg": -15.0, "up_to_deg": 25.0, "width": 900,
        "height": 200,
    }  # fmt: skip
    return panorama(ground, **(plain | given))


def pockets() -> np.ndarray:
    """Pocket 1 on the near side of the first hill, 2 behind it, 3 south of the seat, 4 in a single far cell."""
    labels = np.zeros(GROUND.shape, np.int32)
    for number, (north, east) in enumerate(((450.0, 0.0), (1000.0, 0.0), (-1200.0, 0.0)), start=1):
        row, col = cell(north, east)
        labels[row - 3 : row + 3, col - 4 : col + 4] = number
    return labels


def rgb(strip, x: float, y: float) -> np.ndarray:
    return np.array(strip.image.getpixel((int(x), int(y))), float)


def near(a: np.ndarray, b, by: float = 24.0) -> bool:
    return bool(np.abs(a - np.array(b)).max() < by)


# --- where things stand --------------------------------------------------------------------------------------------


def test_a_leader_ends_over_its_top():
    view = look()
    strip = draw_panorama(view, marks=MARKS)
    assert set(strip.named) == {mark.text for mark in MARKS}
    for (north, east, height_m, _), mark in zip(TOPS, MARKS, strict=True):
        # by hand: bearing and angle from the seat, 600 m south of the middle
        d = math.hypot(north + 600.0, east)
        azimuth = (math.degrees(math.atan2(east, north + 600.0)) + 1.0) % 360.0
        up = math.degrees(math.atan2(height_m - 2.0 - view.bend_per_m * d * d, d))
        x = strip.left + (azimuth - 270.0) % 360.0 * 5.0
        y = strip.top + (25.0 - up) * 5.0
        assert near(rgb(strip, round(x), y - 6.0), INK), mark.text
        assert view.at(*strip.on_view(x, y + 3.0)) is not None
        assert view.at(*strip.on_view(x, y - 3.0)) is None
    assert strip.named == (MARKS[2].text, MARKS[0].text, MARKS[1].text)


def test_bearings_stand_under_their_columns():
    view = look()
    strip = draw_panorama(view, declination_deg=11.0)
    bottom = strip.top + view.height
    for true in (300, 330, 0, 30, 60):
        x = strip.left + (true - 270) % 360 * 5
        assert near(rgb(strip, x, bottom + 4), INK), true
        assert near(rgb(strip, x + 4, bottom + 4), PAPER), true
    # magnetic 0 lies at true 11, with the row below
    x = strip.left + (11 - 270) % 360 * 5
    assert not near(rgb(strip, x, bottom + 24 + 4), PAPER, 60)
    without = draw_panorama(view)
    assert without.image.height < strip.image.height


def test_the_level_of_the_eye_is_dotted():
    view = look()
    strip = draw_panorama(view)
    y = strip.top + 125
    row = np.asarray(strip.image)[y, strip.left : strip.left + view.width].astype(int)
    above = np.asarray(strip.image)[y - 1, strip.left : strip.left + view.width].astype(int)
    assert (np.abs(row - above).max(axis=1) > 40).mean() > 0.1


def test_words_say_whether_heights_are_true():
    assert drawing._how(look(), (110.0, 8.0), saddles=False).startswith("True angles")
    assert drawing._how(look(height=400), (110.0, 8.0), saddles=True).startswith("Heights stretched × 2.0")


# --- what is told of pockets ---------------------------------------------------------------------------------------


def test_a_pocket_that_the_shares_call_unseen_is_hidden_though_it_has_pixels():
    view, labels = look(), pockets()
    strip = draw_panorama(view, labels=labels, pockets=["A", "B", "C"], unseen=["A"])
    assert "A" in strip.hidden
    shown = view.values(labels) == 1
    assert shown.any()
    drawn, bare = (
        np.asarray(one.image)[one.top :, one.left :][: view.height, : view.width]
        for one in (strip, draw_panorama(view))
    )
    assert (drawn[shown] == bare[shown]).all()


def test_pockets_are_tinted_and_the_missing_are_named():
    view, labels = look(), pockets()
    strip = draw_panorama(view, labels=labels, pockets=["A", "B", "C"])
    assert (strip.hidden, strip.slight, strip.outside) == (("B",), (), ("C",))
    bare = draw_panorama(view)
    shown = view.values(labels) > 0
    with_tint = np.asarray(strip.image)[strip.top :, strip.left :][: view.height, : view.width][shown].mean(
        axis=0
    )
    without = np.asarray(bare.image)[bare.top :, bare.left :][: view.height, : view.width][shown].mean(axis=0)
    assert with_tint[0] - with_tint[2] > without[0] - without[2] + 25  # redder, less blue


def test_a_pocket_below_the_picture_is_not_called_hidden():
    labels = np.zeros(GROUND.shape, np.int32)
    labels[SEAT[0] - 1, SEAT[1]] = 1
    view = look(up_from_deg=-3.0)
    assert not view.angles_to((SEAT[0] - 1, SEAT[1])).hidden
    assert draw_panorama(view, labels=labels, pockets=["near"]).outside == ("near",)


def test_a_pocket_of_less_than_a_pixel_is_not_called_hidden():
    plain = np.full((161, 161), 100.0, np.float32)
    plain[20:30] = 130.0
    labels = np.zeros(plain.shape, np.int32)
    labels[29, 20] = 1
    coarse = look(plain, width=12, height=4, row=150, col=80)
    assert (coarse.values(labels) == 0).all()
    assert not coarse.angles_to((29, 20)).hidden
    assert draw_panorama(coarse, labels=labels, pockets=["far"]).slight == ("far",)


def test_the_watcher_s_own_pocket_and_unknown_ground():
    ground = GROUND.copy()
    ground[:20] = np.nan
    labels = np.zeros(ground.shape, np.int32)
    labels[SEAT] = 1
    labels[:10] = 2
    marks = [Landmark("peak", 0, 0, "?"), Landmark("place", *SEAT, "me")]
    strip = draw_panorama(look(ground), labels=labels, pockets=["here", "unknown", "nowhere"], marks=marks)
    assert strip.named == ()
    assert "unknown" in strip.outside + strip.hidden


# --- letters -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("text_px", [10, 15, 30])
def test_names_don_t_overlap_and_stay_on_the_sky(text_px):
    rng = np.random.default_rng(5)
    view = look(width=1200, height=260, up_from_deg=-20.0, up_to_deg=32.0)
    rows, cols = rng.integers(5, 100, (2, 60))
    marks = [
        Landmark("saddle" if i % 3 else "peak", int(r), int(c), f"Name {i} 9,000 ft")
        for i, (r, c) in enumerate(zip(rows, cols, strict=True))
    ]
    page = drawing._page(view, None, (110.0, 8.0), text_px, title_line=False, magnetic=True)
    named = seat_names(page, MARKS + marks, lines=3)
    assert len(named) >= 3
    boxes = page.taken
    assert len(boxes) == 2 * len(named)
    for a, b in itertools.combinations(boxes, 2):
        pair = {boxes.index(a) // 2, boxes.index(b) // 2}
        apart = a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1]
        assert apart or len(pair) == 1
    crest = page.crest()
    for left, _, right, bottom in boxes[::2]:
        assert left >= page.left
        assert right <= page.right + 1
        assert crest[int(left) - page.left : int(right) - page.left].min() >= bottom


def test_a_hidden_top_is_not_named():
    behind = Landmark("peak", *cell(1100.0, 0.0), "behind")
    assert "behind" not in draw_panorama(look(), marks=[behind]).named
    assert draw_panorama(look(), marks=[MARKS[0]]).named == (MARKS[0].text,)


def test_a_round_top_is_named_at_its_own_brow():
    """A block with sides of 2 in 1, seen from below: its middle is hidden by its rim, under 200 m before it."""
    north, east = axes(ROWS, COLS, CELL_M)
    inward = 300.0 - np.hypot(north - 500.0, east)
    middle = cell(500.0, 0.0)
    # by hand, the middle against the rim: 0.18 degrees lower under a roof of 0.225 in 1, 2.2 under a level one
    for roof, named in ((0.225, ("top",)), (0.0, ())):
        view = look(np.clip(2.0 * inward, 0.0, np.maximum(200.0 + roof * inward, 0.0)).astype(np.float32))
        toward = view.angles_to(middle)
        assert toward.hidden
        assert 150.0 < toward.brow_m < 220.0
        assert draw_panorama(view, marks=[Landmark("peak", *middle, "top")]).named == named


def test_landmarks_of_a_plan_begin_with_the_named():
    plan = sample_plan()
    place = plan.peaks[0].place
    from pyproj import Transformer

    x, y = Transformer.from_crs("EPSG:4326", "EPSG:32612", always_xy=True).transform(CENTER.lon, CENTER.lat)
    grid = Grid.of(x - 5000.0, y + 5000.0, 20.0, 500, 500, "EPSG:32612")
    found = landmarks(plan, grid, "us")
    assert [mark.text for mark in found] == ["Ölberg Señal 11,520 ft", "Kindling Gap 10,970 ft", "11,350 ft"]
    assert [mark.kind for mark in found] == ["peak", "saddle", "peak"]
    there = grid.lonlat(found[0].row, found[0].col)
    assert there.lon == pytest.approx(place.lon, abs=2e-4)
    assert there.lat == pytest.approx(place.lat, abs=2e-4)
    assert landmarks(plan, grid, "metric")[0].text.endswith(" m")


# --- light, air, colours -------------------------------------------------------------------------------------------


def test_ground_towards_the_light_is_lighter_and_warmer():
    view = look()
    from_east, from_west = (
        dusk.coloured(view, light=(azimuth, 12.0), pockets=None, head=0).astype(float)
        for azimuth in (90.0, 270.0)
    )
    row, col = cell(*TOPS[0][:2])
    east = (np.abs(view.row - row) < 6) & (view.col > col + 3) & (view.col < col + 9)
    west = (np.abs(view.row - row) < 6) & (view.col < col - 3) & (view.col > col - 9)
    assert from_east[east].mean() > from_east[west].mean() + 20
    assert from_west[west].mean() > from_west[east].mean() + 20
    lit, dark = from_east[east].mean(axis=0), from_west[east].mean(axis=0)
    assert lit[0] - lit[2] > dark[0] - dark[2] + 20


def test_far_ground_pales():
    plain = np.zeros((401, 401), np.float32)
    view = look(plain, row=390, col=200, eye_m=60.0, up_from_deg=-20.0, up_to_deg=4.0)
    colour = dusk.coloured(view, light=(110.0, 8.0), pockets=None, head=0).astype(float)
    column = colour[:, 450].mean(axis=1)[view.row[:, 450] >= 0]
    assert column[8] > column[-1] + 40
    # no step upward but the rounding of the table, and no ridge drawn where the ground is one plain
    assert (np.diff(column[8:]) <= 1.0).all()


def test_letters_can_be_read_on_the_sky():
    # WCAG 2.2, 1.4.3: 4.5:1 for text
    sky = dusk._table()[dusk._SKY_FROM : dusk._LAST]
    assert min(contrast(INK, tuple(int(v) for v in one)) for one in sky) >= 4.5
    assert contrast(INK, HALO) >= 4.5
    assert contrast(ANIMAL, HALO) >= 4.5


def test_unknown_ground_is_neither_sky_nor_land():
    ground = GROUND.copy()
    row, col = cell(200.0, 0.0)
    ground[row - 2 : row + 2, col - 10 : col + 10] = np.nan
    view = look(ground)
    colour = dusk.coloured(view, light=(110.0, 8.0), pockets=None, head=0)
    unknown = view.row == -2
    assert unknown.sum() > 200
    assert len(np.unique(colour[unknown], axis=0)) <= 40  # one colour, but for the inked crests before it
    assert tuple(np.median(colour[unknown], axis=0)) == tuple(dusk._table()[dusk._LAST])


# --- sizes ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("width", "height", "text_px"), [(340, 150, 12), (720, 300, 24), (2, 2, 8), (2400, 40, 60)]
)
def test_any_size_is_drawn(width, height, text_px):
    view = look(width=width, height=height)
    strip = draw_panorama(
        view, marks=MARKS, labels=pockets(), pockets=["A", "B", "C"], declination_deg=-8.4, title="Seat", invented=True,
        text_px=text_px,
    )  # fmt: skip
    assert strip.image.mode == "RGB"
    assert strip.image.width >= width
    assert strip.image.height > height
    with Image.open(io.BytesIO(strip.png())) as read:
        assert read.size == strip.image.size
        assert read.tobytes() == strip.image.tobytes()


def test_the_same_view_gives_the_same_bytes():
    given = {"marks": MARKS, "labels": pockets(), "pockets": ["A", "B", "C"], "declination_deg": 3.0}
    assert draw_panorama(look(), **given).png() == draw_panorama(look(), **given).png()


def test_a_picture_for_a_telephone_is_as_wide_as_asked():
    view = look(width=390 - 2 * margin_px(12), height=150)
    strip = draw_panorama(view, marks=MARKS, title="A rather long title for it", invented=True, text_px=12)
    assert strip.image.width == 390
    assert strip.left == margin_px(12)


@pytest.mark.parametrize("text_px", [7, 61])
def test_letters_too_small_or_large(text_px):
    with pytest.raises(BadInput, match=f"letters of {text_px} pixels"):
        draw_panorama(look(), text_px=text_px)


def test_where_no_ground_is_known_around():
    strip = draw_panorama(panorama(np.zeros((1, 1), np.float32), row=0, col=0, cell_m=10.0, eye_m=2.0, convergence_deg=0.0,
        azimuth_from_deg=0.0, azimuth_to_deg=360.0, up_from_deg=-10.0, up_to_deg=10.0, width=90, height=40))  # fmt: skip
    assert strip.image.width > 90
