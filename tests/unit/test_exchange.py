"""The plan in GPX, KML and GeoJSON, read back by programs that share nothing with the writers."""

from __future__ import annotations

import json
import math
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from xml.etree import ElementTree as ET

import gpxpy
import numpy as np
import pyogrio
import pytest
import shapely

from graylight.exchange import write_geojson, write_gpx, write_kml
from graylight.exchange.marks import SHORT, marks, short_names
from graylight.exchange.outline import polygon, thinned
from graylight.plan.model import Plan
from tests.unit.sample_plan import VARIANTS, sample_plan

GPX = "{http://www.topografix.com/GPX/1/1}"
KML = "{http://www.opengis.net/kml/2.2}"

# Order of children in the GPX 1.1 schema (from memory; the schema is not at hand without a network).
GPX_ORDER = {
    "gpx": ["metadata", "wpt", "rte", "trk", "extensions"],
    "metadata": ["name", "desc", "author", "copyright", "link", "time", "keywords", "bounds"],
    "wpt": ["ele", "time", "magvar", "geoidheight", "name", "cmt", "desc", "src", "link", "sym", "type"],
    "rte": ["name", "cmt", "desc", "src", "link", "number", "type", "extensions", "rtept"],
    "trk": ["name", "cmt", "desc", "src", "link", "number", "type", "extensions", "trkseg"],
    "trkseg": ["trkpt"],
}
GPX_ORDER["rtept"] = GPX_ORDER["trkpt"] = GPX_ORDER["wpt"]

# The same for the parts of KML 2.2 in use (OGC 07-147r2, from memory).
KML_ORDER = {
    "Document": ["name", "open", "description", "Style", "Folder"],
    "Folder": ["name", "Placemark"],
    "Placemark": ["name", "description", "styleUrl", "ExtendedData", "Point", "LineString", "Polygon"],
    "Style": ["IconStyle", "LabelStyle", "LineStyle", "PolyStyle"],
    "LineStyle": ["color", "width"],
    "LabelStyle": ["color", "scale"],
    "Point": ["altitudeMode", "coordinates"],
    "LineString": ["tessellate", "altitudeMode", "coordinates"],
    "Polygon": ["altitudeMode", "outerBoundaryIs", "innerBoundaryIs"],
}

WRITERS = {"gpx": write_gpx, "kml": write_kml, "geojson": write_geojson}


def saved(text: str, folder: Path, suffix: str) -> Path:
    path = folder / f"plan.{suffix}"
    path.write_text(text, encoding="utf-8")
    return path


def layer(path: Path, name: str | None = None) -> tuple[dict[str, list], list[shapely.Geometry]]:
    """Fields and geometries as GDAL reads them."""
    meta, _, geometry, columns = pyogrio.raw.read(path, layer=name)
    fields = {name: list(column) for name, column in zip(meta["fields"], columns, strict=True)}
    return fields, list(shapely.from_wkb(geometry))


def in_order(element: ET.Element, order: dict[str, list[str]], space: str) -> None:
    tag = element.tag.removeprefix(space)
    if tag in order:
        places = [order[tag].index(child.tag.removeprefix(space)) for child in element]
        assert places == sorted(places), tag
    for child in element:
        in_order(child, order, space)


@pytest.mark.parametrize("suffix", WRITERS)
@pytest.mark.parametrize("variant", VARIANTS)
def test_every_plan_is_written_twice_the_same_and_read_by_gdal(suffix, variant, tmp_path):
    text = WRITERS[suffix](VARIANTS[variant]())
    assert text == WRITERS[suffix](VARIANTS[variant]())
    assert text.endswith("\n")
    assert "None" not in text
    assert "nan" not in text.lower()
    path = saved(text, tmp_path, suffix)
    for name, _ in pyogrio.list_layers(path):
        layer(path, name)


@pytest.mark.parametrize("suffix", WRITERS)
def test_every_file_says_it_is_invented_and_who_decides(suffix):
    text = WRITERS[suffix](sample_plan())
    assert "does not exist" in text
    assert "check current regulations" in text
    assert "WGS 84" in text


# --- GPX ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("variant", VARIANTS)
def test_gpx_keeps_the_order_of_the_schema(variant):
    root = ET.fromstring(write_gpx(VARIANTS[variant]()))
    assert root.tag == f"{GPX}gpx"
    assert root.attrib["version"] == "1.1"
    assert root.attrib["creator"]
    in_order(root, GPX_ORDER, GPX)


