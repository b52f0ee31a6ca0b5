"""Ways, names, holdings and the forecast: what the services' JSON becomes, pages and errors under status 200 included."""

from __future__ import annotations

import datetime as dt
import json

import numpy as np
import pytest
import shapely

from graylight.country.feature import Feature
from graylight.country.outline import Crossings
from graylight.errors import SourceUnavailable
from graylight.gather.arcgis import features
from graylight.gather.errand import Errand
from graylight.gather.forecast import hours_of, nws, span
from graylight.gather.gate import NotThere, Refused, Trouble
from graylight.gather.holdings import blm, padus, private_alone
from graylight.gather.names import gnis, without_doubles
from graylight.gather.wanted import Wanted, around
from graylight.gather.ways import overpass, question, sorted_out
from graylight.grid import Bounds, LonLat
from graylight.plan.holdings import ask_first
from graylight.settings import Settings
from tests.unit.open_fixtures import wanted
from tests.unit.open_ground import LAT, LON, elements, grid_forecast


@pytest.fixture
def errand(services, tmp_path):
    (tmp_path / "work").mkdir()
    with services.gate(tmp_path / "store") as gate:

        def make(key: str, ground: Wanted | None = None) -> Errand:
            return Errand(gate, gate.services[key], ground or wanted(), tmp_path / "work")

        yield make


def read(path):
    return json.loads(path.read_text(encoding="utf-8"))["features"]


# --- OpenStreetMap ---------------------------------------------------------------------------------------------------


def test_each_thing_goes_to_its_table():
    """Tags as the OpenStreetMap wiki has them (from memory): highway, waterway, natural, barrier, access, intermittent."""
    tables = sorted_out(elements())
    assert {table: len(found) for table, found in tables.items()} == {
        "trails": 1, "roads": 1, "streams": 1, "trailheads": 2, "names": 3, "lakes": 1,
    }  # fmt: skip
    told = {table: [f["properties"] for f in found] for table, found in tables.items()}
    assert told["trails"] == [{"name": "Long Trail"}]
    assert told["roads"] == [{"name": "FR 12", "kind": "track"}]
    assert told["streams"] == [{"name": "Cold Creek", "kind": "intermittent"}]
    assert {"name": "gate", "kind": "other"} in told["names"]
    assert {"name": "parking", "kind": "road end"} in told["trailheads"]
    lake = shapely.geometry.shape(tables["lakes"][0]["geometry"])
    assert lake.area == pytest.approx(0.008**2 - 0.002**2, rel=1e-6)  # the island is not water


def test_private_trails_are_left_out_and_private_roads_said():
    line = [{"lon": LON, "lat": LAT}, {"lon": LON + 0.01, "lat": LAT}]
    ways = [
        {"type": "way", "id": 1, "tags": {"highway": "track", "access": "private"}, "geometry": line},
        {"type": "way", "id": 2, "tags": {"highway": "path", "foot": "no"}, "geometry": line},
        {"type": "way", "id": 3, "tags": {"highway": "proposed"}, "geometry": line},
    ]
    tables = sorted_out(ways)
    assert tables.keys() == {"roads"}
    assert tables["roads"][0]["properties"] == {"kind": "track, private"}


@pytest.mark.parametrize(
    "element",
    [
        {"type": "node", "id": 1, "tags": {"natural": "peak", "name": "X"}},
        {"type": "node", "id": 1, "tags": {"natural": "peak", "name": "X"}, "lon": "east", "lat": None},
        {"type": "way", "id": 1, "tags": {"highway": "path"}, "geometry": [{"lon": 1, "lat": 1}]},
        {"type": "way", "id": 1, "tags": {"highway": "path"}, "geometry": [None, None]},
        {"type": "way", "id": 1, "tags": {"natural": "water"}, "geometry": [{"lon": 1, "lat": 1}] * 3},
        {"type": "relation", "id": 1, "tags": {"natural": "water"}, "members": [{"role": "outer"}, None]},
        {"type": "relation", "id": 1, "tags": {"natural": "water"}},
        {"type": "way", "id": 1, "tags": None},
        {"type": "node", "id": 1, "tags": {"natural": "peak", "name": "X"}, "lon": 999, "lat": 91},
    ],
)
def test_things_without_a_shape_are_passed_over(element):
    assert sorted_out([element]) == {}


