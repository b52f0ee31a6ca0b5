"""What the server answers about ground, sky and sight is what the program says elsewhere."""

from __future__ import annotations

import base64
import io
import json
import math

import numpy as np
import pytest
import rasterio
from PIL import Image
from rasterio.warp import Resampling, reproject

from graylight.cli.main import main
from graylight.country.folder import Country
from graylight.drawing.ground import LAYERS as LOOKS
from graylight.drawing.hillshade import fill_gaps
from graylight.drawing.overlay import (
    BLOCKED,
    CLEAR,
    OUTSIDE,
    TOUCH_AND_GO,
    facing_tile,
    ramp_tile,
    seen_picture,
)
from graylight.drawing.tile import Cut, Stack, Tile, terrain
from graylight.grid import Grid, LonLat
from graylight.plan.model import NOTHING
from graylight.sight import answers as sight
from tests.unit.page_server import page_over

JSON = {"content-type": "application/json"}


@pytest.fixture(scope="module")
def page(small, tmp_path_factory):
    with page_over(small, tmp_path_factory.mktemp("home")) as served:
        yield served


def tile_at(place: LonLat, z: int) -> Tile:
    """The tile of a place, by the formulas of the web map (EPSG:3857, spherical Mercator)."""
    n = 2**z
    x = (place.lon + 180.0) / 360.0 * n
    y = (1.0 - math.asinh(math.tan(math.radians(place.lat))) / math.pi) / 2.0 * n
    return Tile(z, int(x), int(y))


def picture(answer) -> np.ndarray:
    assert answer.status_code == 200, answer.text
    return np.asarray(Image.open(io.BytesIO(answer.content)).convert("RGBA"))


# --- tiles ------------------------------------------------------------------------------------------------------


def test_the_world_is_one_tile():
    """EPSG:3857's own extent: 20037508.342789244 m (EPSG registry)."""
    assert np.allclose(
        Tile(0, 0, 0).bounds_m,
        (-20037508.342789244, -20037508.342789244, 20037508.342789244, 20037508.342789244),
    )


@pytest.mark.parametrize("z", [10, 12, 14, 16])
def test_tiles_lie_where_gdal_puts_them(z):
    """Against GDAL's warper: a smooth surface cut into a tile differs by no more than a fifth of a pixel's slope."""
    grid = Grid.of(682000.0, 4488000.0, 10.0, 900, 700, "EPSG:32611")
    rows, cols = np.mgrid[:900, :700]
    values = (rows * 1.0 + cols * 2.0).astype(np.float32)
    tile = tile_at(grid.center, z)
    cut = Cut.of(grid, tile)
    ours = np.asarray(Stack(values).cut(cut))
    theirs = np.full((256, 256), np.nan, np.float32)
    west, _, _, north = tile.bounds_m
    step = (tile.bounds_m.east - west) / 256
    reproject(
        values, theirs, src_transform=rasterio.Affine(*grid.transform), src_crs=grid.crs,
        dst_transform=rasterio.Affine(step, 0, west, 0, -step, north), dst_crs="EPSG:3857", dst_nodata=np.nan,
        resampling=Resampling.bilinear,
    )  # fmt: skip
    both = np.isfinite(ours) & np.isfinite(theirs)
    assert both.sum() > 100
    per_pixel = 3.0 * cut.cells_per_pixel
    assert np.abs(ours[both] - theirs[both]).max() < 0.2 * per_pixel + 0.01


def test_neighbouring_tiles_meet():
    grid = Grid.of(682000.0, 4488000.0, 10.0, 900, 700, "EPSG:32611")
    tile = tile_at(grid.center, 13)
    here, east = Cut.of(grid, tile), Cut.of(grid, Tile(13, tile.x + 1, tile.y))
    assert np.allclose(here.quad[[3, 2]], east.quad[[0, 1]])


def test_heights_are_packed_as_the_open_encoding_says(page):
    """height = -10000 + 0.1 (65536 R + 256 G + B), the encoding of terrain tiles."""
    country = page.desk.opened.country
    ground = country.read("elevation")
    tile = tile_at(country.grid.center, 15)
    rgb = picture(page.client.get(f"/api/tiles/terrain/15/{tile.x}/{tile.y}.png"))[..., :3].astype(np.int64)
    height = -10000.0 + 0.1 * (65536 * rgb[..., 0] + 256 * rgb[..., 1] + rgb[..., 2])
    col, row = Cut.of(country.grid, tile).centres()
    last = ground.shape[0] - 1, ground.shape[1] - 1
    there = ground[np.clip(row.astype(int), 0, last[0]), np.clip(col.astype(int), 0, last[1])]
    assert np.abs(height - there).max() < 12.0  # half a cell on 60 degree ground
    assert np.abs(height - there).mean() < 2.0


