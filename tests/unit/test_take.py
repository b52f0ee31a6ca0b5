"""Files taken into a country: read as other readers read them, put where they belong, doubles told, harm refused."""

from __future__ import annotations

import contextlib
import csv
import json
import socket
import sqlite3
import warnings
import zipfile
from contextlib import closing

import gpxpy
import numpy as np
import pyogrio
import pytest
import shapely
from pyogrio import raw
from pyproj import Transformer

from graylight.cli.main import main
from graylight.country.entry import Sources, make_country
from graylight.country.folder import Country
from graylight.country.rows import Rows
from graylight.errors import BadInput
from graylight.exchange.geojson import write_geojson
from graylight.exchange.gpx import write_gpx
from graylight.exchange.kml import write_kml
from graylight.exchange.record_files import write_record_csv, write_record_geojson
from graylight.intake.doubles import doubles
from graylight.intake.gpx import read_gpx
from graylight.intake.kml import read_kml
from graylight.intake.parcel import items
from graylight.intake.table import _pointed, read_table
from graylight.intake.taking import take_in
from graylight.settings import Settings
from tests.unit.country_sources import NORTH, WEST, ZONE, elevation
from tests.unit.sample_plan import sample_plan

TO_DEGREES = Transformer.from_crs(ZONE, "EPSG:4326", always_xy=True)


def at(east: float, south: float) -> tuple[float, float]:
    """Longitude and latitude, metres from the country's north-west corner; it is 1100 m wide and 900 m high."""
    lon, lat = TO_DEGREES.transform(WEST + east, NORTH - south)
    return round(lon, 7), round(lat, 7)


@pytest.fixture
def country(tmp_path) -> Country:
    (tmp_path / "in").mkdir()
    return make_country(tmp_path / "country", Sources(elevation=elevation(tmp_path)), Settings())


@pytest.fixture
def give(tmp_path):
    def write(name: str, text: str | bytes):
        path = tmp_path / "in" / name
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return path

    (tmp_path / "in").mkdir(exist_ok=True)
    return write


def gpx(*parts: str) -> str:
    head = '<?xml version="1.0"?><gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1">'
    return head + "".join(parts) + "</gpx>"


def wpt(name: str, east: float, south: float, more: str = "") -> str:
    lon, lat = at(east, south)
    return f'<wpt lat="{lat}" lon="{lon}"><name>{name}</name>{more}</wpt>'


def trk(name: str, *spots: tuple[float, float]) -> str:
    points = "".join(f'<trkpt lat="{at(*s)[1]}" lon="{at(*s)[0]}"><ele>2600</ele></trkpt>' for s in spots)
    return f"<trk><name>{name}</name><trkseg>{points}</trkseg></trk>"


def kml(*placemarks: str) -> str:
    return f'<kml xmlns="http://www.opengis.net/kml/2.2"><Document>{"".join(placemarks)}</Document></kml>'


def spot(name: str, east: float, south: float) -> str:
    lon, lat = at(east, south)
    return f"<Placemark><name>{name}</name><Point><coordinates>{lon},{lat},2600</coordinates></Point></Placemark>"


BOTH = gpx(
    wpt(
        "Glassing rock", 300, 200, "<sym>Flag</sym><desc>good at dawn</desc><time>2025-09-14T06:10:00Z</time>"
    ),
    wpt("Seep", 500, 300),
    trk("Up the spur", (100, 100), (200, 250), (400, 300)),
)

# --- beside other readers --------------------------------------------------------------------------------------------


def test_gpx_as_gpxpy_reads_it(give):
    path = give("walk.gpx", BOTH)
    found, said = read_gpx(path)
    other = gpxpy.parse(path.read_text())
    assert said == []
    assert [(f.told["name"], f.shape.x, f.shape.y) for f in found[:2]] == [
        (w.name, w.longitude, w.latitude) for w in other.waypoints
    ]
    points = other.tracks[0].segments[0].points
    assert list(found[2].shape.coords) == [(p.longitude, p.latitude) for p in points]


