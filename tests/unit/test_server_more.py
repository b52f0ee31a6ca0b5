"""The page's ways to packet, camps, record, public maps and gathering: the same answers as the commands, and the guards."""

from __future__ import annotations

import json
import time

import pytest

from graylight.cli.main import main
from graylight.country.folder import Country
from graylight.errors import BadInput
from graylight.gather.basemap import sheets_for
from graylight.gather.tiles import tile_at
from graylight.packet.listing import packet_files, read_packet_file
from graylight.place import read_place
from graylight.server.desk import Desk
from graylight.server.outside import Outside
from tests.unit.open_ground import LAT, LON
from tests.unit.page_server import page_over

MORNING = {"where": "L1", "begin": "2026-08-27 05:20", "until": "2026-08-27 09:00"}


@pytest.fixture(scope="module")
def page(small, tmp_path_factory):
    with page_over(small, tmp_path_factory.mktemp("home")) as served:
        yield served


@pytest.fixture
def fresh(small, tmp_path):
    with page_over(small, tmp_path) as served:
        yield served


def ended(page, id):
    for _ in range(1200):
        job = page.client.get(f"/api/jobs/{id}").json()
        if job["state"] not in {"waiting", "running"}:
            return job
        time.sleep(0.05)
    raise AssertionError("the job does not end")


# --- camps -------------------------------------------------------------------------------------------------------------


def test_camps_are_those_of_the_command(page, capsys):
    told = page.client.get("/api/camps", params={"lookout": "L1"}).json()
    capsys.readouterr()
    assert main(["camp", str(page.home / "country"), "--lookout", "L1", "--json"]) == 0
    assert told["camps"] == json.loads(capsys.readouterr().out)
    assert any("allowed" in s for note in told["notes"] for s in note["sentences"])  # the caution is told


def test_camps_for_no_such_lookout(page):
    assert page.client.get("/api/camps", params={"lookout": "L99"}).status_code == 422


# --- the record --------------------------------------------------------------------------------------------------------