def test_no_cliff_stands_at_the_countrys_edge(page):
    """A tile far larger than the country holds only heights that the country has."""
    country = page.desk.opened.country
    tile = tile_at(country.grid.center, 9)
    rgb = picture(page.client.get(f"/api/tiles/terrain/9/{tile.x}/{tile.y}.png"))[..., :3].astype(np.int64)
    height = -10000.0 + 0.1 * (65536 * rgb[..., 0] + 256 * rgb[..., 1] + rgb[..., 2])
    ground = country.read("elevation")
    assert height.min() >= np.nanmin(ground) - 0.1
    assert height.max() <= np.nanmax(ground) + 0.1


def heights_of(png: bytes) -> np.ndarray:
    rgb = np.asarray(Image.open(io.BytesIO(png)).convert("RGB")).astype(np.int64)
    return -10000.0 + 0.1 * (65536 * rgb[..., 0] + 256 * rgb[..., 1] + rgb[..., 2])


def test_a_hole_is_level_with_the_ground_about_it():
    grid = Grid.of(682000.0, 4488000.0, 10.0, 90, 70, "EPSG:32611")
    ground = np.full((90, 70), 2400.0, np.float32)
    ground[:, 35:] = 2600.0
    ground[30:50, 20:50] = np.nan
    found = heights_of(terrain(fill_gaps(ground), Cut.of(grid, tile_at(grid.center, 15))))
    assert 2399.9 <= found.min() <= found.max() <= 2600.1
    assert (
        heights_of(
            terrain(fill_gaps(np.full_like(ground, np.nan)), Cut.of(grid, tile_at(grid.center, 15)))
        ).max()
        < 0.1
    )


def test_no_tile_of_heights_holds_a_pit(page):
    """A blank picture would be read as 10,000 m below the sea, by the encoding."""
    lowest = float(np.nanmin(page.desk.opened.country.read("elevation")))
    for at in ("0/0/0", "2/0/0", "2/3/3", "6/40/20", "12/0/4095"):
        answer = page.client.get(f"/api/tiles/terrain/{at}.png")
        assert heights_of(answer.content).min() >= lowest - 0.1, at


def test_every_layer_of_the_state_is_drawn(page):
    state = page.client.get("/api/state").json()
    tile = tile_at(LonLat(*state["country"]["center"]), 13)
    more = {"time": "time=2026-08-27T14:30:00Z", "lookout": f"lookout={page.desk.opened.plan.lookouts[0].id}"}
    names = {layer["name"] for layer in state["layers"]}
    assert {
        "terrain", "imagery", "hillshade", "cover", "slope", "facing", "greenness", "shade", "band", "feed", "beds", "sight",
        "walk", "ownership", "unit",
    } <= names  # fmt: skip
    for layer in state["layers"]:
        if layer["name"] == "watch":
            continue
        address = layer["tiles"].format(z=tile.z, x=tile.x, y=tile.y)
        answer = page.client.get("&".join([address, *(more[key] for key in layer["needs"])]))
        assert picture(answer).shape == (256, 256, 4), layer["name"]
        assert "immutable" in answer.headers["cache-control"]
        for key in layer["needs"]:
            assert page.client.get(address).status_code == 422, f"{layer['name']} without {key}"


def test_a_tile_of_another_version_is_not_kept(page):
    state = page.client.get("/api/state").json()
    tile = tile_at(LonLat(*state["country"]["center"]), 13)
    answer = page.client.get(f"/api/tiles/slope/13/{tile.x}/{tile.y}.png?v=older")
    assert answer.headers["cache-control"] == "no-cache"


@pytest.mark.parametrize("path", ["slope/3/8/0", "slope/23/0/0", "slope/-1/0/0", "slope/3/0/8"])
def test_tiles_off_the_map_are_refused(page, path):
    assert page.client.get(f"/api/tiles/{path}.png").status_code == 422


def test_a_tile_beside_the_country_is_clear(page):
    assert not picture(page.client.get("/api/tiles/slope/13/0/4000.png"))[..., 3].any()