def test_kml_as_ogr_reads_it(give):
    ring = " ".join(f"{lon},{lat}" for lon, lat in (at(100, 100), at(300, 100), at(300, 300), at(100, 100)))
    line = " ".join(f"{lon},{lat},0" for lon, lat in (at(0, 0), at(100, 50)))
    path = give(
        "marks.kml",
        kml(
            "<Folder><name>Water</name>" + spot("Seep", 200, 200) + "</Folder>",
            f"<Placemark><name>Way</name><LineString><coordinates>{line}</coordinates></LineString></Placemark>",
            "<Placemark><name>Patch</name><Polygon><outerBoundaryIs><LinearRing><coordinates>"
            f"{ring}</coordinates></LinearRing></outerBoundaryIs></Polygon></Placemark>",
        ),
    )
    found, _ = read_kml(path)
    other = {}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for name, _ in pyogrio.list_layers(path):
            meta, _, shapes, columns = raw.read(path, layer=name, force_2d=True)
            names = columns[list(meta["fields"]).index("Name")]
            other |= {str(n): shapely.from_wkb(s) for n, s in zip(names, shapes, strict=True)}
    assert {f.told["name"] for f in found} == set(other)
    for thing in found:
        assert thing.shape.equals(other[thing.told["name"]]), thing.told["name"]
    assert found[0].layer == "Water"


def test_csv_as_the_standard_library_reads_it(give):
    lon, lat = at(300, 300)
    path = give(
        "glassed.csv",
        f'Name,Latitude,Longitude,Note\n"Bull, alone",{lat},{lon},"two\nlines"\nCow,{lat},{lon},\n',
    )
    found, said = read_table(path)
    with path.open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert said == []
    assert [f.told["Name"] for f in found] == [row["Name"] for row in rows]
    assert [(f.shape.x, f.shape.y) for f in found] == [
        (float(r["Longitude"]), float(r["Latitude"])) for r in rows
    ]


@pytest.mark.parametrize("mark", [",", ";", "\t"])
@pytest.mark.parametrize(
    "columns",
    [("lat", "lon"), ("LATITUDE", "Longitude"), ("y", "x"), ("place",), ("zone", "Easting", "Northing")],
)
def test_columns_that_tell_a_place(give, mark, columns):
    lon, lat = at(300, 300)
    values = {
        1: [f'"{lat} {lon}"' if mark == "," else f"{lat} {lon}"],
        2: [lat, lon],
        3: ["12S", WEST + 300, NORTH - 300],
    }[len(columns)]
    text = f"name{mark}{mark.join(columns)}\nSeep{mark}{mark.join(map(str, values))}\n"
    found, said = read_table(give("spots.csv", text))
    assert said == []
    assert (found[0].shape.x, found[0].shape.y) == pytest.approx((lon, lat), abs=1e-5)


# --- into the country ------------------------------------------------------------------------------------------------


def test_marks_and_tracks_go_into_the_live_tables(country, give):
    taken = take_in(country, [give("walk.gpx", BOTH)])
    assert dict(taken.added) == {("places", "walk.gpx"): 2, ("traces", "walk.gpx"): 1}
    rows = Rows(country).read("places")
    assert [row.values["name"] for row in rows] == ["Glassing rock", "Seep"]
    assert (rows[0].values["kind"], rows[1].values["kind"]) == ("Flag", "mark")
    assert rows[0].values["note"] == "good at dawn; recorded 2025-09-14"
    assert rows[0].geometry.distance(shapely.Point(WEST + 300, NORTH - 200)) < 0.1
    trace = country.features("traces")[0]
    assert trace.geometry.length == pytest.approx(np.hypot(100, 150) + np.hypot(200, 50), abs=0.5)


def test_all_of_it_is_one_step_that_can_be_taken_back(country, give):
    take_in(country, [give("walk.gpx", BOTH)])
    Rows(country).undo()
    assert country.features("places") == country.features("traces") == []


def test_doubles_are_told_also_within_one_file_and_across_formats(country, give):
    take_in(country, [give("walk.gpx", BOTH)])
    again = take_in(country, [give("copy.gpx", BOTH), give("seep.kml", kml(spot("Seep", 500.5, 300)))])
    assert not again.added
    assert dict(again.known) == {"copy.gpx": 3, "seep.kml": 1}
    twice = take_in(country, [give("two.gpx", gpx(wpt("A", 50, 50), wpt("A", 50, 50), wpt("B", 50, 50)))])
    assert dict(twice.added) == {("places", "two.gpx"): 2}
    assert dict(twice.known) == {"two.gpx": 1}


