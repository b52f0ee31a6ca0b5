"""Vector files on entry: any format, told by name, moved, clipped, and put into plain columns."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing

import numpy as np
import pytest
import shapely
from pyogrio import raw
from pyproj import Transformer

from graylight.country.entry import Sources, make_country
from graylight.country.folder import Country
from graylight.country.kinds import columns, kind_of
from graylight.country.tables import BROUGHT_IN, LIVE
from graylight.settings import Settings
from tests.unit.country_sources import NORTH, WEST, ZONE, elevation


def at(east: float, south: float) -> tuple[float, float]:
    """Metres from the country's north-west corner; it is 1100 m wide and 900 m high."""
    return WEST + east, NORTH - south


def lonlat(geometry):
    move = Transformer.from_crs(ZONE, "EPSG:4326", always_xy=True)
    return shapely.transform(geometry, lambda xy: np.column_stack(move.transform(xy[:, 0], xy[:, 1])))


def write(path, layer, shapes, fields=None, crs=ZONE, driver="GPKG"):
    fields = fields or {}
    raw.write(
        str(path), shapely.to_wkb(np.array(shapes, object)),
        [np.array(values, object if isinstance(values[0], str | None) else None) for values in fields.values()],
        np.array(list(fields), object), layer=layer, driver=driver, crs=crs, append=path.exists(),
        geometry_type=shapes[0].geom_type, promote_to_multi=False,
    )  # fmt: skip
    return path


@pytest.fixture
def make(tmp_path):
    def run(*paths) -> Country:
        return make_country(tmp_path / "c", Sources(elevation=elevation(tmp_path), vectors=paths), Settings())

    return run


def test_names_are_one_plain_line_of_text(tmp_path, make):
    """Numbers become text; what a terminal or XML would choke on becomes a blank, also in rows written later."""
    spots = [shapely.Point(at(100, 100)), shapely.Point(at(200, 100))]
    country = make(write(tmp_path / "peaks.gpkg", "peaks", spots, {"name": [7.0, 12.5]}))
    assert [f.properties["name"] for f in country.features("names")] == ["7.0", "12.5"]
    assert columns("names", {"name": "Bare\x1b[31m\tTop\n\x00"})["name"] == "Bare [31m Top"
    assert "name" not in columns("names", {"name": "\x07 \x00"})
    with closing(sqlite3.connect(country.folder / "country.gpkg")) as db, db:
        db.execute("UPDATE names SET name = ? WHERE fid = 1", ("Tall\r\n\x1b]0;x\x07One",))
    assert country.features("names")[0].properties["name"] == "Tall ]0;x One"


TRAIL = shapely.LineString([at(-500, 450), at(500, 450), at(500, -300)])


def test_lines_are_clipped_to_the_country(tmp_path, make):
    country = make(write(tmp_path / "v.gpkg", "trails", [TRAIL], {"name": ["Long way"]}))
    (trail,) = country.features("trails")
    assert trail.geometry.length == pytest.approx(950.0)  # 500 m inside, then 450 m north to the edge
    assert trail.properties == {"name": "Long way"}
    fact = country.facts[-1]
    assert (fact.name, fact.source) == ("trails", "v.gpkg")
    assert "1 line from layer 'trails'" in fact.done


@pytest.mark.parametrize(
    ("driver", "name"),
    [("GPKG", "trails.gpkg"), ("ESRI Shapefile", "trails.shp"), ("GeoJSON", "trails.geojson"), ("FlatGeobuf", "trails.fgb"),
     ("KML", "trails.kml"), ("GPX", "trails.gpx")],
)  # fmt: skip
def test_any_format_lands_in_the_same_place(tmp_path, make, driver, name):
    layer = "tracks" if driver == "GPX" else "trails"
    shape = lonlat(TRAIL)
    if driver == "GPX":
        shape = shapely.MultiLineString([shape])
    path = write(tmp_path / name, layer, [shape], {"name": ["Way"]}, "EPSG:4326", driver)
    (trail,) = make(path).features("trails")
    whole = shapely.intersection(TRAIL, shapely.box(WEST, NORTH - 900, WEST + 1100, NORTH))
    assert trail.geometry.hausdorff_distance(whole) < 0.02
    assert trail.properties["name"] == "Way"


