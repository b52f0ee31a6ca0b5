"""The packet on paper: read by pikepdf, poppler and GDAL, measured on the rendered page, looked at for cut-off text."""

from __future__ import annotations

import io
import json
import re
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pikepdf
import pytest
from PIL import Image
from pyproj import Transformer

from graylight.cli.main import main
from graylight.country.folder import Country
from graylight.grid import LonLat, azimuth_deg, distance_m
from graylight.packet.asked import understood
from graylight.packet.contents import gathered
from graylight.packet.document import set_pages
from graylight.packet.georeference import georeferenced, single_maps
from graylight.packet.words import places_of, ranges_of, sections, sit_told
from graylight.plan.keeping import kept_plan
from graylight.telling.paragraph import Paragraph
from tests.unit.packet_reading import needs_gdal, needs_poppler, pages_of, said_by, words_of

POINTS_PER_MM = 72 / 25.4
TITLE = "a title"


@pytest.fixture(scope="module")
def contents(small, tmp_path_factory):
    folder = tmp_path_factory.mktemp("paper") / "country"
    shutil.copytree(small, folder)
    country = Country.open(folder)
    plan = kept_plan(country)
    country = country.with_settings(animal=plan.animal, date=plan.light.date.isoformat())
    return gathered(country, plan, understood(plan, lookouts=",".join(one.id for one in plan.lookouts[:2])))


@pytest.fixture(scope="module")
def pages(contents):
    return set_pages(contents, "letter")


@pytest.fixture(scope="module")
def sheets(contents):
    return {"overview": contents.whole.sheet, **{sit.lookout.id: sit.map.sheet for sit in contents.sits}}