def plain_cut(side: int = 256, rim: int = 0) -> tuple[Grid, Cut]:
    """A grid whose cells are a tile's pixels, one to one."""
    more = float(rim)
    quad = np.array([[-more, -more], [-more, side + more], [side + more, side + more], [side + more, -more]])
    return Grid.of(0.0, 0.0, 10.0, side, side, "EPSG:32611"), Cut(quad, side + 2 * rim)


def drawn(png: bytes) -> np.ndarray:
    return np.asarray(Image.open(io.BytesIO(png)).convert("RGBA")).astype(int)


def test_an_arc_of_facing_keeps_its_colours_and_the_rest_is_dimmed():
    azimuth = np.tile(np.linspace(0.0, 359.0, 256), (256, 1))
    _, cut = plain_cut()
    east, north = (Stack(part(np.radians(azimuth)).astype(np.float32)) for part in (np.sin, np.cos))
    free, picked = (
        drawn(facing_tile(east, north, cut, None)),
        drawn(facing_tile(east, north, cut, (300.0, 60.0))),
    )
    inside = (azimuth[10] >= 303.0) | (azimuth[10] <= 57.0)
    outside = (azimuth[10] > 63.0) & (azimuth[10] < 297.0)
    assert (free[10][inside] == picked[10][inside]).all()
    dim = picked[10][outside]
    assert (dim == dim[0]).all()
    assert not (free[10][outside] == dim).all(axis=1).any()


def test_facing_does_not_jump_at_north():
    """359 and 1 are two degrees apart, so the pixels between them face north, not south."""
    azimuth = np.where(np.arange(256) < 128, 359.0, 1.0)[None, :].repeat(256, 0)
    _, cut = plain_cut()
    half = Cut(cut.quad / 2 + 64, 256)  # two pixels to a cell
    east, north = (Stack(part(np.radians(azimuth)).astype(np.float32)) for part in (np.sin, np.cos))
    row = drawn(facing_tile(east, north, half, None))[128]
    assert np.ptp(row[:, :3], axis=0).max() < 12


def test_lines_lie_where_the_slope_passes_the_walkers_limits():
    slope = np.tile(np.linspace(0.0, 60.0, 256), (256, 1)).astype(np.float32)
    _, cut = plain_cut(rim=1)
    plain = drawn(ramp_tile(Stack(slope), cut, LOOKS["slope"]))
    lined = drawn(ramp_tile(Stack(slope), cut, LOOKS["slope"], lines=[45.0, 35.0]))
    changed = np.flatnonzero((plain[100] != lined[100]).any(axis=1))
    at = slope[100, changed]
    assert [round(float(v)) for v in at] == [35, 45]  # and none where the raster ends


def test_the_answers_are_those_of_sight():
    assert (BLOCKED, TOUCH_AND_GO, CLEAR, OUTSIDE) == (
        sight.BLOCKED,
        sight.TOUCH_AND_GO,
        sight.CLEAR,
        sight.OUTSIDE,
    )


def test_what_is_clear_differs_from_what_is_blocked_and_outside_is_nothing():
    codes = np.repeat(np.array([BLOCKED, TOUCH_AND_GO, CLEAR, OUTSIDE], np.uint8), 16)[None, :].repeat(16, 0)
    image = drawn(seen_picture(codes))
    blocked, touch, clear, outside = (image[:, 16 * i : 16 * i + 16].reshape(-1, 4) for i in range(4))
    assert (outside[:, 3] == 0).all()
    assert len(np.unique(blocked, axis=0)) == len(np.unique(clear, axis=0)) == 1
    assert len(np.unique(touch, axis=0)) == 2  # dots
    assert not (blocked[0] == clear[0]).all()


def test_in_daylight_what_is_blocked_falls_back_toward_white():
    codes = np.full((8, 8), BLOCKED, np.uint8)
    night, day = (drawn(seen_picture(codes, day=light))[0, 0, :3].mean() for light in (False, True))
    assert night < 100
    assert day > 220


# --- places -----------------------------------------------------------------------------------------------------


def lookouts(page):
    return page.desk.opened.plan.lookouts


def test_from_here_sees_what_the_command_looks(page, capsys):
    """The same shares, places and words as `graylight look --json`."""
    place = lookouts(page)[0].place
    lon, lat = place.lon + 0.0004, place.lat - 0.0003
    capsys.readouterr()
    assert (
        main(["look", str(page.desk.opened.country.folder), "--at", f"{lat:.6f}, {lon:.6f}", "--json"]) == 0
    )
    told = json.loads(capsys.readouterr().out)
    found = page.client.get(f"/api/from-here?lon={lon:.6f}&lat={lat:.6f}").json()
    assert found["sees"] == told["sees"]
    assert found["sees"]
    for key in ("place", "slope_deg", "facing_true_deg", "cover"):
        assert found[key] == told[key]
    assert (found["walk_seconds"] or {}).get("likely") == told["walk_seconds"]


