"""The record over HTTP beyond the saying: corrections, removals, files from the field, photos, what it teaches.

Held against the commands (the same country asked by `graylight ... --json`) and against the GeoPackage as GDAL reads it.
"""

from __future__ import annotations

import io
import json
import sqlite3
from contextlib import closing
from itertools import pairwise

import pyogrio
import pytest
from PIL import Image

from graylight.cli.main import main
from graylight.plan import learning as learning_of
from tests.unit.page_server import page_over

DAY = "2026-08-27"
MORNING = {"where": "L1", "begin": f"{DAY} 05:20", "until": f"{DAY} 09:00"}
NEWEST = 2


@pytest.fixture
def page(small, tmp_path):
    with page_over(small, tmp_path) as served:
        yield served


def command(capsys, *words):
    """What the command prints as JSON."""
    capsys.readouterr()
    assert main([*words, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def rows_of(page, table):
    found = page.client.get("/api/rows").json()["features"]
    return {
        one["properties"]["id"]: one["properties"] for one in found if one["properties"]["table"] == table
    }


def kept(answer, status=201):
    assert answer.status_code == status, answer.text
    return answer.json()


def middle(page):
    spot = page.client.get("/api/plan").json()["pockets"][0]["centre"]
    return {"lon": spot["lon"], "lat": spot["lat"]}


def form(page, path, name, data, said=None):
    return page.client.post(
        f"/api/field-files{path}", files={"file": (name, data)}, data=None if said is None else {"said": said}
    )


def gpx(page, *, times=True, waypoints=1, minutes=(0, 30, 60)):
    """A track that stays at a lookout of the plan, and waypoints there (GPX 1.1, topografix.com/GPX/1/1)."""
    seat = page.client.get("/api/plan").json()["lookouts"][0]["place"]
    at = f'lat="{seat["lat"]}" lon="{seat["lon"]}"'
    stamp = [f"2026-08-27T{12 + (30 + m) // 60:02d}:{(30 + m) % 60:02d}:00Z" for m in minutes]
    points = "".join(f"<trkpt {at}>{f'<time>{one}</time>' if times else ''}</trkpt>" for one in stamp)
    said = f"<wpt {at}><time>2026-08-27T13:00:00Z</time><name>two does</name></wpt>" * waypoints
    return f'<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1">{said}<trk><trkseg>{points}</trkseg></trk></gpx>'


def photo(tags=None):
    """A small JPEG with Exif (JEITA CP-3451): place, time with its offset, direction."""
    exif = Image.Exif()
    exif.get_ifd(0x8825).update(
        {1: "N", 2: (40.0, 27.0, 0.0), 3: "W", 4: (114.0, 49.0, 12.0), 16: "M", 17: 240.0}
    )
    exif.get_ifd(0x8769).update({0x9003: "2026:08:27 06:41:10", 0x9011: "-07:00", **(tags or {})})
    out = io.BytesIO()
    Image.new("RGB", (32, 24), (90, 120, 60)).save(out, format="JPEG", exif=exif)
    return out.getvalue()


# --- one way in --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("table", ["outings", "sightings", "sign"])
def test_no_row_of_the_record_comes_past_its_checks(page, table):
    told = kept(page.client.post("/api/outings", json=MORNING))
    values = {"people": "many"} if table == "outings" else {"note": "x"}
    before = page.desk.rows.revision()
    for answer in (
        page.client.post(f"/api/rows/{table}", json={"values": values}),
        page.client.patch(f"/api/rows/{table}/1", json={"values": values}),
        page.client.delete(f"/api/rows/{table}/1"),
    ):
        assert answer.status_code == 422
        assert f"/api/{table}" in answer.json()["detail"]  # where it is said instead
    assert page.desk.rows.revision() == before
    assert page.client.get("/api/odds").json()["odds"]["outings"] == 1
    assert told["outing"]["id"] == 1


def test_words_where_a_number_belongs_stop_nobody(page):
    """Another program may have written them: SQLite keeps anything in any column (sqlite.org/flextypegood.html)."""
    kept(page.client.post("/api/outings", json=MORNING))
    kept(page.client.post("/api/sightings", json={"at": middle(page), "when": f"{DAY} 06:40"}))
    before = page.client.get("/api/odds").json()["odds"]["pockets"]
    with closing(sqlite3.connect(page.home / "country" / "country.gpkg")) as db:
        db.execute("UPDATE outings SET people = 'many'")
        db.execute("UPDATE sightings SET count = 'some'")
        db.commit()
    page.desk.rows.change("outings", 1, note="seen by all")  # another revision
    assert page.client.get("/api/odds").json()["odds"]["pockets"] == before
    kept(page.client.patch("/api/outings/1", json={"people": 2}), 200)
    assert rows_of(page, "outings")[1]["people"] == 2


def test_a_trail_drawn_as_a_row_runs_inside_the_country(page):
    at = middle(page)
    course = [[at["lon"], at["lat"]], [at["lon"] + 0.003, at["lat"]], [at["lon"] + 0.003, at["lat"] + 0.002]]
    drawn = {"geometry": {"type": "LineString", "coordinates": course}, "values": {"kind": "trail"}}
    id = kept(page.client.post("/api/rows/traces", json=drawn))["row"]["properties"]["id"]
    away = {"geometry": {"type": "LineString", "coordinates": [course[0], [at["lon"] + 4.0, at["lat"]]]}}
    still = {"geometry": {"type": "LineString", "coordinates": [course[0], course[0]]}}
    for wrong in (away, still):
        assert page.client.patch(f"/api/rows/traces/{id}", json=wrong).status_code == 422
        assert page.client.post("/api/rows/traces", json=wrong).status_code == 422
    new = {"geometry": {"type": "LineString", "coordinates": course[:2]}, "values": {"note": "worn deep"}}
    row = kept(page.client.patch(f"/api/rows/traces/{id}", json=new), 200)["row"]
    assert [len(part) for part in row["geometry"]["coordinates"]] == [2]
    assert row["properties"]["note"] == "worn deep"


# --- put right, taken away, taken back -----------------------------------------------------------------------------------


def test_an_outing_put_right_is_as_if_said_so_at_first(page, capsys, small, tmp_path):
    """What is put right must not remember what it was: the odds are those of a country that never knew it."""
    wrong = {**MORNING, "begin": f"{DAY} 07:30", "glass": "naked eye", "wind": "SW 8mph", "note": "x"}
    kept(page.client.post("/api/outings", json=wrong))
    right = {"begin": MORNING["begin"], "glass": "10x42", "wind": "", "note": ""}
    told = kept(page.client.patch("/api/outings/1", json=right), 200)
    assert (told["outing"]["wind"], told["outing"]["note"], told["outing"]["glasses"]) == ("", "", ["10x42"])
    assert told["outing"]["ended"] == "2026-08-27T16:00:00Z"  # what was not said stays
    with page_over(small, tmp_path / "other") as other:
        kept(other.client.post("/api/outings", json={**MORNING, "glass": "10x42"}))
        clean = other.client.get("/api/odds").json()["odds"]
    assert page.client.get("/api/odds").json()["odds"] == clean
    assert command(capsys, "odds", str(page.home / "country")) == clean
    assert page.client.post("/api/undo", json={}).json()["words"]
    assert rows_of(page, "outings")[1]["optics"] == "naked eye"


def test_what_can_not_be_put_right_stays_as_it_was(page):
    kept(page.client.post("/api/outings", json=MORNING))
    kept(page.client.post("/api/outings", json={**MORNING, "begin": f"{DAY} 17:00", "until": f"{DAY} 19:00"}))
    before = rows_of(page, "outings")
    for wrong, words in (
        ({"until": f"{DAY} 18:00"}, "take outing 2 away with 'take it away'"),
        ({"begin": f"{DAY} 10:00"}, "ends before it begins"),
        ({"people": "many"}, "people"),
        ({"people": 20_000}, "people"),
        ({"weather": "plague"}, "weather is 'plague'"),
        ({"wind": "sideways"}, "wind"),
        ({"watched": "P99"}, "P99"),
    ):
        answer = page.client.patch("/api/outings/1", json=wrong)
        assert answer.status_code == 422
        assert words in answer.json()["detail"]
        assert "--" not in answer.json()["detail"]
    assert rows_of(page, "outings") == before
    assert page.client.patch("/api/outings/99", json={"note": "x"}).status_code == 404
    assert page.client.patch("/api/sightings/99", json={"note": "x"}).status_code == 404
    assert page.client.delete("/api/sign/99").status_code == 404


def test_a_sighting_and_sign_put_right(page):
    at = middle(page)
    kept(
        page.client.post(
            "/api/sightings", json={"at": at, "when": f"{DAY} 06:40", "count": 2, "doing": "fed"}
        )
    )
    right = {"count": 5, "sex": "male", "doing": "", "toward": 40.0, "group": "spikes"}
    told = kept(page.client.patch("/api/sightings/1", json=right), 200)["sighting"]
    assert (told["count"], told["sex"], told["doing"], told["toward_true_deg"]) == (5, "male", "", 40.0)
    assert told["at"] == "2026-08-27T13:40:00Z"
    assert (told["place"]["lon"], told["place"]["lat"]) == pytest.approx((at["lon"], at["lat"]), abs=1e-4)
    moved = {"at": {"lon": at["lon"] + 0.002, "lat": at["lat"]}}
    told = kept(page.client.patch("/api/sightings/1", json=moved), 200)["sighting"]
    assert told["place"]["lon"] == pytest.approx(at["lon"] + 0.002, abs=1e-4)
    assert told["count"] == 5
    assert page.client.patch("/api/sightings/1", json={"outing": 7}).status_code == 422

    kept(page.client.post("/api/sign", json={"at": at, "kind": "rub", "age": "old", "when": DAY}))
    told = kept(page.client.patch("/api/sign/1", json={"age": "fresh", "note": "wet"}), 200)["sign"]
    assert (told["kind"], told["age"], told["note"], told["date"]) == ("rub", "fresh", "wet", DAY)
    assert page.client.patch("/api/sign/1", json={"kind": "feather"}).status_code == 422
    assert rows_of(page, "sign")[1]["age"] == "fresh"


def test_what_is_taken_away_moves_the_odds_back_and_comes_back(page):
    before = page.client.get("/api/odds").json()["odds"]
    kept(page.client.post("/api/outings", json=MORNING))
    kept(page.client.post("/api/sightings", json={"at": middle(page), "when": f"{DAY} 06:40"}))
    both = page.client.get("/api/odds").json()["odds"]
    told = kept(page.client.delete("/api/outings/1"), 200)
    assert "sighting 1" in " ".join(told["notes"][0]["sentences"])
    kept(page.client.delete("/api/sightings/1"), 200)
    assert page.client.get("/api/odds").json()["odds"] == before
    for _ in range(NEWEST):
        assert page.client.post("/api/undo", json={}).json()["words"]
    assert page.client.get("/api/odds").json()["odds"] == both
    again = page.client.post("/api/redo", json={}).json()
    assert "outing" in again["words"]
    assert page.client.get("/api/odds").json()["odds"]["outings"] == 0


def test_undo_never_leaves_two_outings_at_one_time(page):
    """Put forward, another said where it had been, that taken back and the putting forward too: all states hold."""
    kept(page.client.post("/api/outings", json=MORNING))
    later = {"begin": f"{DAY} 17:00", "until": f"{DAY} 19:00"}
    kept(page.client.patch("/api/outings/1", json=later), 200)
    kept(page.client.post("/api/outings", json=MORNING))
    words = [page.client.post("/api/undo", json={}).json()["words"] for _ in range(4)]
    assert [bool(one) for one in words] == [True, True, True, False]
    for _ in range(4):
        spans = sorted((one["began"], one["ended"]) for one in rows_of(page, "outings").values())
        assert all(a[1] <= b[0] for a, b in pairwise(spans))
        page.client.post("/api/redo", json={})
    assert len(spans) == 2


def test_a_row_of_a_newer_version_is_not_put_right(page):
    kept(page.client.post("/api/sightings", json={"at": middle(page), "when": DAY}))
    page.desk.rows.change("sightings", 1, record=NEWEST)
    answer = page.client.patch("/api/sightings/1", json={"count": 3})
    assert answer.status_code == 422
    assert "newer version" in answer.json()["detail"]
    assert rows_of(page, "sightings")[1]["record"] == NEWEST


# --- files from the field ------------------------------------------------------------------------------------------------


def test_an_outing_by_its_track_is_that_of_the_command(page, capsys, small, tmp_path):
    data = gpx(page)
    held = form(page, "", "out.gpx", data).json()
    assert held["track"] == {
        "points": 3, "began": "2026-08-27T12:30:00Z", "ended": "2026-08-27T13:30:00Z", "why_not": None,
    }  # fmt: skip
    assert (held["animals"], held["trails"]) == (1, 1)
    assert rows_of(page, "outings") == {}  # only looked at
    said = {"glass": "10x42, naked eye", "weather": "fog", "people": 2, "note": "slow"}
    told = kept(form(page, "/outing", "out.gpx", data, json.dumps(said)))["outing"]
    with page_over(small, tmp_path / "other") as other:
        file = tmp_path / "out.gpx"
        file.write_text(data)
        words = ["--glass", "10x42, naked eye", "--weather", "fog", "--people", "2", "--note", "slow"]
        theirs = command(capsys, "outing", str(other.home / "country"), "--track", str(file), *words)
    assert told == theirs
    assert told["track_points"] == 3
    answer = form(page, "/outing", "out.gpx", data)
    assert answer.status_code == 422
    assert "runs into outing 1" in answer.json()["detail"]


@pytest.mark.parametrize(
    ("name", "data", "words"),
    [
        ("notes.txt", b"hello", "can't be read as a table"),
        ("out.gpx", b"<html/>", "is not a GPX file"),
        ("out.gpx", b'<!DOCTYPE a [<!ENTITY b "c">]><gpx/>', "is not a GPX file"),
        ("out.gpx", b"", "is not a GPX file"),
        ("seen.csv", b"place,count\n", "0 lines below the headings"),
        ("seen.csv", b"\xff\xfe\x00", "UTF-8"),
    ],
)
def test_a_file_that_holds_nothing_is_refused_in_a_line(page, name, data, words):
    answer = form(page, "", name, data)
    assert answer.status_code == 422
    assert words in answer.json()["detail"]
    assert form(page, "/outing", name, data).status_code == 422
    assert form(page, "/sightings", name, data).status_code == 422
    assert form(page, "/trails", name, data).status_code == 422
    assert page.client.get("/api/rows").json()["undo"] is None


def test_a_track_without_times_says_why_and_can_be_a_trail_if_it_goes_anywhere(page):
    held = form(page, "", "out.gpx", gpx(page, times=False)).json()
    assert "without times" in held["track"]["why_not"]
    assert "--" not in held["track"]["why_not"]
    at = middle(page)
    points = "".join(f'<rtept lat="{at["lat"]}" lon="{at["lon"] + k / 1000}"/>' for k in range(4))
    told = kept(form(page, "/trails", "way.gpx", f"<gpx><rte>{points}</rte></gpx>", "from imagery"))
    assert told["added"] == [1]
    assert rows_of(page, "traces")[1]["note"] == "from imagery"
    # all or none: the second line leaves the country
    away = f'<rte>{points}</rte><rte><rtept lat="10" lon="10"/><rtept lat="11" lon="11"/></rte>'
    assert form(page, "/trails", "way.gpx", f"<gpx>{away}</gpx>").status_code == 422
    assert list(rows_of(page, "traces")) == [1]


def test_sightings_from_a_table_all_or_none_and_once(page, capsys):
    at = middle(page)
    head = "lat,lon,time,count,sex,note,moon"
    good = f'{at["lat"]},{at["lon"]},{DAY} 06:40,2,female,"by the creek",full'
    bad = f"{at['lat']},{at['lon']},{DAY} 06:45,some,female,,"
    answer = form(page, "/sightings", "seen.csv", f"{head}\n{good}\n{bad}\n")
    assert answer.status_code == 422
    assert "line 3" in answer.json()["detail"]
    assert rows_of(page, "sightings") == {}
    told = kept(form(page, "/sightings", "seen.csv", f"{head}\n{good}\n"))
    assert (told["added"], told["there_already"], told["not_read"]) == ([1], 0, ["moon"])
    told = kept(form(page, "/sightings", "seen.csv", f"{head}\n{good}\n"))
    assert (told["added"], told["there_already"]) == ([], 1)
    meta, _, _, columns = pyogrio.raw.read(str(page.home / "country" / "country.gpkg"), layer="sightings")
    there = dict(zip(meta["fields"], [c.tolist() for c in columns], strict=True))
    assert (there["date"], there["note"]) == (["2026-08-27T13:40:00Z"], ["by the creek"])
    # the waypoints of a GPX file, whose times are UTC
    told = kept(form(page, "/sightings", "out.gpx", gpx(page)))
    assert rows_of(page, "sightings")[told["added"][0]]["date"] == "2026-08-27T13:00:00Z"


def test_a_form_without_a_file_and_one_too_large(page):
    assert page.client.post("/api/field-files", data={"said": "x"}).status_code in {415, 422}
    assert page.client.post("/api/field-files", files={"other": ("a", b"b")}).status_code == 422
    assert form(page, "/outing", "out.gpx", gpx(page), "[1]").status_code == 422
    assert form(page, "/outing", "out.gpx", gpx(page), '{"moon": 1}').status_code == 422
    assert form(page, "", "big.gpx", b"<" + b" " * (33 * 2**20)).status_code == 413


# --- photos --------------------------------------------------------------------------------------------------------------


def test_a_photo_tells_its_place_and_time_only_when_asked(page):
    head = {"content-type": "image/jpeg"}
    quiet = kept(page.client.post("/api/photos", content=photo(), headers=head))
    assert quiet["facts"] is None
    told = kept(page.client.post("/api/photos?facts=true", content=photo(), headers=head))
    assert told["name"] == quiet["name"]
    assert told["facts"]["when"] == f"{DAY} 06:41:10"  # 13:41:10 UTC, Pacific daylight time
    assert (told["facts"]["lat"], told["facts"]["lon"]) == pytest.approx((40.45, -114.82))
    assert (told["facts"]["bearing_deg"], told["facts"]["north"]) == (240.0, "magnetic")
    file = page.client.get(f"/api/photos/{told['name']}").content
    assert not Image.open(io.BytesIO(file)).getexif()  # nothing of it stays in the file
    said = {
        "at": {"lon": told["facts"]["lon"], "lat": told["facts"]["lat"]},
        "by_photo": True,
        "photo": told["name"],
    }
    seen = kept(page.client.post("/api/sightings", json={**said, "when": DAY}))["sighting"]
    assert (seen["photo"], seen["placed"]) == (told["name"], "photo: where the camera stood")
    far = {"seen_from": said["at"], "bearing_deg": 240.0, "distance": "150m", "by_photo": True, "when": DAY}
    seen = kept(page.client.post("/api/sightings", json=far))["sighting"]
    assert (seen["placed"], seen["distance_m"]) == (
        "photo, direction and distance",
        pytest.approx(150, abs=15),
    )
    sign = {"at": said["at"], "kind": "bed", "when": DAY, "photo": told["name"]}
    kept(page.client.post("/api/sign", json=sign))
    assert rows_of(page, "sign")[1]["photo"] == told["name"]


def test_a_photo_without_an_offset_gives_the_cameras_clock(page):
    found = kept(
        page.client.post(
            "/api/photos?facts=true", content=photo({0x9011: ""}), headers={"content-type": "image/jpeg"}
        )
    )
    assert found["facts"]["when"] == f"{DAY} 06:41:10"


# --- what it teaches -----------------------------------------------------------------------------------------------------


def test_what_the_record_teaches_is_told_as_by_the_command_and_changes_nothing(page, capsys):
    before = page.desk.rows.revision()
    told = page.client.get("/api/learn").json()
    assert told["learning"] == command(capsys, "learn", str(page.home / "country"))
    assert not any("--use" in s for note in told["notes"] for s in note["sentences"])
    assert page.desk.rows.revision() == before
    for use in ("pace", "air", "habitat"):
        answer = page.client.post("/api/learn", json={"use": use})
        assert answer.status_code == 422  # nothing was recorded yet
    assert page.client.post("/api/learn", json={"use": "supper"}).status_code == 422
    assert page.desk.rows.revision() == before


def test_what_is_put_to_use_is_an_edit_that_can_be_taken_back(page, monkeypatch):
    """The reckoning is held elsewhere (test_record.py); here it is given, as with a full record."""
    real = page.client.get("/api/learn").json()["learning"]
    pace = {**real["pace"], "after": 1.31, "low": 1.2, "high": 1.4, "walks": 3, "minutes": 90}
    weights = [{"name": "pocket.weight_feed", "before": 1.0, "after": 0.8, "spread": 0.1}]
    habitat = {**real["habitat"], "sightings": 20, "pockets": 4, "weights": weights}
    full = learning_of.Learning.model_validate({**real, "pace": pace, "habitat": habitat})
    monkeypatch.setattr("graylight.server.learnt.learning", lambda book: full)
    spot = {"type": "Point", "coordinates": list(middle(page).values())}
    kept(page.client.post("/api/rows/places", json={"geometry": spot}))  # another revision: reckoned anew
    before = page.client.get("/api/state").json()["settings"]
    told = kept(page.client.post("/api/learn", json={"use": "pace"}), 200)
    assert told["learning"]["used"]
    now = page.client.get("/api/state").json()
    assert now["settings"]["all"]["walk"]["pace_factor"] == 1.31
    assert now["stale"]
    assert "the pace factor" in page.client.post("/api/undo", json={}).json()["words"]
    assert page.client.get("/api/state").json()["settings"] == before
    kept(page.client.post("/api/learn", json={"use": "habitat"}), 200)
    now = page.client.get("/api/state").json()
    own = f"{before['animal']}-own"
    assert (now["settings"]["animal"], own in now["animals"]) == (own, True)
    page.client.post("/api/undo", json={})
    assert page.client.get("/api/state").json()["settings"]["animal"] == before["animal"]


def test_no_command_is_named_on_the_page(page):
    """Whoever reads it has no command line before them."""
    kept(page.client.post("/api/outings", json=MORNING))
    for path in ("odds", "next", "learn"):
        said = [s for note in page.client.get(f"/api/{path}").json()["notes"] for s in note["sentences"]]
        assert said
        assert not [words for words in said if "graylight " in words or " --" in words]


def test_the_record_is_handed_over_as_it_is_exported(page):
    kept(page.client.post("/api/outings", json=MORNING))
    kept(page.client.post("/api/sightings", json={"at": middle(page), "when": DAY, "note": "=1+1"}))
    folder = page.home / "country"
    assert main(["export", str(folder)]) == 0
    for kind in ("geojson", "csv"):
        answer = page.client.get(f"/api/record/{kind}")
        assert answer.headers["content-disposition"] == f'attachment; filename="record.{kind}"'
        assert answer.content == (folder / "record" / f"record.{kind}").read_bytes()
    assert page.client.get("/api/record/kml").status_code == 422