def test_what_counts_as_the_same():
    point, near, far = shapely.Point(0, 0), shapely.Point(1.5, 0), shapely.Point(4, 0)
    line, other = shapely.LineString([(0, 0), (10, 0)]), shapely.LineString([(0, 0), (5, 3), (10, 0)])
    assert doubles([(near, "a")], [(point, "A ")]) == [True]
    assert doubles([(far, "a"), (near, "b"), (near, "")], [(point, "a")]) == [False, False, True]
    assert doubles([(line, "w"), (other, "w"), (line.reverse(), "w")], [(line, "w")]) == [True, False, True]
    assert doubles([(shapely.Point(0, 0), "")], [(shapely.LineString([(0, 0), (0, 0.1)]), "")]) == [False]


def test_a_boundary_an_ownership_and_trails_go_where_their_names_say(country, give, tmp_path):
    ring = [at(100, 100), at(900, 100), at(900, 800), at(100, 100)]
    unit = give("unit-12.geojson", json.dumps({"type": "Polygon", "coordinates": [ring]}))
    line = {"type": "LineString", "coordinates": [at(0, 0), at(500, 500)]}
    feature = {"type": "Feature", "properties": {"name": "Old"}, "geometry": line}
    trails = give("trails.geojson", json.dumps({"type": "FeatureCollection", "features": [feature]}))
    take_in(country, [unit, trails])
    assert len(country.features("unit")) == 1
    assert country.features("trails")[0].properties == {"name": "Old"}
    facts = {fact.name: fact for fact in Country.open(country.folder).facts}
    assert facts["unit"].source == "unit-12.geojson"
    assert {name for name, _ in pyogrio.list_layers(country.folder / "country.gpkg")} >= {"unit", "trails"}
    with closing(sqlite3.connect(country.folder / "country.gpkg")) as db:
        assert db.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
    again = take_in(Country.open(country.folder), [unit])
    assert not again.added
    assert again.known == {"unit-12.geojson": 1}


def test_a_zipped_shapefile_a_geopackage_a_kmz_and_a_folder_of_them(country, tmp_path):
    folder = tmp_path / "in" / "mine"
    (folder / "deep").mkdir(parents=True)
    points = np.array([shapely.to_wkb(shapely.Point(WEST + 100, NORTH - 100))], object)
    for path in (tmp_path / "springs.shp", folder / "deep" / "spots.gpkg"):
        raw.write(path, points, [np.array([path.stem], object)], np.array(["name"]), geometry_type="Point", crs=ZONE,
                  layer=path.stem)  # fmt: skip
    with zipfile.ZipFile(folder / "springs.zip", "w") as archive:
        for part in tmp_path.glob("springs.*"):
            archive.write(part, f"somewhere/{part.name}")
    with zipfile.ZipFile(folder / "marks.kmz", "w") as archive:
        archive.writestr("doc.kml", kml(spot("Seep", 500, 300)))
        archive.writestr("files/icon.png", b"\x89PNG")
    (folder / "readme.txt").write_text("nothing")
    (folder / "dem.tif").write_bytes(b"II*\x00")
    taken = take_in(country, [folder])
    assert len(taken.unused) == 2
    assert "dem.tif; rasters come in when a country is made" in taken.unused[0]
    assert taken.unused[1] == "not used: 1 file of other kinds (.txt)"
    assert sorted(row.values["name"] for row in Rows(country).read("places")) == ["Seep", "spots", "springs"]


def test_what_lies_outside_is_left_out_and_lines_are_clipped(country, give):
    text = gpx(wpt("In", 100, 100), wpt("Out", 5000, 100), trk("Through", (-500, 400), (500, 400)))
    taken = take_in(country, [give("walk.gpx", text)])
    assert taken.unused == ["not used: walk.gpx; 1 of 3 things lie outside the country"]
    assert country.features("traces")[0].geometry.length == pytest.approx(500, abs=0.5)