def rings(count: int, *, size: float, spread: float) -> list[dict]:
    """A relation of so many circles of twenty sides."""
    rng = np.random.default_rng(1)
    turn = np.linspace(0.0, 2.0 * np.pi, 21)
    members = []
    for lon, lat in rng.uniform(-spread, spread, (count, 2)) + np.array([LON, LAT]):
        line = [{"lon": lon + size * np.cos(t), "lat": lat + size * np.sin(t)} for t in turn[:-1]]
        members.append({"type": "way", "role": "outer", "geometry": [*line, line[0]]})
    return [{"type": "relation", "id": 1, "tags": {"natural": "water"}, "members": members}]


def scribble(number: int, corners: int) -> dict:
    spots = np.random.default_rng(number).uniform(-0.01, 0.01, (corners, 2)) + np.array([LON, LAT])
    line = [{"lon": lon, "lat": lat} for lon, lat in spots]
    return {"type": "way", "id": number, "tags": {"natural": "water"}, "geometry": [*line, line[0]]}


def test_waters_of_nothing_but_crossings_are_left_out_and_said(errand, services):
    """Circles that all overlap: joining a thousand of them took minutes. Not timed: it would not end."""
    crossings = Crossings()
    assert sorted_out(rings(3000, size=0.01, spread=0.005), crossings) == {}
    assert crossings.refused == 1
    body = json.dumps({"elements": [*elements(), *rings(300, size=0.01, spread=0.005)]})
    services.faults({"path": "overpass", "what": "200", "body": body, "type": "application/json", "times": 1})
    found = {had.path.stem: had for had in overpass(errand("overpass"))}
    assert len(read(found["lakes"].path)) == 1
    assert found["lakes"].doubts == (
        "an outline of standing water crosses far too often to be one and could not be used: water may be missing; look at the "
        "imagery",
    )


def test_many_scribbles_together_are_bounded_as_one_is():
    """Each alone could be mended in a second; a whole answer of them would take hours."""
    crossings = Crossings()
    found = sorted_out([scribble(n, 200) for n in range(1, 301)], crossings)
    assert len(found["lakes"]) + crossings.refused == 300
    # two chords by chance in a square cross 25 times in 108 [geometric probability, from memory]: 200 of them 4,600 times
    assert 3 <= len(found["lakes"]) <= 6


def test_waters_that_lie_apart_are_joined_as_the_plain_union_joins_them():
    """Shapely's own union is the reference: circles that touch little; the ground that they enclose between them counts in."""
    element = rings(60, size=0.002, spread=0.02)
    (lake,) = sorted_out(element)["lakes"]
    every = [shapely.Polygon([(p["lon"], p["lat"]) for p in m["geometry"]]) for m in element[0]["members"]]
    filled = [shapely.Polygon(part.exterior) for part in shapely.get_parts(shapely.union_all(every))]
    assert len(filled) > 5
    found = shapely.geometry.shape(lake["geometry"])
    assert found.symmetric_difference(shapely.union_all(filled)).area < 1e-12


def test_what_is_asked():
    told = question(Bounds(-111.6, 39.2, -111.4, 39.4), timeout_s=90, most_bytes=1000)
    assert "[bbox:39.200000,-111.600000,39.400000,-111.400000]" in told
    assert told.endswith("out body geom qt;")


def test_a_remark_under_status_200_is_a_failure(errand, services):
    body = '{"elements": [], "remark": "runtime error: Query run out of memory using about 2048 MB of RAM."}'
    services.faults(
        {"path": "overpass", "what": "200", "body": body, "type": "application/json", "times": 99}
    )
    with pytest.raises(Trouble, match="200 with a remark, runtime error: Query run out of memory"):
        overpass(errand("overpass"))