def test_several_layers_of_one_file(tmp_path, make):
    path = tmp_path / "v.gpkg"
    box = shapely.box(*at(100, 300), *at(200, 200))
    write(path, "roads", [TRAIL], {"NAME": ["Gravel"], "type": ["road"]})
    write(path, "trailheads", [shapely.Point(at(10, 10))], {"name": ["Gate"], "kind": ["road end"]})
    write(path, "streams", [TRAIL], {"name": ["Brook"], "FCode": ["46003"]})
    write(path, "lakes", [box], {"name": ["Tarn"]})
    write(path, "ownership", [box], {"owner": ["A Ranch"], "access": ["Private land"]})
    write(path, "unit", [box.buffer(5000)], {"name": ["7"]})
    write(path, "names", [shapely.Point(at(50, 50))], {"name": ["Knob"], "feature_class": ["Summit"]})
    write(
        path,
        "sightings",
        [shapely.Point(at(60, 60))],
        {"species": ["deer"], "count": [3], "date": ["2022-08-24"]},
    )
    country = make(path)
    props = {
        table: country.features(table)[0].properties
        for table in ("roads", "trailheads", "streams", "ownership", "names")
    }
    assert props == {
        "roads": {"name": "Gravel", "kind": "road"},
        "trailheads": {"name": "Gate", "kind": "road end"},
        "streams": {"name": "Brook", "kind": "intermittent"},
        "ownership": {"owner": "A Ranch", "access": "private"},
        "names": {"name": "Knob", "kind": "peak"},
    }
    assert country.features("unit")[0].geometry.area == pytest.approx(1100 * 900)
    seen = country.features("sightings")[0].properties
    assert (seen["animal"], seen["count"], seen["date"]) == ("deer", 3, "2022-08-24")
    assert isinstance(seen["count"], int)
    assert not country.record


def test_what_can_not_be_used_is_said(tmp_path, make):
    path = tmp_path / "v.gpkg"
    write(path, "things", [shapely.Point(at(50, 50))])
    write(path, "trails", [shapely.LineString([at(9000, 9000), at(9900, 9000)])])
    with pytest.warns(UserWarning, match="'crs' was not provided"):
        write(path, "roads", [TRAIL], crs=None)
    said = " / ".join(make(path).record)
    assert "not used: 1 point of layer 'things' of v.gpkg" in said
    assert "layer 'trails' of v.gpkg; nothing of it lies in the country" in said
    assert "layer 'roads' of v.gpkg; it has no CRS" in said


def test_a_track_of_a_receiver_is_a_trace(tmp_path, make):
    line = shapely.MultiLineString([lonlat(shapely.LineString([at(100, 100), at(300, 300)]))])
    path = write(tmp_path / "2025-09-03.gpx", "tracks", [line], {"name": ["Day 1"]}, "EPSG:4326", "GPX")
    country = make(path)
    assert country.features("traces")[0].properties["name"] == "Day 1"
    assert [fact.name for fact in country.facts] == ["elevation", "traces"]  # its points are not told twice


def test_broken_areas_are_mended_and_mixed_ones_taken_apart(tmp_path, make):
    bow = [[*at(100, 100)], [*at(300, 300)], [*at(300, 100)], [*at(100, 300)], [*at(100, 100)]]
    mixed = {
        "type": "GeometryCollection",
        "geometries": [
            {"type": "Polygon", "coordinates": [[list(lonlat(shapely.Point(p)).coords[0]) for p in bow]]},
            {"type": "LineString", "coordinates": [list(p) for p in lonlat(TRAIL).coords]},
        ],
    }
    path = tmp_path / "water.geojson"
    feature = {"type": "Feature", "properties": {"name": "Both"}, "geometry": mixed}
    path.write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}))
    country = make(path)
    assert country.features("lakes")[0].geometry.area == pytest.approx(2 * 10_000, rel=1e-3)  # two triangles
    assert country.features("streams")[0].geometry.length == pytest.approx(950, abs=0.1)


def test_an_area_that_only_touches_the_edge_is_not_in_the_country(tmp_path, make):
    outside = shapely.box(WEST - 500, NORTH - 500, WEST, NORTH)
    assert make(write(tmp_path / "v.gpkg", "lakes", [outside])).features("lakes") == []


def test_places_far_from_the_frame_do_no_harm(tmp_path, make):
    """A world-wide file: points that the zone can't show are left out quietly."""
    points = [shapely.Point(0, 90), shapely.Point(170, -89), lonlat(shapely.Point(at(5, 5)))]
    country = make(write(tmp_path / "peaks.gpkg", "peaks", points, {"name": ["N", "S", "Here"]}, "EPSG:4326"))
    assert [f.properties["name"] for f in country.features("names")] == ["Here"]