def test_the_drag_says_what_from_here_says(page):
    place = lookouts(page)[0].place
    quick = page.client.get(f"/api/sight?lon={place.lon}&lat={place.lat}").json()
    whole = page.client.get(f"/api/from-here?lon={place.lon}&lat={place.lat}").json()
    assert [(one["pocket"], one["share"]) for one in quick["sees"]] == [
        (one["pocket"], one["share"]) for one in whole["sees"]
    ]
    assert quick["picture"]["png"].startswith("data:image/png;base64,")
    (west, north), (east, _), (_, south), _ = quick["picture"]["corners"]
    assert west < place.lon < east
    assert south < place.lat < north


def test_a_line_tells_its_profile(page):
    a, b = lookouts(page)[0].place, page.desk.opened.plan.pockets[0].centre
    found = page.client.get(f"/api/line?from={a.lon},{a.lat}&to={b.lon},{b.lat}").json()
    profile = found["profile"]
    assert len({len(values) for values in profile.values()}) == 1
    assert profile["distance_m"][0] == 0.0
    assert profile["distance_m"][-1] == pytest.approx(found["map_m"], abs=0.11)
    assert found["ground_m"] >= found["map_m"] - 0.1
    assert found["air_m"] >= found["map_m"] - 0.1
    rise = profile["sight_m"][-1] - profile["sight_m"][0]
    assert math.copysign(1.0, rise) == math.copysign(1.0, found["angle_deg"]) or abs(found["angle_deg"]) < 0.5
    assert found["words"]


def test_the_strip_names_the_pockets_that_the_shares_name_whatever_its_width(page):
    place = lookouts(page)[0].place
    at = f"lon={place.lon}&lat={place.lat}"
    sees = page.client.get(f"/api/from-here?{at}").json()["sees"]
    told = {one["pocket"] for one in sees if one["share"]["high"] >= NOTHING}
    for width in (400, 900, 1040):
        strip = page.client.get(f"/api/horizon?{at}&width={width}").json()
        assert {one["pocket"] for one in strip["pockets"]} <= told
        dark = {one["pocket"] for one in sees} - told
        assert dark <= set(strip["hidden"])


def test_the_horizon_points_at_the_ground(page):
    """A named top is found again behind its own pixel, within what a pixel spans."""
    place = lookouts(page)[0].place
    strip = page.client.get(f"/api/horizon?lon={place.lon}&lat={place.lat}&width=900").json()
    image = Image.open(io.BytesIO(base64.b64decode(strip["picture"].split(",")[1])))
    assert image.size == (strip["width"], strip["height"]) == (900, strip["height"])
    near = [mark for mark in strip["marks"] if mark["kind"] == "peak"]
    assert near
    for mark in near[:3]:
        x = strip["left"] + mark["bearing_deg"] / 360.0 * strip["view_width"]
        assert abs(x - mark["x"]) < 1.5
        below = page.client.get(
            f"/api/horizon/ground?lon={place.lon}&lat={place.lat}&width=900&x={mark['x']}&y={mark['y'] + 1.5}"
        ).json()
        assert not below["sky"]
        assert abs((below["bearing_true_deg"] - mark["bearing_deg"] + 180) % 360 - 180) < 1.5
    assert len(strip["skyline"]) == strip["view_width"]
    for column in range(5, strip["view_width"], 97):
        edge = strip["skyline"][column]
        for row, sky in ((edge, False), (edge - 1, True)):
            if 0 <= row < strip["view_height"]:
                at = f"x={strip['left'] + column}&y={strip['top'] + row}"
                found = page.client.get(
                    f"/api/horizon/ground?lon={place.lon}&lat={place.lat}&width=900&{at}"
                ).json()
                assert found["sky"] is sky, (column, row)
    out = page.client.get(
        f"/api/horizon/ground?lon={place.lon}&lat={place.lat}&width=900&x=450&y=9999"
    ).json()
    assert out == {
        "sky": True,
        "lon": None,
        "lat": None,
        "height_m": None,
        "distance_m": None,
        "bearing_true_deg": None,
    }