def test_too_much_for_the_service_is_asked_for_in_quarters(errand, services):
    body = '{"elements": [], "remark": "runtime error: Query timed out"}'
    services.faults({"path": "overpass", "what": "200", "body": body, "type": "application/json", "times": 3})
    found = {had.path.stem: had for had in overpass(errand("overpass"))}
    assert len(read(found["names"].path)) == 3  # each quarter tells the same things: once each
    assert len(services.log("overpass")) == 3 + 4
    assert found["names"].date == "2026-11-20"


def test_nothing_here_is_not_there(errand, services):
    services.faults(
        {
            "path": "overpass",
            "what": "200",
            "body": '{"elements": []}',
            "type": "application/json",
            "times": 9,
        }
    )
    with pytest.raises(NotThere):
        overpass(errand("overpass"))


# --- names -----------------------------------------------------------------------------------------------------------


def test_names_of_the_state_inside_the_ground(errand, services):
    had = gnis(errand("gnis"))
    assert [(f["properties"]["name"], f["properties"]["kind"]) for f in read(had[0].path)] == [
        ("Bald Top", "peak"), ("Hidden Basin", "basin"), ("Windy Gap", "saddle"),
    ]  # fmt: skip
    ways = [h for h in overpass(errand("overpass")) if h.path.stem == "names"]
    without_doubles(had, ways)
    assert [f["properties"]["name"] for f in read(had[0].path)] == ["Hidden Basin", "Windy Gap"]


def test_names_outside_the_usa(errand):
    with pytest.raises(NotThere):
        gnis(errand("gnis", Wanted(around(LonLat(10.0, 47.0), 2000), Settings().date)))


def test_an_archive_that_is_none(errand, services):
    services.faults({"path": "gnis", "what": "200", "times": 9})
    with pytest.raises(Trouble, match="no archive"):
        gnis(errand("gnis"))
    services.faults({"path": "gnis", "what": "200", "body": "PK\x03\x04" + "x" * 99, "times": 9})
    with pytest.raises(Refused, match="can't be read"):
        gnis(errand("gnis"))


# --- holdings --------------------------------------------------------------------------------------------------------


def test_all_pages_are_asked_for(errand, services):
    found, _ = features(errand("padus"), wanted().reach())
    assert len(found) == 7
    assert len(services.log("query")) == 3  # three a page
    had = padus(errand("padus"))[0]
    told = [f["properties"] for f in read(had.path)]
    assert {"owner": "Forest 3", "access": "RA"} in told


def test_private_ground_of_the_other_service(errand):
    had = blm(errand("blm"))[0]
    told = [f["properties"] for f in read(had.path)]
    assert told.count({"owner": "private", "access": "private"}) == 3
    private_alone(had)
    assert len(read(had.path)) == 3


def test_ground_of_nobody_known_may_be_private_and_is_told(errand, services):
    ring = [[LON, LAT], [LON + 0.01, LAT], [LON + 0.01, LAT + 0.01], [LON, LAT + 0.01], [LON, LAT]]
    found = [
        {
            "type": "Feature",
            "geometry": {"type": "Polygon", "coordinates": [ring]},
            "properties": {"ADMIN_AGENCY_CODE": code},
        }
        for code in ("UND", "pri", "BLM", None)
    ]
    body = json.dumps({"type": "FeatureCollection", "features": found, "exceededTransferLimit": False})
    services.faults({"path": "/query", "what": "200", "body": body, "type": "application/json", "times": 9})
    had = blm(errand("blm"))[0]
    private_alone(had)
    told = [f["properties"] for f in read(had.path)]
    assert {"owner": "nobody known, may be private", "access": "not determined"} in told
    assert {"owner": "private", "access": "private"} in told
    assert len(told) == 2
    assert any("not determined" in words for words in ask_first([Feature(None, one) for one in told]))


def test_an_error_under_status_200(errand, services):
    body = '{"error": {"code": 400, "message": "Invalid URL"}}'
    services.faults({"path": "query", "what": "200", "body": body, "type": "application/json", "times": 9})
    with pytest.raises(Refused, match="400: Invalid URL"):
        padus(errand("padus"))