def test_what_can_not_be_used_is_said_each(country, give):
    text = gpx(
        wpt("In", 100, 100), '<wpt lat="north" lon="1"><name>Lost</name></wpt>', "<trk><name>One</name></trk>"
    )
    mine = [
        give("walk.gpx", text),
        give("photo.jpg", b"\xff\xd8"),
        give("empty.kml", ""),
        give("no.csv", "a,b\n1,2\n"),
    ]
    told = take_in(country, mine).unused
    assert "not used: walk.gpx; waypoint 'Lost' has no place on the earth" in told
    assert "not used: walk.gpx; track 'One' has fewer than two points with a place" in told
    assert any(line.startswith("not used: photo.jpg; accepted are GPX") for line in told)
    assert any("empty.kml; it is not well-formed XML" in line for line in told)
    assert any("no.csv; its columns (a, b) tell no place" in line for line in told)


def test_sightings_keep_their_columns(country, give):
    lon, lat = at(400, 400)
    take_in(
        country, [give("sightings.csv", f"animal,count,date,lat,lon\nmule deer,3,2025-09-14,{lat},{lon}\n")]
    )
    seen = country.features("sightings")[0].properties
    assert (seen["animal"], seen["count"], seen["date"]) == ("mule deer", 3, "2025-09-14")


def test_links_are_not_followed_and_said(country, give):
    link = "<NetworkLink><Link><href>http://127.0.0.1:9/x.kml</href></Link></NetworkLink>"
    taken = take_in(country, [give("links.kml", kml(spot("Seep", 500, 300), link))])
    assert any("1 link to other addresses (nothing is fetched)" in line for line in taken.unused)


# --- harm ------------------------------------------------------------------------------------------------------------

BOMB = """<?xml version="1.0"?><!DOCTYPE lolz [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">
<!ENTITY c "&b;&b;&b;&b;&b;&b;&b;&b;">]><gpx>&c;</gpx>"""
OUTSIDE = (
    '<?xml version="1.0"?><!DOCTYPE gpx [<!ENTITY x SYSTEM "file:///etc/hostname">]><gpx><wpt>&x;</wpt></gpx>'
)


def archive(path, entries):
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as out:
        for name, data in entries:
            out.writestr(name, data)
    return path


def refused(country, path, words):
    before = sorted(p.relative_to(path.parent.parent) for p in path.parent.parent.rglob("*"))
    with pytest.raises(BadInput, match=words) as error:
        take_in(country, [path])
    assert "\n" not in str(error.value)
    assert sorted(p.relative_to(path.parent.parent) for p in path.parent.parent.rglob("*")) == before


def test_a_long_track_taken_in_twice_is_known_at_once():
    """Five hours by the second, the same rounded by another program, one beside it; GEOS's own distance for short ones."""
    rng = np.random.default_rng(1)
    along = np.linspace(0.0, 20.0, 20_000)
    spots = np.column_stack([along * 300, 500 * np.sin(along)]) + rng.normal(0, 0.3, (20_000, 2))
    track = shapely.LineString(spots)
    other = shapely.LineString((spots + rng.uniform(-0.02, 0.02, spots.shape))[1:-1])
    beside = shapely.LineString(spots + np.array([0.0, 2.5]))
    assert doubles([(track, ""), (other, ""), (beside, "")], [(track, "")]) == [True, True, False]
    few = spots[::100]
    for size in (0.5, 1.0, 2.0, 4.0):
        moved = shapely.LineString((few + rng.uniform(-size, size, few.shape))[:-1])
        near = shapely.hausdorff_distance(shapely.LineString(few), moved) <= 2.0
        boxes = np.abs(np.array(moved.bounds) - shapely.LineString(few).bounds).max() <= 2.0
        long = abs(moved.length - shapely.LineString(few).length) <= 0.01 * moved.length
        assert doubles([(moved, "")], [(shapely.LineString(few), "")]) == [bool(near and boxes and long)]