def test_an_outing_is_kept_told_moves_the_odds_and_can_be_taken_back(fresh, capsys):
    folder = fresh.home / "country"
    before = fresh.client.get("/api/odds").json()["odds"]
    answer = fresh.client.post("/api/outings", json=MORNING)
    assert answer.status_code == 201, answer.text
    told = answer.json()
    assert told["outing"]["lookout"] == "L1"
    assert told["outing"]["searched"]
    assert told["undo"]
    rows = fresh.client.get("/api/rows").json()["features"]
    assert [one["id"] for one in rows if one["properties"]["table"] == "outings"] == ["outings/1"]
    after = fresh.client.get("/api/odds").json()
    assert after["odds"]["outings"] == 1
    best = told["outing"]["searched"][0]["pocket"]
    chance = {p["id"]: p["chance"]["likely"] for p in after["odds"]["pockets"]}
    assert chance[best] < {p["id"]: p["chance"]["likely"] for p in before["pockets"]}[best]
    capsys.readouterr()
    assert main(["odds", str(folder), "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == after["odds"]
    assert fresh.client.post("/api/undo", json={}).json()["words"]
    assert fresh.client.get("/api/odds").json()["odds"] == before


def test_the_next_mornings_are_those_of_the_command(page, capsys):
    told = page.client.get("/api/next", params={"mornings": 2}).json()
    capsys.readouterr()
    assert main(["next", str(page.home / "country"), "--mornings", "2", "--json"]) == 0
    assert told["next"] == json.loads(capsys.readouterr().out)
    assert len(told["next"]["sits"]) == 2
    assert told["notes"]


def test_a_sighting_by_bearing_by_place_and_by_the_strip(fresh):
    seat = fresh.client.get("/api/plan").json()["lookouts"][0]
    spot = seat["sees"][0]
    by_bearing = {
        "seen_from": seat["id"], "bearing_deg": spot["bearing_true_deg"], "true_north": True,
        "distance": f"{spot['distance_m']:.0f}m", "when": "2026-08-27 06:40", "count": 2, "sex": "female",
    }  # fmt: skip
    first = fresh.client.post("/api/sightings", json=by_bearing)
    assert first.status_code == 201, first.text
    assert first.json()["sighting"]["count"] == 2
    place = first.json()["sighting"]["place"]
    at = {"lon": place["lon"], "lat": place["lat"]}
    second = fresh.client.post("/api/sightings", json={"at": at, "when": "2026-08-27"}).json()
    assert second["sighting"]["placed"] == "coordinates"
    assert second["sighting"]["place"]["lat"] == pytest.approx(place["lat"], abs=1e-5)
    view = {"lon": seat["place"]["lon"], "lat": seat["place"]["lat"], "width": 900}
    drawn = fresh.client.get("/api/horizon", params=view).json()
    pocket = max(drawn["pockets"], key=lambda one: one["part"])
    x = (pocket["x_from"] + pocket["x_to"]) / 2
    for y in range(drawn["top"] + 2, drawn["top"] + drawn["view_height"], 6):
        ground = fresh.client.get("/api/horizon/ground", params={**view, "x": x, "y": y}).json()
        if not ground["sky"] and 400 < ground["distance_m"] < 3000:
            break
    strip = {"x": x, "y": y, "width": 900}
    third = fresh.client.post(
        "/api/sightings", json={"seen_from": seat["id"], "strip": strip, "when": "2026-08-27"}
    )
    assert third.status_code == 201, third.text
    told = third.json()["sighting"]
    assert told["placed"] == "strip"
    # the ground that the page shows under the pointer is where the animals are put, but for the cell's size
    assert abs(told["distance_m"] - ground["distance_m"]) < 0.1 * ground["distance_m"] + 60


def test_sign_and_a_trail(fresh):
    middle = fresh.client.get("/api/plan").json()["pockets"][0]["centre"]
    at = {"lon": middle["lon"], "lat": middle["lat"]}
    said = fresh.client.post(
        "/api/sign", json={"at": at, "kind": "rub", "age": "fresh", "when": "2026-08-27"}
    )
    assert said.status_code == 201, said.text
    assert said.json()["sign"]["kind"] == "rub"
    course = [at, {"lon": at["lon"] + 0.002, "lat": at["lat"]}]
    assert fresh.client.post("/api/sign", json={"line": course}).json()["sign"]["trace"]
    assert fresh.client.post("/api/sign", json={"kind": "rub"}).status_code == 422


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"until": "2026-08-27 04:00"}, "ends before it begins"),
        ({"where": "L99"}, "L99"),
        ({"weather": "plague"}, "weather is 'plague'"),
        ({"begin": "early"}, "begin is 'early'"),
    ],
)
def test_a_wrong_outing_is_refused_in_the_words_of_the_page(page, change, words):
    answer = page.client.post("/api/outings", json={**MORNING, **change})
    assert answer.status_code == 422
    assert words in answer.json()["detail"]
    assert "--" not in answer.json()["detail"]
    assert not [
        f for f in page.client.get("/api/rows").json()["features"] if f["properties"]["table"] == "outings"
    ]


# --- the packet --------------------------------------------------------------------------------------------------------


def test_a_packet_is_made_listed_and_handed_over(fresh):
    assert fresh.client.get("/api/packet").json() == []
    job = fresh.client.post("/api/jobs", json={"kind": "packet", "lookouts": "L1", "wind": "SW 8mph"}).json()
    assert ended(fresh, job["id"])["state"] == "done"
    listed = fresh.client.get("/api/packet").json()
    names = {one["name"]: one for one in listed}
    assert {"packet-letter.pdf", "packet.html", "plan.gpx", "maps/L1.pdf", "mornings/L1.json"} <= names.keys()
    assert all(one["words"] for one in listed)  # every file is told what it is for
    for name in ("packet-letter.pdf", "maps/L1.pdf", "packet.html"):
        answer = fresh.client.get(f"/api/packet/{name}")
        assert len(answer.content) == names[name]["bytes"]
        assert answer.headers["content-disposition"].startswith("attachment")
        assert answer.content == (fresh.home / "country" / "packet" / name).read_bytes()


@pytest.mark.parametrize(
    "name", ["../settings.toml", "..%2Fsettings.toml", "contents.json", "nothing", "/etc/hosts"]
)
def test_no_other_file_is_handed_over(page, name):
    answer = page.client.get(f"/api/packet/{name}")
    assert answer.status_code == 404