@pytest.mark.parametrize("what", ["500", "200"])
def test_a_box_that_is_too_much_is_halved(errand, services, what):
    body = '{"error": {"code": 504, "message": "Timed out"}}' if what == "200" else ""
    services.faults({"path": "query", "what": what, "body": body, "type": "application/json", "times": 3})
    found, _ = features(errand("padus"), wanted().reach())
    assert len(found) == 7
    boxes = {entry["query"].split("geometry=")[1].split("&")[0] for entry in services.log("query")}
    assert len(boxes) == 3  # the whole, and its halves


def test_a_part_of_the_holdings_is_no_answer(errand, services):
    services.faults({"path": "resultOffset=3", "what": "401", "times": 9})
    with pytest.raises(SourceUnavailable):
        padus(errand("padus"))


# --- forecast --------------------------------------------------------------------------------------------------------


def test_hours_of_a_forecast():
    """18 km/h are 5 m/s; the values' spans are ISO 8601; a null says nothing."""
    hours = hours_of(grid_forecast()["properties"])
    assert [hour.begins.hour for hour in hours] == [6, 7, 8]
    first, second, third = hours
    assert (first.wind_ms, first.wind_from_deg, first.temperature_c) == (5.0, 230.0, 4.5)
    assert second.cloud == 0.4
    assert third.temperature_c is None
    assert first.wind_words() == "230 18km/h"


@pytest.mark.parametrize(
    ("text", "hours"),
    [("2026-08-27T06:00:00+00:00/P1DT6H", 30), ("2026-08-27T06:00:00-06:00/PT1H", 1), ("2026-08-27T06:00:00/PT1H", None),
     ("2026-08-27T06:00:00+00:00/P9999D", None), ("yesterday", None), ("/", None),
     ("2026-08-27T06:00:00+00:00/PT30M", 1), ("2026-08-27T06:00:00+00:00/P400D", None)],
)  # fmt: skip
def test_spans(text, hours):
    found = span(text)
    assert (None if found is None else found[1]) == hours


def test_the_place_is_told_with_at_most_four_decimals(errand, services):
    ground = Wanted(around(LonLat(-111.123456789, 39.3), 1000), Settings().date)
    had = nws(errand("nws", ground))[0]
    assert "/nws/points/39.3,-111.1235" in [entry["path"] for entry in services.log("points")]
    told = json.loads(had.path.read_text())
    assert told["issued"] == "2026-08-26T20:00:00Z"
    assert had.date == "2026-08-26"


NO_VALUES = [None, {"validTime": 5, "value": 1}, {"value": 1}]


@pytest.mark.parametrize(
    "layer",
    [
        None,
        {},
        {"values": 3},
        {"uom": "wmoUnit:furlong", "values": [{}]},
        {"uom": "wmoUnit:degC", "values": NO_VALUES},
    ],
)
def test_layers_that_can_not_be_read_say_nothing(layer):
    assert hours_of({"temperature": layer}) == []


def test_a_forecast_without_hours_is_refused(errand, services):
    body = '{"properties": {"updateTime": "x"}}'
    services.faults(
        {"path": "gridpoints", "what": "200", "body": body, "type": "application/json", "times": 9}
    )
    with pytest.raises(Refused, match="without hours"):
        nws(errand("nws"))


def test_the_forecast_of_a_time():
    from graylight.country.forecast import Forecast

    told = {
        "source": "s",
        "credit": "c",
        "licence": "l",
        "url": "u",
        "issued": None,
        "lat": 1,
        "lon": 2,
        "height_m": None,
    }
    hours = hours_of(grid_forecast()["properties"])
    forecast = Forecast(**told, fetched=dt.datetime(2026, 8, 26, tzinfo=dt.UTC), hours=hours)
    mountain = dt.timezone(dt.timedelta(hours=-6))
    found = forecast.at(dt.datetime(2026, 8, 27, 1, 30, tzinfo=mountain))  # 07:30 UTC
    assert found is not None
    assert found.begins.hour == 7
    assert forecast.at(dt.datetime(2026, 8, 29, tzinfo=dt.UTC)) is None