def test_the_day_is_whole_and_ordered(page):
    place = lookouts(page)[0].place
    day = page.client.get(f"/api/day?lon={place.lon}&lat={place.lat}&date=2026-08-27").json()
    assert day["bands"][0]["begin"] == day["begin"]
    assert day["bands"][-1]["until"] == day["until"]
    for one, after in zip(day["bands"], day["bands"][1:], strict=False):
        assert one["until"] == after["begin"]
        assert one["kind"] != after["kind"]
    kinds = [one["kind"] for one in day["bands"]]
    assert kinds[0] == kinds[-1] == "night"
    assert "sun" in kinds
    times = [one["time"] for one in day["moments"]]
    assert times == sorted(times)
    assert {"usable from", "legal from", "sunrise", "sunset"} <= {one["kind"] for one in day["moments"]}


def test_the_sun_rises_by_the_plan_and_later_on_the_ground(page):
    """The almanac's sunrise is that of the plan; the ground's first sun is never before it (bent light: to two minutes)."""
    place = lookouts(page)[0].place
    day = page.client.get(
        f"/api/day?lon={place.lon}&lat={place.lat}&date={page.desk.opened.plan.light.date}"
    ).json()
    when = {one["kind"]: one["time"] for one in day["moments"]}
    assert when["sunrise"] == page.desk.opened.plan.light.model_dump(mode="json")["sunrise"]
    assert when["first sun here"][:16] >= when["sunrise"][:14]


def test_a_morning_is_the_commands(page, capsys):
    name = lookouts(page)[0].id
    capsys.readouterr()
    code = main(
        ["morning", str(page.desk.opened.country.folder), "--lookout", name, "--wind", "SW 8mph", "--json"]
    )
    told = capsys.readouterr().out
    answer = page.client.get("/api/morning", params={"lookout": name, "wind": "SW 8mph"})
    if code != 0:
        assert answer.status_code == 422
        return
    found = answer.json()
    assert found["morning"] == json.loads(told)
    assert found["notes"][0]["heading"] == "This morning"


def test_marks_are_watched_and_drawn(page):
    spot = page.desk.opened.plan.pockets[0].feed[0]
    answer = page.client.post(
        "/api/watch", content=json.dumps({"targets": [spot.id], "within_m": 1500}), headers=JSON
    )
    told = answer.json()
    assert told["watch"]["marks"][0]["name"] == spot.id
    assert told["notes"]
    tile = tile_at(LonLat(spot.place.lon, spot.place.lat), 12)
    shown = picture(page.client.get(told["tiles"].format(z=12, x=tile.x, y=tile.y)))
    assert shown[..., 3].any() == (told["watch"]["all_m2"] > 0)


def test_contours_are_forty_feet_apart_and_every_fifth_is_heavy(page):
    found = page.client.get("/api/contours?level=2").json()["features"]
    heights = {(one["properties"]["height_m"], one["properties"]["index"]) for one in found}
    steps = sorted({round(height / 0.3048 / 40.0, 2) for height, _ in heights})
    assert all(abs(step - round(step)) < 0.02 for step in steps)
    for height, index in heights:
        assert index == (round(height / 0.3048 / 40.0) % 5 == 0)
    west, south, east, north = page.client.get("/api/state").json()["country"]["bounds"]
    at = np.array([point for one in found for point in one["geometry"]["coordinates"]])
    assert (at >= (west, south)).all()
    assert (at <= (east, north)).all()


def test_features_are_those_of_the_package(page):
    found = page.client.get("/api/features").json()["features"]
    country = page.desk.opened.country
    for table in ("roads", "streams", "ownership"):
        assert sum(one["properties"]["table"] == table for one in found) == len(country.features(table))


def test_the_plan_is_the_kept_one(page):
    assert page.client.get("/api/plan").text == (
        page.desk.opened.country.folder / "plan" / "plan.json"
    ).read_text("utf-8")


def test_notes_are_the_plan_told(page):
    from graylight.telling.plan import tell_plan

    notes = page.client.get("/api/notes").json()
    told = tell_plan(page.desk.opened.plan, "us")
    assert [one["sentences"] for one in notes] == [one.sentences for one in told]
    assert any(one["about"] for one in notes)


@pytest.mark.parametrize(
    "path",
    ["from-here?lon=0&lat=0", "sight?lon=nan&lat=40", "sight?lon=inf&lat=40", "day?lon=1e400&lat=1", "line?from=1,2&to=x",
     "line?from=200,2&to=1,1", "horizon?lon=-114.8&lat=40.45&width=10", "morning?lookout=L99", "morning?lookout=L1&wind=blue",
     "day?lon=-114.82&lat=40.45&date=2026-02-30", "contours?level=3", "from-here?lon=-114.8"],
)  # fmt: skip
def test_what_cant_be_used_is_refused_in_words(page, path):
    answer = page.client.get(f"/api/{path}")
    assert answer.status_code == 422
    assert len(answer.json()["detail"]) > 10