def test_gpx_has_no_clock_and_no_makers_symbols():
    root = ET.fromstring(write_gpx(sample_plan()))
    assert not root.findall(f".//{GPX}time")
    assert not root.findall(f".//{GPX}sym")


def test_gpx_read_by_gpxpy():
    plan = sample_plan()
    read = gpxpy.parse(write_gpx(plan), version="1.1")
    kinds = [point.type for point in read.waypoints]
    assert kinds.count("lookout") == 2
    assert {"feed", "bed", "crossing", "water", "start", "peak", "saddle", "basin", "way out"} <= set(kinds)
    seat = read.waypoints[0]
    assert (seat.latitude, seat.longitude) == (plan.lookouts[0].place.lat, plan.lookouts[0].place.lon)
    assert seat.elevation == plan.lookouts[0].height_m
    line = plan.approaches[0].line
    track = read.tracks[0].segments[0].points
    assert [[p.longitude, p.latitude, p.elevation] for p in track] == line
    assert read.bounds is not None
    assert read.bounds.min_latitude <= min(p.latitude for p in track)
    assert read.bounds.max_longitude >= max(p.longitude for p in read.waypoints)


def test_gpx_read_by_gdal(tmp_path):
    plan = sample_plan()
    fields, points = layer(saved(write_gpx(plan), tmp_path, "gpx"), "waypoints")
    assert len(points) == len([mark for mark in marks(plan) if mark.shut is None])
    assert fields["type"][:3] == ["lookout", "lookout", "start"]
    assert (points[0].x, points[0].y) == (plan.lookouts[0].place.lon, plan.lookouts[0].place.lat)
    assert any("Cañada Côte Bowl" in words for words in fields["desc"])
    _, routes = layer(tmp_path / "plan.gpx", "routes")
    _, tracks = layer(tmp_path / "plan.gpx", "tracks")
    assert len(routes) == len(tracks) == 1


def test_short_names_fit_a_receiver():
    found = marks(sample_plan())
    names = short_names(found)
    assert len(set(map(str.lower, names))) == len(names) == len(found)
    assert all(0 < len(name) <= SHORT and name.isascii() for name in names)


def test_short_names_of_twins_and_of_foreign_letters():
    plan = sample_plan()
    peaks = [
        plan.peaks[0].model_copy(update={"id": str(i), "name": name})
        for i, name in enumerate(["The Long Unpronounceable Top"] * 12 + ["Ωμέγα", "   ", "X" * 40])
    ]
    found = [mark for mark in marks(plan.model_copy(update={"peaks": peaks})) if mark.what == "peak"]
    names = short_names(found)
    assert len(set(names)) == len(names) == 15
    assert all(0 < len(name) <= SHORT for name in names)
    assert names[0] == "The Long"
    assert names[11] == "The Long 12"
    assert names[12] == "peak 12"


def test_no_point_on_shut_ground_to_walk_by():
    plan = sample_plan()
    shut = next(pocket for pocket in plan.pockets if pocket.shut)
    for text in (write_gpx(plan), write_kml(plan)):
        assert shut.feed[0].id not in text
    assert shut.id in write_kml(plan)
    assert shut.shut in write_kml(plan)


def test_the_route_keeps_to_the_track():
    plan = sample_plan()
    read = gpxpy.parse(write_gpx(plan), version="1.1")
    scale = 111_195.0 * math.cos(math.radians(39.3))
    route = [(p.longitude * scale, p.latitude * 111_195.0) for p in read.routes[0].points]
    track = [(p.longitude * scale, p.latitude * 111_195.0) for p in read.tracks[0].segments[0].points]
    assert 2 < len(route) < len(track)
    assert shapely.LineString(track).hausdorff_distance(shapely.LineString(route)) < 16.0
    assert (route[0], route[-1]) == (track[0], track[-1])


def test_a_crooked_line_is_thinned_to_the_most_allowed_with_its_heights():
    steps = np.arange(4000)
    line = np.column_stack(
        [-111.5 + steps * 1e-5, 39.3 + 0.002 * np.sin(steps / 9.0), 2500.0 + steps / 10.0]
    ).tolist()
    kept = thinned(line, 50, 15.0)
    assert 2 <= len(kept) <= 50
    assert kept[0] == line[0]
    assert kept[-1] == line[-1]
    assert all(point in line for point in kept)