@pytest.mark.parametrize("ending", ["geojson", "csv"])
def test_a_record_of_our_own_is_not_taken_for_marks(country, tmp_path, ending):
    """The command writes it; taken in, its sightings would become marks without their date and count."""
    rows = Rows(country)
    rows.add(
        "sightings", shapely.Point(WEST + 300.0, NORTH - 300.0), animal="elk", count=2, date="2026-08-27"
    )
    kept = rows.read("sightings")
    write = {"geojson": write_record_geojson, "csv": write_record_csv}[ending]
    path = tmp_path / f"record.{ending}"
    path.write_text(write(kept, country.grid), encoding="utf-8")
    with pytest.raises(BadInput, match="graylight seen FOLDER --file FILE"):
        take_in(country, [path])


@pytest.mark.parametrize("ending", ["gpx", "kml", "geojson"])
def test_a_plan_of_our_own_is_not_taken_in_again(country, tmp_path, ending):
    """Its places are reckoned anew with each plan, and its ways on foot are no trails of animals."""
    plan = sample_plan()
    write = {"gpx": write_gpx, "kml": write_kml, "geojson": write_geojson}[ending]
    path = tmp_path / f"plan.{ending}"
    path.write_text(write(plan), encoding="utf-8")
    with pytest.raises(BadInput, match="a plan that graylight wrote"):
        take_in(country, [path])
    assert not country.features("places")


def test_what_a_file_lacks_is_told_by_its_name(country, give):
    with pytest.raises(BadInput, match=r"nothing was found in empty\.gpx"):
        take_in(country, [give("empty.gpx", '<gpx version="1.1"></gpx>')])
    with pytest.raises(BadInput, match="JSON, but no GeoJSON"):
        take_in(country, [give("other.json", '{"a": 1}')])


def test_whoever_hands_over_a_track_is_told_what_it_does(country, give):
    lon, lat = at(300, 300)
    points = "".join(f'<trkpt lat="{lat + 1e-4 * n}" lon="{lon}"/>' for n in range(5))
    taken = take_in(
        country, [give("walk.gpx", f"<gpx version='1.1'><trk><trkseg>{points}</trkseg></trk></gpx>")]
    )
    assert any("trails that animals are seen to use" in line for line in taken.lines())


@pytest.mark.parametrize("code", ["utf-8", "utf-8-sig", "utf-16", "utf-16-be"])
def test_a_table_as_a_spreadsheet_of_another_country_saves_it(country, tmp_path, code):
    lon, lat = at(300, 400)
    text = f"name;lat;lon\nSee;{lat:.6f};{lon:.6f}\n".replace(".", ",")
    path = tmp_path / "spots.csv"
    path.write_bytes((b"\xfe\xff" if code == "utf-16-be" else b"") + text.encode(code))
    take_in(country, [path])
    (place,) = country.features("places")
    assert place.properties["name"] == "See"
    x, y = Transformer.from_crs("EPSG:4326", country.grid.crs, always_xy=True).transform(lon, lat)
    assert (place.geometry.x, place.geometry.y) == pytest.approx((x, y), abs=0.2)


def test_thousands_are_not_taken_for_a_decimal_comma():
    """Hand-made: an easting of 453 thousand, a latitude, one that is beyond a doubt a fraction."""
    assert [_pointed(t) for t in ("453,120", "40,467", "-114,78239", "1,2,3", "40.5")] == [
        "453,120", "40.467", "-114.78239", "1,2,3", "40.5",
    ]  # fmt: skip


def test_a_zipped_shapefile_without_a_frame_is_told_by_its_own_name(country, tmp_path):
    folder = tmp_path / "in"
    folder.mkdir(exist_ok=True)
    shape = shapely.to_wkb(shapely.Point(1.0, 2.0))
    raw.write(
        str(folder / "spots.shp"), np.array([shape], object), field_data=[np.array(["K"])], fields=["name"],
        geometry_type="Point", crs="EPSG:32612",
    )  # fmt: skip
    with zipfile.ZipFile(tmp_path / "bare.zip", "w") as out:
        for ending in (".shp", ".shx", ".dbf"):
            out.write(folder / f"spots{ending}", f"spots{ending}")
    with pytest.raises(BadInput, match="layer 'spots' has no CRS"):
        take_in(country, [tmp_path / "bare.zip"])