def test_a_list_that_was_tampered_with_leads_nowhere(small, tmp_path):
    home = tmp_path / "country"
    (home / "packet").mkdir(parents=True)
    for name in ("country.json", "country.gpkg", "settings.toml"):
        (home / name).write_bytes((small / name).read_bytes())
    (tmp_path / "secret").write_text("x")
    (home / "packet" / "plan.gpx").write_text("y")
    (home / "packet" / "link.gpx").symlink_to(tmp_path / "secret")
    names = ["../../secret", "../settings.toml", str(tmp_path / "secret"), "link.gpx", "plan.gpx", "gone.pdf"]
    (home / "packet" / "contents.json").write_text(json.dumps({"files": {name: {} for name in names}}))
    country = Country.open(home)
    assert [one.name for one in packet_files(country)] == ["plan.gpx"]
    for name in names[:4]:
        with pytest.raises(BadInput):
            read_packet_file(country, name)


def test_a_packet_of_no_such_lookout_is_refused_at_once(page):
    answer = page.client.post("/api/jobs", json={"kind": "packet", "lookouts": "L99"})
    assert answer.status_code == 422
    assert page.client.post("/api/jobs", json={"kind": "supper"}).status_code == 422


# --- maps of public services -------------------------------------------------------------------------------------------


def over(country, zoom=13):
    middle = country.grid.center
    return zoom, *tile_at(middle.lon, middle.lat, zoom)


def address(country, name="topo", zoom=13):
    z, x, y = over(country, zoom)
    return f"/api/tiles/basemap-{name}/{z}/{x}/{y}"


def test_a_tile_is_asked_for_once_and_kept(services, small, tmp_path):
    outside = Outside(services.table, tmp_path / "store")
    with page_over(small, tmp_path / "home", outside=outside) as page:
        where = address(page.desk.opened.country)
        maps = page.client.get("/api/basemaps").json()
        assert [one["name"] for one in maps] == ["topo", "imagery"]
        assert all("USGS" in one["credit"] for one in maps)
        assert not services.log()  # to list them asks nobody
        first = page.client.get(where)
        assert first.status_code == 200
        assert first.headers["content-type"] == "image/jpeg"
        assert page.client.get(where).content == first.content
        asked = services.log("topo")
        assert len(asked) == 1
        assert "graylight" in asked[0]["agent"]
    away = Outside(services.table, tmp_path / "store", offline=True)
    with page_over(small, tmp_path / "again", outside=away) as page:
        assert page.client.get(where).content == first.content  # without a network
        assert page.client.get(address(page.desk.opened.country, "imagery")).status_code == 503


def test_tiles_off_the_country_and_too_close_are_not_asked_for(services, small, tmp_path):
    outside = Outside(services.table, tmp_path / "store")
    with page_over(small, tmp_path / "home", outside=outside) as page:
        z, x, y = over(page.desk.opened.country)
        for where in (f"{z}/{x + 40}/{y}", "17/0/0", f"{z}/0/0"):
            assert page.client.get(f"/api/tiles/basemap-topo/{where}").status_code == 404
        assert page.client.get(f"/api/tiles/basemap-other/{z}/{x}/{y}").status_code == 422
        assert not services.log()


def test_after_a_failure_nobody_waits_for_each_tile_anew(services, small, tmp_path):
    services.faults({"path": "pictures", "what": "503", "times": 99})
    outside = Outside(services.table, tmp_path / "store")
    with page_over(small, tmp_path / "home", outside=outside) as page:
        country = page.desk.opened.country
        assert page.client.get(address(country)).status_code == 503
        asked = len(services.log("topo"))
        assert asked == 2  # tries of a map: fewer than a gathering's
        assert page.client.get(address(country, zoom=12)).status_code == 503
        assert len(services.log("topo")) == asked


def test_a_page_instead_of_a_picture_is_not_shown(services, small, tmp_path):
    services.faults({"path": "pictures", "what": "200", "times": 99})
    outside = Outside(services.table, tmp_path / "store")
    with page_over(small, tmp_path / "home", outside=outside) as page:
        assert page.client.get(address(page.desk.opened.country)).status_code == 503


def test_an_invented_range_has_no_public_map(services, small, tmp_path):
    outside = Outside(services.table, tmp_path / "store")
    with page_over(small, tmp_path / "home", outside=outside) as page:
        facts = page.home / "country" / "country.json"
        told = json.loads(facts.read_text())
        facts.write_text(json.dumps({**told, "invented": True}))
        page.desk.open(page.home / "country")
        country = page.desk.opened.country
        assert country.invented
        assert page.client.get("/api/basemaps").json() == []
        answer = page.client.get(address(country))
        assert answer.status_code == 422
        assert "invented" in answer.json()["detail"]
        assert not services.log()