@pytest.mark.parametrize(
    ("layer", "file", "shape", "table"),
    [
        ("Roads", "x", "line", "roads"),
        ("mvum_roads", "x", "line", "roads"),
        ("trail", "x", "line", "trails"),
        ("NationalTrails", "x", "line", "trails"),
        ("hydro lines", "x", "line", "streams"),
        ("hydro_poly", "x", "area", "lakes"),
        ("NHDFlowline", "x", "line", "streams"),
        ("NHDWaterbody", "x", "area", "lakes"),
        ("trail_heads", "x", "point", "trailheads"),
        ("Parking", "x", "area", "trailheads"),
        ("surface management", "x", "area", "ownership"),
        ("private land", "x", "area", "ownership"),
        ("hunt unit boundary", "x", "area", "unit"),
        ("gnis", "x", "point", "names"),
        ("deer sightings 2022", "x", "point", "sightings"),
        ("tracks", "my trails", "line", "trails"),
        ("tracks", "2025-09-03", "line", "traces"),
        ("waypoints", "2025-09-03", "point", "places"),
        ("waypoints", "trailheads", "point", "trailheads"),
        ("OGRGeoJSON", "streams", "line", "streams"),
        ("trails", "x", "point", None),
        ("misc", "stuff", "line", None),
    ],
)
def test_kinds_are_told_by_names(layer, file, shape, table):
    assert kind_of(layer, file, shape) == table


@pytest.mark.parametrize(
    ("given", "access"),
    [
        ({"Pub_Access": "OA"}, "open"),
        ({"Pub_Access": "XA"}, "closed"),
        ({"Pub_Access": "RA"}, "restricted"),
        ({"Own_Type": "PVT Private"}, "private"),
        ({"owner": "Private holding"}, "private"),
        ({"owner": "Forest"}, None),
        ({"access": "No public access"}, "closed"),
        ({"access": "not open to the public"}, None),
        ({"access": "Private, not posted"}, "private"),
        ({"access": "by permit"}, None),
        ({"access": "Public"}, "open"),
    ],
)
def test_access(given, access):
    assert columns("ownership", given).get("access") == access


# --- the tables --------------------------------------------------------------------------------------------------


def test_live_tables_are_there_and_take_rows_through_plain_sqlite(make):
    """Without the GeoPackage library: no trigger needs a function that sqlite3 lacks. And another reader sees the row."""
    country = make()
    path = country.folder / "country.gpkg"
    for spec in LIVE:
        assert country.features(spec.name) == []
    point = shapely.to_wkb(shapely.Point(at(5, 7)), byte_order=1)
    blob = (
        b"GP\x00\x01" + (32612).to_bytes(4, "little") + point
    )  # header of GeoPackage binary, OGC 12-128 2.1.3
    with closing(sqlite3.connect(path)) as db, db:
        db.execute("PRAGMA synchronous=FULL")
        db.execute("INSERT INTO places (geom, kind, name) VALUES (?, 'spring', 'Cold one')", (blob,))
        db.execute("UPDATE places SET note = 'dry in fall'")
    (place,) = country.features("places")
    assert place.geometry.equals(shapely.Point(at(5, 7)))
    assert place.properties == {"kind": "spring", "name": "Cold one", "note": "dry in fall", "photo": None}
    assert sorted(p.name for p in country.folder.iterdir()) == [
        "country.gpkg",
        "country.json",
        "layers",
        "settings.toml",
    ]


def test_the_file_is_a_geopackage_with_one_frame(make):
    """Application id and mandatory tables by OGC 12-128."""
    with closing(sqlite3.connect(make().folder / "country.gpkg")) as db:
        assert db.execute("PRAGMA application_id").fetchone()[0] == 0x47504B47  # "GPKG"
        assert db.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        frames = {row[0] for row in db.execute("SELECT srs_id FROM gpkg_geometry_columns")}
        tables = {row[0] for row in db.execute("SELECT table_name FROM gpkg_contents")}
        index = db.execute("SELECT count(*) FROM sqlite_master WHERE name LIKE 'rtree%'").fetchone()[0]
    assert frames == {32612}
    assert tables == {spec.name for spec in LIVE}
    assert index == 0


def test_tables_not_brought_in_are_empty(make):
    country = make()
    for spec in BROUGHT_IN:
        assert country.features(spec.name) == []


@pytest.mark.parametrize(
    ("said", "kept"), [("3", 3), (2.0, 2), (1e30, None), (-5, None), ("many", None), (float("inf"), None)]
)
def test_a_count_that_no_herd_has_is_not_kept(said, kept):
    from graylight.country.kinds import _whole

    assert _whole(said) == kept