@pytest.mark.parametrize("line", [[], [[1.0, 2.0, 3.0]], [[1.0, 2.0, 3.0], [1.0, 2.0, 3.0]]])
def test_lines_too_short_to_thin(line):
    assert thinned(line, 50, 15.0) == line


def test_what_xml_forbids_is_left_out_and_what_it_must_escape_is_escaped():
    plan = sample_plan()
    nasty = "A\x00B\x0b <tag> & \"quotes\" 'n' ]]> \ud800 café \U0001f98c"
    pockets = [plan.pockets[0].model_copy(update={"name": nasty}), *plan.pockets[1:]]
    plan = plan.model_copy(update={"pockets": pockets})
    kept = "AB <tag> & \"quotes\" 'n' ]]>  café \U0001f98c"
    read = gpxpy.parse(write_gpx(plan), version="1.1")
    assert any(kept.split("]]")[0] in (point.description or "") for point in read.waypoints)
    root = ET.fromstring(write_kml(plan))
    assert kept in [name.text for name in root.iter(f"{KML}name")]


def test_unknown_height_is_left_out_not_written_as_sea_level():
    plan = sample_plan()
    peak = plan.peaks[1]
    bare = peak.model_copy(update={"place": peak.place.model_copy(update={"height_m": None})})
    line = [[*point[:2], math.nan] for point in plan.approaches[0].line]
    way = plan.approaches[0].model_copy(update={"line": line})
    plan = plan.model_copy(update={"peaks": [bare], "approaches": [way]})
    read = gpxpy.parse(write_gpx(plan), version="1.1")
    assert [p.elevation for p in read.waypoints if p.type == "peak"] == [None]
    assert read.tracks[0].segments[0].points[0].elevation is None
    feature = next(
        f for f in json.loads(write_geojson(plan))["features"] if f["properties"]["what"] == "peak"
    )
    assert feature["properties"]["height_m"] is None


# --- KML ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("variant", VARIANTS)
def test_kml_keeps_the_order_of_the_schema(variant):
    root = ET.fromstring(write_kml(VARIANTS[variant]()))
    assert root.tag == f"{KML}kml"
    in_order(root, KML_ORDER, KML)
    styles = {style.attrib["id"] for style in root.iter(f"{KML}Style")}
    assert {url.text.removeprefix("#") for url in root.iter(f"{KML}styleUrl")} <= styles


def test_kml_read_by_gdal(tmp_path):
    plan = sample_plan()
    path = saved(write_kml(plan), tmp_path, "kml")
    assert [name for name, _ in pyogrio.list_layers(path)] == ["Pockets", "Lookouts", "Approaches", "Places"]
    _, pockets = layer(path, "Pockets")
    ours = [shapely.Polygon(p.outline[0], p.outline[1:]) for p in plan.pockets]
    assert [shapely.force_2d(pocket).normalize() for pocket in pockets] == [p.normalize() for p in ours]
    _, seats = layer(path, "Lookouts")
    assert [(s.x, s.y, s.z) for s in seats] == [(s.place.lon, s.place.lat, s.height_m) for s in plan.lookouts]
    _, ways = layer(path, "Approaches")
    assert shapely.get_coordinates(ways[0], include_z=True).tolist() == plan.approaches[0].line


def test_kml_has_no_icons_from_elsewhere():
    text = write_kml(sample_plan())
    assert "href" not in text
    assert text.count("http") == 1  # the namespace


# --- GeoJSON -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("variant", VARIANTS)
def test_geojson_is_rfc_7946(variant):
    read = json.loads(write_geojson(VARIANTS[variant]()), parse_constant=_no_constants())
    assert read["type"] == "FeatureCollection"
    assert "crs" not in read
    ids = set()
    for feature in read["features"]:
        assert set(feature) == {"type", "geometry", "properties"}
        what = feature["properties"]["what"]
        key = (what, feature["properties"]["id"])
        assert key not in ids
        ids.add(key)
        shape = shapely.geometry.shape(feature["geometry"])
        assert shape.is_valid
        assert not shape.has_z
        for lon, lat in shapely.get_coordinates(shape).tolist():
            assert (round(lon, 6), round(lat, 6)) == (lon, lat)
        if what == "pocket":
            assert shape.exterior.is_ccw
            assert all(not hole.is_ccw for hole in shape.interiors)