@pytest.fixture(scope="module")
def letter(pages, sheets, tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("pdf") / "letter.pdf"
    path.write_bytes(georeferenced(pages, sheets, title=TITLE))
    return path


def test_pikepdf_finds_a_sound_file_of_the_right_paper(letter, contents):
    with pikepdf.open(letter) as read:
        assert read.check_pdf_syntax() == []
        sizes = {tuple(sorted(round(float(v)) for v in page.mediabox[2:])) for page in read.pages}
        assert sizes == {(612, 792)}  # US Letter, points
        assert str(read.docinfo["/Title"]) == TITLE
        assert "/CreationDate" not in read.docinfo
        assert len(read.pages) >= 1 + 2 * len(contents.sits) + 4


@pytest.mark.parametrize("times", [4, 12])
def test_a_lookout_that_much_is_said_of_still_stands_on_one_page(contents, letter, times):
    """Its letters, and then its pictures, grow smaller; a page more would put the map on the wrong side of the sheet."""
    sit = contents.sits[0]
    longer = sit.morning.model_copy(
        update={"near": sit.morning.near[:1] * times, "options": sit.morning.options * times}
    )
    told = replace(contents, sits=(replace(sit, morning=longer), *contents.sits[1:]))
    with pikepdf.open(letter) as plain, pikepdf.open(io.BytesIO(set_pages(told, "letter").pdf)) as read:
        assert len(read.pages) == len(plain.pages)


def test_a4_is_a4(contents):
    with pikepdf.open(io.BytesIO(set_pages(contents, "a4").pdf)) as read:
        sizes = {tuple(sorted(round(float(v)) for v in page.mediabox[2:])) for page in read.pages}
    assert sizes == {(595, 842)}  # ISO 216 A4, points


def test_the_same_contents_give_the_same_bytes(contents, sheets, letter):
    again = georeferenced(set_pages(contents, "letter"), sheets, title=TITLE)
    assert again == letter.read_bytes()


@needs_poppler
def test_all_letters_are_in_the_file(letter):
    rows = said_by("pdffonts", letter).splitlines()[2:]
    assert rows
    for row in rows:
        emb, _, uni = row.split()[-5:-2]
        assert (emb, uni) == ("yes", "yes"), row
        assert "Barlow" in row


@needs_poppler
def test_poppler_counts_the_pages_and_has_nothing_to_say(letter):
    import subprocess

    with pikepdf.open(letter) as read:
        assert pages_of(letter) == len(read.pages)
    done = subprocess.run(
        ["pdftoppm", "-r", "20", str(letter), "/dev/null"], capture_output=True, text=True, check=False
    )
    assert "Syntax" not in done.stderr


@needs_poppler
@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_no_word_runs_off_its_page(contents, sheets, tmp_path, paper):
    path = tmp_path / "one.pdf"
    path.write_bytes(georeferenced(set_pages(contents, paper), sheets, title=TITLE))
    with pikepdf.open(path) as read:
        sizes = [tuple(float(v) for v in page.mediabox[2:]) for page in read.pages]
    on_map = {one.page for one in set_pages(contents, paper).maps}
    for number, (wide, high) in enumerate(sizes, 1):
        for left, top, right, bottom, word in words_of(path, number):
            # letters of the map itself are cut at its edge by its own clip: the page's are not
            assert right <= wide - 10 or number in on_map, (number, word)
            assert left >= 10 or number in on_map, (number, word)
            assert top >= 8 or number in on_map, (number, word)
            assert bottom <= high - 8 or number in on_map, (number, word)


@needs_poppler
def test_no_two_words_of_a_text_page_lie_on_one_another(letter, pages):
    on_map = {one.page for one in pages.maps}
    for number in range(1, pages_of(letter) + 1):
        if number in on_map:
            continue
        words = [w for w in words_of(letter, number) if len(w[4]) > 1]
        boxes = np.array([w[:4] for w in words])
        for i, (left, top, right, bottom) in enumerate(boxes):
            over_x = np.minimum(boxes[:, 2], right) - np.maximum(boxes[:, 0], left)
            over_y = np.minimum(boxes[:, 3], bottom) - np.maximum(boxes[:, 1], top)
            high = bottom - top
            # poppler's boxes are as high as the line: neighbours' may touch by a little
            met = np.flatnonzero((over_x > 1.0) & (over_y > 0.45 * high))
            others = [words[j][4] for j in met if j != i]
            assert not others, (number, words[i][4], others)


@needs_poppler
def test_what_has_to_be_on_paper_is_there(letter, contents):
    text = " ".join(said_by("pdftotext", "-layout", letter, "-").split())
    seat = contents.sits[0].lookout
    for form in ("degrees", "minutes", "utm", "usng"):
        place = next(row for row in places_of(contents) if row["name"] == f"Lookout {seat.id}")[form]
        assert place in text, form
    for words in (
        "WGS 84", "Turn round.", "By the clock", "Range card", "Pack-out", "Trip plan", "overdue", "call: sheriff",
        "Take care, and check", "checked on", "Made of", "World Magnetic Model", "declination", "1:24,000", "mile", "km",
        "The way in", "If the wind is otherwise", "Nothing here says that a place is legal or safe", "hydrant",
    ):  # fmt: skip
        assert (words.lower() in text.lower()) == (words not in ("hydrant",)), words


# --- scale, measured on the rendered page ----------------------------------------------------------------------------


def rendered(pdf: Path, page: int, dpi: int, tmp_path: Path) -> np.ndarray:
    said_by("pdftoppm", "-r", str(dpi), "-f", str(page), "-l", str(page), "-gray", pdf, tmp_path / "page")
    (found,) = tmp_path.glob("page*.pgm")
    return np.asarray(Image.open(found), dtype=np.int16)


@needs_poppler
def test_a_kilometre_of_the_map_is_the_right_number_of_millimetres_on_the_page(
    letter, pages, sheets, tmp_path
):
    """Measured between the map's frame lines and between ticks of the UTM grid, in pixels of poppler's picture."""
    dpi = 300
    place = next(one for one in pages.maps if one.name != "overview")
    sheet = sheets[place.name]
    grey = rendered(letter, place.page, dpi, tmp_path)
    per_mm = dpi / 25.4
    wide, high = sheet.size_mm

    # the frame: the dark columns beside the map's middle
    band = grey[round((place.y_mm + high / 2) * per_mm) - 60 : round((place.y_mm + high / 2) * per_mm) + 60]
    dark = np.flatnonzero((band < 110).mean(axis=0) > 0.95)
    left = dark[np.abs(dark - place.x_mm * per_mm) < 12].mean()
    right = dark[np.abs(dark - (place.x_mm + wide) * per_mm) < 12].mean()
    measured_mm = (right - left) / per_mm
    metres = sheet.frame.box.east - sheet.frame.box.west
    assert measured_mm / (metres / 1000.0) == pytest.approx(1e6 / sheet.scale, rel=0.005)

    # the ticks above the map stand a kilometre apart
    strip = grey[round((place.y_mm - 1.3) * per_mm) : round((place.y_mm - 0.5) * per_mm)]
    cols = np.flatnonzero((strip < 128).all(axis=0))
    ticks = [group.mean() for group in np.split(cols, np.flatnonzero(np.diff(cols) > 3) + 1)]
    apart_mm = np.diff(ticks) / per_mm
    assert len(apart_mm) >= 2
    assert apart_mm == pytest.approx(1e6 / sheet.scale, rel=0.005)


@needs_poppler
def test_the_grid_drawn_on_the_map_meets_the_ticks_beside_it(letter, pages, sheets, tmp_path):
    """Ticks belong to the page, grid lines to the picture on it: where they meet, the picture has the page's scale."""
    dpi = 300
    place = next(one for one in pages.maps if one.name != "overview")
    sheet = sheets[place.name]
    grey = rendered(letter, place.page, dpi, tmp_path)
    per_mm = dpi / 25.4
    wide, high = sheet.size_mm
    body = grey[round((place.y_mm + 3) * per_mm) : round((place.y_mm + high - 3) * per_mm)]
    # a line through the whole map darkens the median of its column
    column = np.median(body, axis=0)
    met = 0
    box = sheet.frame.box
    for east in np.arange(np.ceil(box.west / 1000), np.floor(box.east / 1000) + 1) * 1000:
        mm = place.x_mm + (east - box.west) / sheet.metres_per_mm
        if not place.x_mm + 3 < mm < place.x_mm + wide - 3:
            continue
        near = column[round(mm * per_mm) - 15 : round(mm * per_mm) + 16]
        assert near.min() < np.median(near) - 15, east
        assert abs(int(near.argmin()) - 15) <= 2, east
        met += 1
    assert met >= 3


@needs_poppler
def test_the_scale_bars_are_as_long_as_they_say(letter, pages, sheets, contents, tmp_path):
    dpi = 300
    place = next(one for one in pages.maps if one.name != "overview")
    sit = next(sit for sit in contents.sits if sit.lookout.id == place.name)
    grey = rendered(letter, place.page, dpi, tmp_path)
    per_mm = dpi / 25.4
    lengths = {"mile": 1609.344, "miles": 1609.344, "km": 1000.0, "feet": 0.3048}
    below = grey[round((place.y_mm + sit.map.sheet.size_mm[1] + 6) * per_mm) :, : round(100 * per_mm)]
    rows = np.flatnonzero((below < 100).sum(axis=1) > 10 * per_mm)
    tops = [group[0] for group in np.split(rows, np.flatnonzero(np.diff(rows) > 8) + 1)]
    found_mm = []
    for top in tops:
        line = np.flatnonzero(below[top] < 128)
        run = max(np.split(line, np.flatnonzero(np.diff(line) > 2) + 1), key=len)
        found_mm.append(len(run) / per_mm)
    for bar in sit.map.told()["bars"]:
        metres = (
            float(bar["whole"].replace(",", "").replace("½", "0.5").replace("¼", "0.25"))
            * lengths[bar["name"]]
        )
        right_mm = metres / sit.map.sheet.metres_per_mm
        assert bar["mm"] == pytest.approx(right_mm, rel=1e-4)
        assert min(abs(one - right_mm) for one in found_mm) < max(0.005 * right_mm, 0.35), (bar, found_mm)


# --- where the maps lie ----------------------------------------------------------------------------------------------


def test_every_map_page_has_a_viewport_on_its_map(letter, pages, sheets):
    with pikepdf.open(letter) as read:
        marked = {i for i, page in enumerate(read.pages, 1) if "/VP" in page.obj}
        assert marked == {one.page for one in pages.maps}
        for one in pages.maps:
            page = read.pages[one.page - 1]
            (view,) = page.obj["/VP"]
            left, bottom, right, top = (float(v) for v in view.BBox)
            wide, high = sheets[one.name].size_mm
            assert right - left == pytest.approx(wide * POINTS_PER_MM, abs=0.01)
            assert top - bottom == pytest.approx(high * POINTS_PER_MM, abs=0.01)
            assert float(page.mediabox[3]) - top == pytest.approx(one.y_mm * POINTS_PER_MM, abs=0.01)
            assert str(view.Measure.Subtype) == "/GEO"


def control_points(sheet) -> list[tuple[float, float]]:
    """Three places on a map: easting and northing."""
    box = sheet.frame.box
    wide, high = box.east - box.west, box.north - box.south
    return [(box.west + a * wide, box.south + b * high) for a, b in ((0.1, 0.15), (0.85, 0.3), (0.4, 0.9))]


@needs_gdal
def test_gdal_places_three_points_within_a_cell(letter, pages, sheets, contents):
    """Truth: where the point lies on the paper by scale and frame; GDAL: its own reading of the measure dictionary."""
    for one in pages.maps:
        sheet = sheets[one.name]
        told = json.loads(said_by("gdalinfo", "-json", f"PDF:{one.page}:{letter}"))
        assert (
            f'ID["EPSG",{sheet.frame.grid.crs.removeprefix("EPSG:")}]'
            in told["coordinateSystem"]["wkt"].splitlines()[-1]
        )
        west, px, _, north, _, py = told["geoTransform"]
        wide_px, high_px = told["size"]
        with pikepdf.open(letter) as read:
            page_mm = [float(v) / POINTS_PER_MM for v in read.pages[one.page - 1].mediabox[2:]]
        for east, up in control_points(sheet):
            x_mm = one.x_mm + (east - sheet.frame.box.west) / sheet.metres_per_mm
            y_mm = one.y_mm + (sheet.frame.box.north - up) / sheet.metres_per_mm
            by_gdal = west + px * x_mm / page_mm[0] * wide_px, north + py * y_mm / page_mm[1] * high_px
            assert np.hypot(by_gdal[0] - east, by_gdal[1] - up) < contents.country.grid.cell_m


@needs_gdal
def test_each_single_map_is_placed_by_gdal(letter, pages, sheets, tmp_path):
    for name, data in single_maps(letter.read_bytes(), pages.maps, title=TITLE).items():
        path = tmp_path / f"{name}.pdf"
        path.write_bytes(data)
        with pikepdf.open(path) as read:
            assert len(read.pages) == 1
            assert read.check_pdf_syntax() == []
        ring = re.findall(
            r"-?[\d.]+ -?[\d.]+", re.search(r"NEATLINE=POLYGON \(\((.*?)\)\)", said_by("gdalinfo", path))[1]
        )
        corners = np.array([one.split() for one in ring], dtype=float)
        box = sheets[name].frame.box
        assert [*corners.min(axis=0), *corners.max(axis=0)] == pytest.approx(
            [box.west, box.south, box.east, box.north], abs=0.01
        )


def test_degrees_of_the_viewport_are_those_of_its_corners(letter, pages, sheets):
    """Without GDAL: PROJ on the corners of the box."""
    turn = Transformer.from_crs(contents_crs(sheets), "EPSG:4326")
    with pikepdf.open(letter) as read:
        for one in pages.maps:
            box = sheets[one.name].frame.box
            found = [float(v) for v in read.pages[one.page - 1].obj["/VP"][0].Measure.GPTS]
            right = [
                *turn.transform(box.west, box.south), *turn.transform(box.west, box.north),
                *turn.transform(box.east, box.north), *turn.transform(box.east, box.south),
            ]  # fmt: skip
            assert found == pytest.approx(right, abs=1e-9)


def contents_crs(sheets) -> str:
    return sheets["overview"].frame.grid.crs


# --- what is said ----------------------------------------------------------------------------------------------------


def test_paragraphs_become_sections_with_their_lines():
    told = [
        Paragraph("First", ["One.", "Two."]), Paragraph("05:00", ["Leave."], run_in=True, close=True),
        Paragraph("Second", ["Three."]),
    ]  # fmt: skip
    first, second = sections(told)
    assert first.told() == {"heading": "First", "text": "One. Two.", "rows": [["05:00", "Leave."]]}
    assert second.told() == {"heading": "Second", "text": "Three.", "rows": []}


def test_the_range_card_is_true_to_the_ellipsoid(contents):
    """Distances and bearings against the geodesic from the lookout to each place of the plan."""
    places = {
        spot.id: LonLat(spot.place.lon, spot.place.lat)
        for pocket in contents.plan.pockets
        for spot in (*pocket.feed, *pocket.beds, *pocket.crossings)
    }
    rows = 0
    for sit in contents.sits:
        here = LonLat(sit.lookout.place.lon, sit.lookout.place.lat)
        card = ranges_of(sit, contents)
        for row in card["rows"]:
            there = places[row["id"]]
            yards = float(row["distance"].removesuffix(" yd").replace(",", ""))
            assert yards * 0.9144 == pytest.approx(distance_m(here, there), abs=0.011 * yards + 10)
            turn = (float(row["true"].removesuffix("°")) - azimuth_deg(here, there) + 180) % 360 - 180
            assert abs(turn) < 0.8
            east = contents.plan.light.declination_deg
            magnetic = (
                float(row["magnetic"].removesuffix("°")) + east - azimuth_deg(here, there) + 180
            ) % 360 - 180
            assert abs(magnetic) < 0.8
            rows += 1
        assert all(0.0 <= dot["part"] <= 1.0 for dot in card["dots"])
    assert rows > 5


def test_names_of_dots_do_not_lie_on_one_another(contents):
    for sit in contents.sits:
        boxes = []
        for dot in ranges_of(sit, contents)["dots"]:
            if dot["label"] is None:
                continue
            turn, far = np.radians(dot["true_deg"]), 28.0 * dot["part"]
            left = far * np.sin(turn) + dot["label"][0] + (0.0 if dot["label"][2] == "left" else 3.0)
            top = -far * np.cos(turn) + dot["label"][1]
            boxes.append((left, top, left + 6.0, top + 2.4))
        for i, a in enumerate(boxes):
            for b in boxes[:i]:
                assert a[0] >= b[2] or a[2] <= b[0] or a[1] >= b[3] or a[3] <= b[1]


def test_a_lookout_says_what_it_cannot_see_and_when_to_turn_round(contents):
    told = sit_told(contents.sits[0], contents)
    assert told["hides"] == [words[0].upper() + words[1:] + "." for words in contents.sits[0].lookout.hides]
    assert "turn round by" in told["turn"]
    assert told["times"][0][0] == "leave by"


def test_bars_stand_at_their_hours(contents):
    """The hours written below the band are the measure: each bar begins and ends where they say."""
    import datetime as dt
    import xml.etree.ElementTree as ET
    from zoneinfo import ZoneInfo

    from graylight.drawing.palettes import LIGHT, hex_of
    from graylight.packet.band import draw_band

    told = contents.sits[0].morning
    root = ET.fromstring(draw_band(told))
    texts = [(float(t.get("x")), t.text) for t in root.iter("{http://www.w3.org/2000/svg}text")]
    hours = [(x, int(words[:2])) for x, words in texts if re.fullmatch(r"\d\d:00", words)]
    assert len(hours) >= 3
    (x0, h0), (x1, h1) = hours[0], hours[-1]
    zone = ZoneInfo(told.timezone)

    def at(when: dt.datetime) -> float:
        local = when.astimezone(zone)
        return x0 + (local.hour + local.minute / 60 + local.second / 3600 - h0) * (x1 - x0) / (h1 - h0)

    bars = [
        (float(r.get("x")), float(r.get("x")) + float(r.get("width")))
        for r in root.iter("{http://www.w3.org/2000/svg}rect")
        if r.get("fill") == hex_of(LIGHT)
    ]
    lasting = [one for one in told.timeline if one.until is not None and not one.rule_of_thumb]
    assert len(bars) == len(lasting) > 0
    for one in lasting:
        ends = at(one.at), at(one.until)
        assert min(abs(a - ends[0]) + abs(b - ends[1]) for a, b in bars) < 3.0, one.kind


def test_a_morning_without_moments_has_no_band(contents):
    from graylight.packet.band import draw_band

    assert draw_band(contents.sits[0].morning.model_copy(update={"timeline": []})) is None


# --- plans that are not like others ----------------------------------------------------------------------------------


def packet_of(country: Country, plan, tmp_path: Path, **asked) -> Path:
    """Pages of a changed plan, as a file."""
    country = country.with_settings(animal=plan.animal, date=plan.light.date.isoformat())
    found = gathered(country, plan, understood(plan, **asked))
    sheets = {"overview": found.whole.sheet, **{sit.lookout.id: sit.map.sheet for sit in found.sits}}
    path = tmp_path / "changed.pdf"
    path.write_bytes(georeferenced(set_pages(found, "letter"), sheets, title=TITLE))
    with pikepdf.open(path) as read:
        assert read.check_pdf_syntax() == []
    return path


def text_of(path: Path) -> str:
    return " ".join(said_by("pdftotext", path, "-").split()) if shutil.which("pdftotext") else ""


def test_no_lookouts(contents, tmp_path):
    bare = contents.plan.model_copy(update={"lookouts": [], "sets": [], "approaches": []})
    path = packet_of(contents.country, bare, tmp_path)
    with pikepdf.open(path) as read:
        assert len(read.pages) >= 5
    assert not text_of(path) or "No place to sit was found" in text_of(path)


LONG = "Ciénaga de los Señores Żółkiewscy-Ångström y la Muy Larga Cuenca del Norte"


def forty(plan):
    """Forty pockets with long names and accents, all seen from every lookout."""
    pockets = [
        plan.pockets[i % len(plan.pockets)].model_copy(
            update={"id": f"P{i + 1}", "rank": i + 1, "name": f"{LONG} {i + 1}"}
        )
        for i in range(40)
    ]
    seats = [
        seat.model_copy(
            update={
                "sees": [
                    seat.sees[i % len(seat.sees)].model_copy(update={"pocket": f"P{i + 1}"})
                    for i in range(40)
                ]
            }
        )
        for seat in plan.lookouts
    ]
    ways = [
        way.model_copy(
            update={"start": way.start.model_copy(update={"name": f'<{LONG}> & "Trailhead" #1 $x_2$ *a* @b'})}
        )
        for way in plan.approaches
    ]
    country = plan.country.model_copy(update={"name": f"{LONG}, {LONG}"})
    return plan.model_copy(
        update={"pockets": pockets, "lookouts": seats, "approaches": ways, "country": country}
    )


@needs_poppler
def test_forty_pockets_with_long_names_accents_and_signs(contents, tmp_path):
    kept = kept_plan(contents.country)
    path = packet_of(contents.country, forty(kept), tmp_path, lookouts=kept.lookouts[0].id)
    text = text_of(path)
    assert f"{LONG} 40" in text
    assert '& "Trailhead" #1 $x_2$ *a* @b' in text  # no sign is taken for a command of the page setter
    with pikepdf.open(path) as read:
        sizes = [tuple(float(v) for v in page.mediabox[2:]) for page in read.pages]
        on_map = {i for i, page in enumerate(read.pages, 1) if "/VP" in page.obj}
    assert len(on_map) == 2
    for number in on_map:
        assert "1:" in said_by(
            "pdftotext", "-f", str(number), "-l", str(number), path, "-"
        )  # its foot is on the same page
    for number, (wide, high) in enumerate(sizes, 1):
        if number not in on_map:
            for left, top, right, bottom, word in words_of(path, number):
                assert left >= 10 and right <= wide - 10 and top >= 8 and bottom <= high - 8, (number, word)  # noqa: PT018


def test_elevation_alone_no_ownership_no_ways(sources, box, tmp_path):
    folder = tmp_path / "bare"
    assert main(["new", str(folder), "--elevation", str(sources["elevation"]), "--bounds", *box]) == 0
    assert main(["plan", str(folder)]) == 0
    country = Country.open(folder)
    plan = kept_plan(country)
    assert not plan.approaches
    text = text_of(
        packet_of(country, plan, tmp_path, lookouts=plan.lookouts[0].id if plan.lookouts else None)
    )
    assert not text or "no ownership layer" in text.lower()
    assert not text or "Not known: no start is known" in text


def test_a_date_without_a_morning_is_told_on_its_page(tmp_path):
    """Svalbard at midwinter: no usable light begins."""
    import rasterio
    from rasterio.transform import from_origin

    y, x = np.mgrid[:90, :100] * 30.0
    z = 500 + 400 * np.exp(-(((y - 1350) / 500) ** 2)) * (1 + 0.5 * np.sin(x / 400)) + 60 * np.sin(y / 200)
    path = tmp_path / "north.tif"
    frame = {
        "driver": "GTiff",
        "width": 100,
        "height": 90,
        "count": 1,
        "dtype": "float32",
        "crs": "EPSG:32633",
    }
    with rasterio.open(path, "w", transform=from_origin(500_000, 8_700_000, 30, 30), **frame) as out:
        out.write(z.astype("float32"), 1)
    folder = tmp_path / "north"
    assert main(["new", str(folder), "--elevation", str(path)]) == 0
    assert main(["plan", str(folder), "--date", "2026-12-21"]) == 0
    country = Country.open(folder)
    plan = kept_plan(country)
    assert plan.light.usable_from is None
    text = text_of(packet_of(country, plan, tmp_path))
    assert not text or "No usable light begins" in text