# --- before a plan ----------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def unplanned(small, tmp_path_factory):
    """The same country, as it is right after it was made; its plan job is held back."""
    import shutil

    from graylight.server.desk import Desk

    home = tmp_path_factory.mktemp("bare")
    shutil.copytree(small, home / "country")
    shutil.rmtree(home / "country" / "plan")
    brought = {fact.name for fact in Country.open(small).facts}
    for path in (home / "country" / "layers").glob("*.tif"):
        if path.stem not in brought:
            path.unlink()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Desk, "plan", lambda _: None)
        with page_over(None, home) as served:
            served.desk.open(home / "country")
            yield served


def test_the_page_works_before_any_plan(unplanned):
    state = unplanned.client.get("/api/state").json()
    assert state["planned"] is None
    names = {layer["name"] for layer in state["layers"]}
    assert {"terrain", "hillshade", "slope", "facing", "shade", "imagery"} <= names
    assert not {"feed", "sight", "walk"} & names
    lon, lat = state["country"]["center"]
    here = unplanned.client.get(f"/api/from-here?lon={lon}&lat={lat}").json()
    assert here["sees"] == []
    assert here["slope_deg"] is not None
    assert unplanned.client.get(f"/api/day?lon={lon}&lat={lat}").status_code == 200
    for path in (
        "plan",
        "notes",
        f"sight?lon={lon}&lat={lat}",
        f"horizon?lon={lon}&lat={lat}",
        "morning?lookout=L1",
    ):
        assert unplanned.client.get(f"/api/{path}").status_code == 409, path


def test_slope_before_a_plan_is_the_plans_own(unplanned, page):
    state = page.client.get("/api/state").json()
    tile = tile_at(LonLat(*state["country"]["center"]), 14)
    for layer in ("slope", "facing"):
        path = f"/api/tiles/{layer}/14/{tile.x}/{tile.y}.png"
        assert (picture(unplanned.client.get(path)) == picture(page.client.get(path))).all()


def test_without_a_country_the_page_is_told(tmp_path):
    with page_over(None, tmp_path) as served:
        assert served.client.get("/api/state").status_code == 404
        assert served.client.get("/api/countries").json() == []
        assert served.client.get("/").status_code == 200


def test_what_is_kept_is_bounded_by_the_memory_allowed(small):
    """A country sixteen times as wide keeps two looks, not 24."""
    from dataclasses import replace

    from graylight.server.opened import LOOKS, Opened

    country = Country.open(small)
    assert Opened(country)._looks._most == LOOKS
    grid = replace(country.grid, rows=country.grid.rows * 16, cols=country.grid.cols * 16)
    wide = replace(country.with_settings(memory_gb=0.5), grid=grid)
    assert Opened(wide, plan=Opened(country).plan)._looks._most == 2


def test_level_ground_faces_nowhere():
    """Without an arc it is clear; with one it is dimmed like all that was not picked; unknown ground is clear."""
    _, cut = plain_cut()
    east, north = np.zeros((256, 256), np.float32), np.zeros((256, 256), np.float32)
    north[:, 100:] = 1.0
    east[:, 200:] = north[:, 200:] = np.nan
    free = drawn(facing_tile(Stack(east), Stack(north), cut, None))[50]
    picked = drawn(facing_tile(Stack(east), Stack(north), cut, (90.0, 270.0)))[50]
    assert (free[10, 3], free[150, 3], free[230, 3]) == (0, 255, 0)
    assert (picked[10] == picked[150]).all()
    assert picked[10, 3] > 0
    assert picked[230, 3] == 0


def test_cover_has_only_the_colours_of_its_key(page):
    state = page.client.get("/api/state").json()
    layer = next(one for one in state["layers"] if one["name"] == "cover")
    tile = tile_at(LonLat(*state["country"]["center"]), 14)
    shown = picture(page.client.get(layer["tiles"].format(z=14, x=tile.x, y=tile.y)))
    found = {
        "#{:02x}{:02x}{:02x}".format(*map(int, colour[:3]))
        for colour in np.unique(shown.reshape(-1, 4), axis=0)
        if colour[3]
    }
    assert found
    assert found <= {one["colour"] for one in layer["legend"]}