@pytest.mark.parametrize("text", [BOMB, OUTSIDE])
@pytest.mark.parametrize("name", ["bomb.gpx", "bomb.kml"])
def test_xml_entities_are_refused(country, give, text, name):
    refused(country, give(name, text), "entities or a document type")


@pytest.mark.parametrize(
    "name", ["../escape.gpx", "a/../../escape.gpx", "/tmp/escape.gpx", "..\\escape.gpx", "C:\\escape.gpx"]
)
def test_an_archive_that_would_write_elsewhere_is_refused(country, tmp_path, name):
    refused(country, archive(tmp_path / "in/slip.zip", [(name, BOTH)]), "outside its folder")


def test_an_archive_with_a_link_is_refused(country, tmp_path):
    info = zipfile.ZipInfo("link.gpx")
    info.external_attr = 0o120777 << 16
    refused(country, archive(tmp_path / "in/link.zip", [(info, "/etc/passwd")]), "a link to another place")


def test_a_zip_bomb_is_refused(country, tmp_path):
    refused(country, archive(tmp_path / "in/bomb.zip", [("a.gpx", b" " * 2**26)]), "would unpack to")
    many = archive(tmp_path / "in/many.kmz", [(f"{n}.kml", "") for n in range(2001)])
    refused(country, many, "2,001 files")


def test_an_archive_in_an_archive_is_not_opened(country, tmp_path):
    inner = archive(tmp_path / "in/inner.zip", [("a.gpx", BOTH)])
    refused(
        country,
        archive(tmp_path / "in/outer.zip", [("inner.zip", inner.read_bytes())]),
        "no file that can be read",
    )


def test_a_size_that_is_a_lie_is_found_out(country, tmp_path):
    """The size told in the archive's directory is 10 bytes; zipfile reads no further, and the sum does not fit then."""
    path = archive(tmp_path / "in/lie.zip", [("a.gpx", b"<gpx>" + b" " * 5000 + b"</gpx>")])
    data = path.read_bytes().replace((5011).to_bytes(4, "little"), (10).to_bytes(4, "little"))
    path.write_bytes(data)
    refused(country, path, "lie.zip")


@pytest.mark.parametrize("name", ["virtual.json", "virtual.geojson", "virtual.gpkg", "virtual.shp"])
def test_a_file_that_points_elsewhere_is_refused(country, give, tmp_path, name):
    """OGR would open a virtual layer under any name, and read what it points to."""
    give("secret.geojson", json.dumps({"type": "Point", "coordinates": at(100, 100)}))
    secret = tmp_path / "in" / "secret.geojson"
    text = (
        f'<OGRVRTDataSource><OGRVRTLayer name="secret"><SrcDataSource>{secret}</SrcDataSource>'
        "</OGRVRTLayer></OGRVRTDataSource>"
    )
    assert list(pyogrio.list_layers(give("proof.vrt", text))[0]) == ["secret", "Point"]  # so it would
    refused(country, give(name, text), "it is no ")


@pytest.mark.parametrize("where", ["file", "geometry"])
def test_a_frame_that_would_be_fetched_asks_nobody(country, give, where):
    """A server on loopback counts: GDAL alone would ask it. Only gathering may ask anyone."""
    asked: list[bytes] = []
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.settimeout(0.2)
        link = {"type": "link", "properties": {"href": f"http://127.0.0.1:{server.getsockname()[1]}/crs"}}
        point = {
            "type": "Point",
            "coordinates": [-114.8, 40.4],
            **({"crs": link} if where == "geometry" else {}),
        }
        text = {
            "type": "Feature",
            "properties": {},
            "geometry": point,
            **({"crs": link} if where == "file" else {}),
        }
        refused(country, give("link.geojson", json.dumps(text)), "link to another place")
        with contextlib.suppress(TimeoutError):
            asked.append(server.accept()[0].recv(100))
    assert asked == []


def test_virtual_tables_are_refused(country, tmp_path):
    path = tmp_path / "in/tables.gpkg"
    point = np.array([shapely.to_wkb(shapely.Point(at(100, 100)))], object)
    raw.write(path, point, [], np.array([], object), geometry_type="Point", crs="EPSG:4326", layer="spots")
    assert take_in(country, [path]).added  # its spatial index is a virtual table, too, and harmless
    with closing(sqlite3.connect(path)) as db, db:
        db.execute("CREATE VIRTUAL TABLE other USING fts5(text)")
    refused(country, path, "virtual tables")