def test_no_public_map_where_no_service_has_one(jacksboro, services, tmp_path):
    """Services of the USA alone: the table says so."""
    folder = tmp_path / "away"
    assert main(["new", str(folder), "--elevation", str(jacksboro)]) == 0
    table = Outside(services.table, tmp_path / "store").services(folder)
    assert len(sheets_for(Country.open(folder), table)) == 2  # Tennessee
    away = Country.open(folder)
    assert read_place("46.5, 8.0").lat == 46.5
    assert not table["topo_tiles"].covers(type(away.grid.lonlat_bounds())(7.9, 46.4, 8.1, 46.6))


# --- gathering ---------------------------------------------------------------------------------------------------------

BOX = [round(v, 4) for v in (LON - 0.02, LAT - 0.015, LON + 0.02, LAT + 0.015)]
SIDES = dict(zip(("west", "south", "east", "north"), BOX, strict=True))


def test_an_estimate_asks_nobody(services, tmp_path):
    with page_over(None, tmp_path / "home", outside=Outside(services.table, tmp_path / "store")) as page:
        told = page.client.get("/api/estimate", params=SIDES).json()
        less = page.client.get("/api/estimate", params={**SIDES, "without": "canopy,imagery"}).json()
        assert 0 < less["bytes"] < told["bytes"]
        assert any("MB" in line for line in told["lines"])
        assert page.client.get("/api/estimate", params={**SIDES, "west": 10}).status_code == 422
        assert page.client.get("/api/estimate", params={**SIDES, "without": "supper"}).status_code == 422
        assert not services.log()


def test_a_box_becomes_a_country(services, tmp_path, monkeypatch):
    monkeypatch.setattr(Desk, "plan", lambda desk: None)  # a plan takes long
    with page_over(None, tmp_path / "home", outside=Outside(services.table, tmp_path / "store")) as page:
        kept = page.client.post("/api/countries", json={"name": "Test Ground", "box": BOX}).json()
        job = page.client.post(
            "/api/jobs", json={"kind": "gather", "key": kept["key"], "without": "canopy,imagery"}
        ).json()
        done = ended(page, job["id"])
        assert done["state"] == "done", done
        assert any(line.startswith("got elevation") for line in done["result"]["words"])
        assert any("current rules" in line for line in done["result"]["words"])
        country = Country.open(page.home / kept["key"])
        assert country.has("elevation")
        entries = {one["key"]: one for one in page.client.get("/api/countries").json()}
        assert entries[kept["key"]]["box"] is None  # a country now, no box
        assert page.client.post("/api/jobs", json={"kind": "gather", "key": kept["key"]}).status_code == 404
        page.client.post("/api/open", json={"key": kept["key"]})
        # https://www.openstreetmap.org/copyright: the words of the credit
        assert "© OpenStreetMap contributors" in page.client.get("/api/state").json()["attribution"]


def test_without_elevation_the_box_stays_and_it_is_said(services, tmp_path):
    services.faults({"path": "dem|glo30|terrain", "what": "503", "times": 999})
    with page_over(None, tmp_path / "home", outside=Outside(services.table, tmp_path / "store")) as page:
        kept = page.client.post("/api/countries", json={"name": "Test Ground", "box": BOX}).json()
        job = page.client.post("/api/jobs", json={"kind": "gather", "key": kept["key"]}).json()
        done = ended(page, job["id"])
        assert done["state"] == "failed"
        assert "no elevation could be had" in done["problem"]
        assert not (page.home / kept["key"]).exists()
        assert [one["box"] for one in page.client.get("/api/countries").json()] == [BOX]


def test_a_gathering_can_be_stopped(services, tmp_path):
    services.faults({"path": "dem", "what": "slow", "wait_s": 0.9, "times": 999})
    with page_over(None, tmp_path / "home", outside=Outside(services.table, tmp_path / "store")) as page:
        kept = page.client.post("/api/countries", json={"name": "Test Ground", "box": BOX}).json()
        job = page.client.post("/api/jobs", json={"kind": "gather", "key": kept["key"]}).json()
        page.client.delete(f"/api/jobs/{job['id']}")
        assert ended(page, job["id"])["state"] == "stopped"
        assert not (page.home / kept["key"]).exists()