def _no_constants() -> Callable[[str], float]:
    def refuse(name: str) -> float:
        raise AssertionError(f"{name} is not JSON")

    return refuse


def test_geojson_holds_every_part_of_the_plan():
    plan = sample_plan()
    features = json.loads(write_geojson(plan))["features"]
    kinds = [feature["properties"]["what"] for feature in features]
    assert Counter(kinds) == {
        **{"pocket": 3, "lookout": 2, "start": 1, "feed": 3, "bed": 3, "crossing": 1, "other crossing": 1},
        **{"water": 2, "way out": 1, "saddle": 1, "peak": 2, "basin": 1, "approach": 1},
    }
    shut = [f["properties"]["id"] for f in features if f["properties"].get("shut")]
    assert shut == ["P3", "P3-F1"]
    seat = next(f["properties"] for f in features if f["properties"]["what"] == "lookout")
    assert seat["sees"][0]["share_low"] == plan.lookouts[0].sees[0].share.low
    assert seat["sees"][0]["bearing_magnetic_deg"] == plan.lookouts[0].sees[0].bearing_magnetic_deg


def test_geojson_read_by_gdal(tmp_path):
    plan = sample_plan()
    fields, shapes = layer(saved(write_geojson(plan), tmp_path, "geojson"))
    assert len(shapes) == len(fields["what"])
    there = shapes[fields["what"].index("lookout")]
    assert (there.x, there.y) == (plan.lookouts[0].place.lon, plan.lookouts[0].place.lat)


# --- rings -------------------------------------------------------------------------------------------


def test_rings_are_rounded_and_points_that_fall_together_are_one():
    ring = [[0.12345678, 0.0], [0.12345681, 0.0], [0.5, 0.9999999], [0.0, 1.0]]
    assert polygon([ring]) == [[(0.123457, 0.0), (0.5, 1.0), (0.0, 1.0), (0.123457, 0.0)]]


def test_rings_are_closed_and_turned_whatever_way_they_came():
    square = [[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]]
    hole = [[0.2, 0.2], [0.4, 0.2], [0.4, 0.4], [0.2, 0.4]]
    for outer in (square, square[::-1], [*square, square[0]]):
        for inner in (hole, hole[::-1]):
            rings = polygon([outer, inner])
            assert all(ring[0] == ring[-1] for ring in rings)
            assert shapely.LinearRing(rings[0]).is_ccw
            assert not shapely.LinearRing(rings[1]).is_ccw
            assert shapely.Polygon(rings[0], rings[1:]).area == pytest.approx(0.96)


@pytest.mark.parametrize(
    "outline", [[], [[]], [[[0.0, 0.0]]], [[[0.0, 0.0], [1.0, 1.0], [0.0, 0.0]]], [[[0.0, 0.0]] * 5]]
)
def test_an_outline_without_area_gives_no_polygon_and_the_pocket_its_middle(outline):
    assert polygon(outline) == []
    plan = sample_plan()
    flat = plan.model_copy(update={"pockets": [plan.pockets[0].model_copy(update={"outline": outline})]})
    feature = json.loads(write_geojson(flat))["features"][0]
    assert feature["geometry"]["type"] == "Point"
    ET.fromstring(write_kml(flat))


def test_an_empty_country_still_gives_whole_files():
    nothing: Plan = VARIANTS["without pockets"]().model_copy(
        update={"peaks": [], "saddles": [], "basins": []}
    )
    assert not gpxpy.parse(write_gpx(nothing), version="1.1").waypoints
    assert json.loads(write_geojson(nothing))["features"] == []
    ET.fromstring(write_kml(nothing))


def test_a_lookout_that_the_person_named_is_written_by_that_name():
    plan = sample_plan()
    seats = [plan.lookouts[0].model_copy(update={"name": "Raven <seat> & co"}), *plan.lookouts[1:]]
    named = plan.model_copy(update={"lookouts": seats})
    labels = [mark.label for mark in marks(named) if mark.what == "lookout"]
    assert labels[0] == f"Lookout {seats[0].id} (Raven <seat> & co)"
    assert labels[1:] == [mark.label for mark in marks(plan) if mark.what == "lookout"][1:]
    told = [p.findtext(f"{KML}name") for p in ET.fromstring(write_kml(named)).iter(f"{KML}Placemark")]
    assert labels[0] in told