def test_a_link_in_a_folder_is_not_followed(country, tmp_path, give):
    secret = tmp_path / "secret.gpx"
    secret.write_text(BOTH)
    (tmp_path / "in/link.gpx").symlink_to(secret)
    give("fine.gpx", gpx(wpt("Fine", 10, 10)))
    assert [item.called for item in items([tmp_path / "in"])] == ["fine.gpx"]


def test_nothing_to_take_is_said(country, tmp_path):
    with pytest.raises(BadInput, match="nothing was found"):
        take_in(country, [tmp_path / "in"])
    with pytest.raises(BadInput, match="there is no file"):
        take_in(country, [tmp_path / "none.gpx"])


def test_the_command_tells_what_was_taken(country, give, capsys):
    path = give("walk.gpx", BOTH)
    assert main(["take", str(country.folder), str(path)]) == 0
    assert "taken in: 2 into places, from walk.gpx" in capsys.readouterr().out
    assert main(["take", str(country.folder), str(give("bomb.gpx", BOMB))]) == 2
    assert capsys.readouterr().err.count("\n") == 1


def test_thousands_of_marks_are_quick_to_write(country, give):
    """Not timed: every row is one insert, and the table's extent is reckoned once, so that the test ends at all."""
    marks = "".join(wpt(f"m{n}", 5 + n % 100 * 10, 5 + n // 100 * 10) for n in range(5000))
    assert sum(take_in(country, [give("many.gpx", gpx(marks))]).added.values()) == 5000


def test_a_track_that_crosses_itself_keeps_all_its_points(country, give):
    """An hour at one seat, a fix a second that wanders: once this took minutes, and lost what was walked twice."""
    rng = np.random.default_rng(2)
    spots = [(500.0 + x, 400.0 + y) for x, y in np.cumsum(rng.normal(0, 1.0, (3600, 2)), axis=0)]
    eight = [(100, 100), (200, 200), (200, 100), (100, 200), (100, 100)]
    take_in(country, [give("sit.gpx", gpx(trk("Sit", *spots), trk("Eight", *eight, *eight[1:])))])
    sit, twice = (f.geometry for f in Country.open(country.folder).features("traces"))
    assert shapely.get_num_coordinates(sit) == 3600
    assert twice.length == pytest.approx(2 * shapely.LineString(eight).length, abs=0.2)
    take_in(country, [give("out.gpx", gpx(trk("Out", (-50, 100), (100, 100), (-50, 100))))])
    assert Country.open(country.folder).features("traces")[-1].geometry.length == pytest.approx(
        200.0, abs=0.2
    )


def test_an_outline_of_nothing_but_crossings_is_told(country, give):
    rng = np.random.default_rng(1)
    ring = [list(at(*spot)) for spot in rng.uniform(50, 800, (1500, 2))]
    area = {"type": "Polygon", "coordinates": [[*ring, ring[0]]]}
    path = give(
        "unit.geojson",
        json.dumps(
            {
                "type": "FeatureCollection",
                "features": [{"type": "Feature", "properties": {}, "geometry": area}],
            }
        ),
    )
    with pytest.raises(BadInput, match="crosses itself more than"):
        take_in(country, [path])


def test_a_layer_that_is_an_endless_query_is_not_opened(country, tmp_path):
    path = tmp_path / "view.gpkg"
    raw.write(
        str(path), shapely.to_wkb(np.array([shapely.Point(at(300, 300))], object)), [np.array(["a"], object)], ["name"],
        geometry_type="Point", crs="EPSG:4326", layer="marks", driver="GPKG",
    )  # fmt: skip
    assert take_in(country, [path]).added.total() == 1
    with closing(sqlite3.connect(path)) as db, db:
        db.execute(
            "CREATE VIEW more AS WITH RECURSIVE c(x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM c) "
            "SELECT x AS fid, geom FROM c, marks"
        )
    with pytest.raises(BadInput, match="views"):
        take_in(country, [path])
