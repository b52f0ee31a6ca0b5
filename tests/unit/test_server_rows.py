"""What the person says over HTTP lies in the country's GeoPackage when it is answered; every page hears of it."""

from __future__ import annotations

import asyncio
import io
import json
import os
import shutil
import threading
import time

import pyogrio
import pytest
from PIL import Image
from shapely import Point

from graylight.country.folder import Country
from graylight.country.rows import Rows
from graylight.errors import BadInput, Cancelled
from graylight.server.desk import Desk
from graylight.server.events import Stream
from graylight.server.jobs import MOST_WAITING, Jobs
from graylight.server.photos import cleaned
from tests.unit.page_server import page_over

JSON = {"content-type": "application/json"}
SPRING = {
    "geometry": {"type": "Point", "coordinates": [-114.82, 40.45]},
    "values": {"name": "spring", "kind": "water"},
}


@pytest.fixture
def page(small, tmp_path):
    with page_over(small, tmp_path) as served:
        yield served


def post(page, path, body):
    return page.client.post(f"/api/{path}", content=json.dumps(body), headers=JSON)


def in_the_file(page, table="places"):
    """As another program reads it (GDAL)."""
    return pyogrio.raw.read(str(page.desk.opened.country.folder / "country.gpkg"), layer=table)


def test_a_row_is_on_the_disk_when_it_is_answered(page):
    before = page.client.get("/api/rows").json()
    answer = post(page, "rows/places", SPRING)
    assert answer.status_code == 201
    told = answer.json()
    assert told["revision"] == before["revision"] + 1
    assert told["row"]["properties"]["name"] == "spring"
    assert told["row"]["geometry"]["coordinates"] == pytest.approx([-114.82, 40.45], abs=1e-6)
    meta, _, shapes, columns = in_the_file(page)
    assert "spring" in columns[list(meta["fields"]).index("name")].tolist()
    assert len(shapes) == sum(one["properties"]["table"] == "places" for one in before["features"]) + 1


def test_rows_are_changed_and_removed(page):
    id = post(page, "rows/places", SPRING).json()["row"]["properties"]["id"]
    changed = page.client.patch(
        f"/api/rows/places/{id}", content='{"values": {"note": "good"}}', headers=JSON
    ).json()["row"]
    assert changed["properties"]["note"] == "good"
    assert changed["properties"]["name"] == "spring"
    assert changed["geometry"] is not None
    moved = {"geometry": {"type": "Point", "coordinates": [-114.83, 40.46]}}
    there = page.client.patch(f"/api/rows/places/{id}", content=json.dumps(moved), headers=JSON).json()["row"]
    assert there["geometry"]["coordinates"] == pytest.approx([-114.83, 40.46], abs=1e-6)
    assert page.client.delete(f"/api/rows/places/{id}").status_code == 200
    assert page.client.delete(f"/api/rows/places/{id}").status_code == 404
    assert page.client.patch(f"/api/rows/places/{id}", content="{}", headers=JSON).status_code == 404


def test_steps_are_taken_back_and_done_again(page):
    post(page, "rows/places", SPRING)
    undone = post(page, "undo", {}).json()
    assert undone["words"]
    assert undone["redo"]
    names = [one["properties"].get("name") for one in page.client.get("/api/rows").json()["features"]]
    assert "spring" not in names
    again = post(page, "redo", {}).json()
    assert again["redo"] is None
    names = [one["properties"].get("name") for one in page.client.get("/api/rows").json()["features"]]
    assert "spring" in names
    assert post(page, "redo", {}).json()["words"] is None


@pytest.mark.parametrize(
    "body",
    [
        {"geometry": {"type": "Point", "coordinates": [-114.82]}},
        {"geometry": {"type": "Point", "coordinates": [400.0, 40.0]}},
        {"geometry": {"type": "LineString", "coordinates": [[-114.82, 40.45], [-114.83, 40.45]]}},
        {"geometry": {"type": "Nothing"}},
        {"geometry": "here"},
        {"values": {"height": 3}},
        {"values": {"table": "x"}},
        {"values": {"name": ["a"]}},
        {"more": 1},
        [],
    ],
)
def test_what_is_no_row_is_refused_and_nothing_is_kept(page, body):
    before = page.desk.rows.revision()
    answer = post(page, "rows/places", body)
    assert answer.status_code == 422, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    assert page.desk.rows.revision() == before


@pytest.mark.parametrize(
    "text",
    [
        "",
        "{",
        "[" * 500_000,
        '{"values":' * 90_000,
        '{"geometry": {"type": "Point", "coordinates": [NaN, 1]}}',
        "nul",
    ],
)
def test_what_is_no_json_is_refused(page, text):
    answer = page.client.post("/api/rows/places", content=text, headers=JSON)
    assert answer.status_code in {400, 422}
    assert answer.headers["content-type"] == "application/problem+json"


@pytest.mark.parametrize("table", ["roads", "steps", "gpkg_contents", "places;drop", "sqlite_master"])
def test_only_live_tables_are_written(page, table):
    assert post(page, f"rows/{table}", SPRING).status_code == 422


def test_a_changed_setting_is_felt_at_once(page):
    feet = page.client.get("/api/notes").json()
    assert not page.client.get("/api/state").json()["stale"]
    post(page, "rows/edits", {"values": {"what": "set", "target": "units", "value": "metric"}})
    state = page.client.get("/api/state").json()
    assert state["settings"]["units"] == "metric"
    assert page.client.get("/api/notes").json() != feet
    post(page, "undo", {})
    assert page.client.get("/api/state").json()["settings"]["units"] == "us"


def test_a_plan_made_by_the_command_has_heard_what_was_said_before(small, tmp_path):
    """Said, planned by the command, opened: nothing is new; then something is."""
    folder = shutil.copytree(small, tmp_path / "said")
    Rows(Country.open(folder)).add("edits", None, what="set", target="lookouts", value="2")
    later = time.time() + 10
    os.utime(folder / "plan" / "seal.json", (later, later))
    with page_over(folder, tmp_path) as page:
        assert not page.client.get("/api/state").json()["stale"]
        post(page, "rows/edits", {"values": {"what": "set", "target": "lookouts", "value": "4"}})
        assert page.client.get("/api/state").json()["stale"]
        post(page, "undo", {})
        assert not page.client.get("/api/state").json()["stale"]
    os.utime(tmp_path / "country" / "plan" / "seal.json", (1.0, 1.0))
    desk = Desk(tmp_path, tmp_path / "country")
    assert desk.stale()
    desk.close()


# --- events -----------------------------------------------------------------------------------------------------


def heard(stream: Stream, after: int | None, count: int) -> list[dict[str, str]]:
    """The next events, or all there are when the stream ends."""

    async def listening():
        found = []
        async for event in stream.listen(after):
            found.append(event)
            if len(found) == count:
                break
        return found

    return asyncio.run(asyncio.wait_for(listening(), 10))


def test_a_page_that_was_away_catches_up():
    stream = Stream()
    for number in range(5):
        stream.tell("changed", revision=number)
    assert [json.loads(one["data"])["revision"] for one in heard(stream, 2, 3)] == [2, 3, 4]
    assert [one["id"] for one in heard(stream, 0, 5)] == ["1", "2", "3", "4", "5"]


def test_a_page_of_an_earlier_run_hears_all_of_this_one():
    stream = Stream()
    stream.tell("opened", name="x")
    assert heard(stream, 900, 1)[0]["event"] == "opened"


def test_a_new_page_hears_only_what_comes():
    stream = Stream()
    stream.tell("changed", revision=1)
    teller = threading.Timer(0.1, stream.tell, ["changed"], {"revision": 2})
    teller.start()
    assert json.loads(heard(stream, None, 1)[0]["data"]) == {"revision": 2}


def test_the_end_is_told_and_ends_the_stream():
    stream = Stream()
    threading.Timer(0.1, stream.close).start()
    assert [one["event"] for one in heard(stream, None, 99)] == ["closing"]


def test_two_pages_stay_in_step(page):
    """What one page changes the other hears, with the revision."""
    last = page.desk.stream.last
    told = post(page, "rows/places", SPRING).json()
    event = page.desk.stream.since(last)[0]
    assert (event.kind, event.data) == ("changed", {"revision": told["revision"]})


def test_what_another_program_changes_is_noticed(page):
    last = page.desk.stream.last
    Rows(page.desk.opened.country).add(
        "places", Point(page.desk.opened.country.grid.xy(5, 5)), name="from elsewhere"
    )
    page.desk.notice()
    page.desk.notice()
    assert [one.kind for one in page.desk.stream.since(last)] == ["changed"]


# --- jobs -------------------------------------------------------------------------------------------------------


def done(jobs: Jobs, id: str):
    for _ in range(200):
        if jobs.get(id).state not in {"waiting", "running"}:
            return jobs.get(id)
        time.sleep(0.02)
    raise AssertionError("the job does not end")


@pytest.fixture
def jobs():
    found = Jobs(Stream())
    yield found
    found.close()


def test_a_job_tells_its_progress_and_end(jobs):
    def work(tick):
        for part in (0.25, 0.5, 1.0):
            tick(part)
            time.sleep(0.25)
        return {"answer": 42}

    job = done(jobs, jobs.start("country", "Working", work).id)
    assert (job.state, job.result) == ("done", {"answer": 42})
    kinds = [one.kind for one in jobs._stream.since(0)]
    assert kinds[:-1] == ["progress"] * (len(kinds) - 1)
    assert len(kinds) >= 3
    assert jobs._stream.since(0)[-1].data["ok"] is True


@pytest.mark.parametrize(
    ("error", "state", "words"),
    [
        (BadInput("the file is wrong"), "failed", "the file is wrong"),
        (Cancelled("stop"), "stopped", None),
        (OSError(28, "No space left on device"), "failed", "the system refused: No space left on device"),
        (MemoryError(), "failed", "there is not enough memory; use larger cells or a smaller box"),
        (KeyError("/secret/path"), "failed", "the program met something it does not foresee (KeyError)"),
    ],
)
def test_a_job_that_fails_says_why_in_words(jobs, error, state, words):
    def work(_):
        raise error

    job = done(jobs, jobs.start("country", "Working", work).id)
    assert (job.state, job.problem) == (state, words)
    assert (
        done(jobs, jobs.start("country", "Working", lambda _: {}).id).state == "done"
    )  # the thread lives on


def test_a_running_job_stops_at_its_next_tick(jobs):
    begun = threading.Event()

    def work(tick):
        begun.set()
        while True:
            tick(0.5)
            time.sleep(0.01)

    job = jobs.start("country", "Working", work)
    begun.wait(5)
    waiting = jobs.start("country", "Waiting", lambda _: {})
    assert jobs.stop(waiting.id).state == "stopped"
    jobs.stop(job.id)
    assert done(jobs, job.id).state == "stopped"


def test_a_plan_that_waits_is_not_asked_for_twice(jobs):
    hold = threading.Event()
    jobs.start("country", "Holding", lambda _: {"held": hold.wait(5)})
    first, second = (jobs.start("plan", "Plan", lambda _: {}) for _ in range(2))
    assert first is second
    hold.set()


def test_too_many_jobs_are_refused(jobs):
    hold, begun = threading.Event(), threading.Event()

    def work(_):
        begun.set()
        return {"held": hold.wait(5)}

    jobs.start("country", "Holding", work)
    begun.wait(5)
    for _ in range(MOST_WAITING):
        jobs.start("country", "Holding", work)
    with pytest.raises(BadInput, match="wait already"):
        jobs.start("country", "Holding", work)
    hold.set()


def test_a_dropped_pocket_is_gone_from_the_next_plan(page):
    """Said, worked out as a job, told to the page; and taken back."""
    name = next(p.id for p in page.desk.opened.plan.pockets if p.shut is None)
    post(page, "rows/edits", {"values": {"what": "drop", "target": name}})
    assert page.client.get("/api/state").json()["stale"]
    answer = post(page, "jobs", {"kind": "plan"})
    assert answer.status_code == 202
    for _ in range(600):
        job = page.client.get(f"/api/jobs/{answer.json()['id']}").json()
        if job["state"] not in {"waiting", "running"}:
            break
        time.sleep(0.1)
    assert (job["state"], job["problem"]) == ("done", None)
    plan = page.client.get("/api/plan").json()
    assert next(p for p in plan["pockets"] if p["id"] == name)["rank"] == 0
    assert plan["edits_applied"]
    assert not page.client.get("/api/state").json()["stale"]
    assert "planned" in [one.kind for one in page.desk.stream.since(0)]
    post(page, "undo", {})
    assert page.client.get("/api/state").json()["stale"]


# --- photos -----------------------------------------------------------------------------------------------------


def jpeg(size=(80, 40), **more) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", size, (200, 40, 40)).save(out, "JPEG", **more)
    return out.getvalue()


def test_a_photo_loses_where_it_was_taken(page):
    exif = Image.Exif()
    exif[0x010F] = "Maker"
    exif.get_ifd(0x8825)[2] = (40.0, 27.0, 0.0)  # GPS latitude (Exif 2.32, tag 0x8825)
    exif[0x0112] = 6  # to be turned a quarter
    data = jpeg(exif=exif)
    assert b"Maker" in data
    name = page.client.post("/api/photos", content=data, headers={"content-type": "image/jpeg"}).json()[
        "name"
    ]
    kept = page.client.get(f"/api/photos/{name}")
    image = Image.open(io.BytesIO(kept.content))
    assert kept.headers["content-type"] == "image/jpeg"
    assert b"Maker" not in kept.content
    assert not image.getexif()
    assert image.size == (40, 80)


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"GIF89a" + b"\0" * 50,
        b"<svg xmlns='http://www.w3.org/2000/svg'><script/></svg>",
        b"\xff\xd8\xff\xe0broken",
        jpeg()[:60],
    ],
)
def test_what_is_no_photo_is_refused(page, data):
    answer = page.client.post("/api/photos", content=data, headers={"content-type": "image/jpeg"})
    assert answer.status_code == 422


@pytest.mark.parametrize("side", [9_400, 20_000])
def test_a_small_file_with_a_huge_picture_is_not_unpacked(side):
    out = io.BytesIO()
    Image.new("1", (side, side)).save(out, "PNG")
    assert len(out.getvalue()) < 200_000
    with pytest.raises(BadInput, match="photo"):
        cleaned(out.getvalue())


def test_what_is_meant_for_another_country_is_not_written_into_this_one(page, small, tmp_path):
    """Two windows: the second opens another country; what the first still says is not taken for it."""
    meant = {**JSON, "country-opening": str(page.client.get("/api/state").json()["country"]["opening"])}
    first = page.client.post("/api/rows/places", content=json.dumps(SPRING), headers=meant)
    assert first.status_code == 201
    number = first.json()["row"]["properties"]["id"]
    other = shutil.copytree(page.desk.opened.country.folder, tmp_path / "other")
    page.desk.open(other)
    late = page.client.delete(f"/api/rows/places/{number}", headers=meant)
    assert late.status_code == 409
    assert "another country was opened meanwhile" in late.json()["detail"]
    assert Rows(Country.open(other)).get("places", number).values["name"] == "spring"
    undone = page.client.post("/api/undo", headers=meant)
    assert undone.status_code == 409
    assert (
        post(page, "rows/places", SPRING).status_code == 201
    )  # a program that does not say which: the open one


# --- what a row must be -------------------------------------------------------------------------------------------


def point(lon=-114.82, lat=40.45):
    return {"type": "Point", "coordinates": [lon, lat]}


OUTSIDE = point(0.0, 0.0)
COURSE = {"type": "LineString", "coordinates": [[-114.82, 40.45], [-114.823, 40.45]]}
GOOD = {
    "places": {"geometry": point(), "values": {"kind": "water"}},
    "starts": {"geometry": point(), "values": {"name": "mine", "kind": "given"}},
    "traces": {"geometry": COURSE, "values": {"kind": "trail"}},
    "edits": {"geometry": point(), "values": {"what": "move", "target": "L1"}},
}
NO_ROWS = [
    ("places", {"geometry": OUTSIDE}, "outside the country"),
    ("starts", {"geometry": OUTSIDE}, "outside the country"),
    ("traces", {"geometry": {"type": "LineString", "coordinates": [[0, 0], [0, 1]]}}, "outside the country"),
    ("edits", {"geometry": OUTSIDE, "values": {"what": "move", "target": "L1"}}, "outside the country"),
    ("edits", {"geometry": OUTSIDE, "values": {"what": "add", "target": ""}}, "outside the country"),
    ("edits", {"values": {"what": "banana"}}, "accepted are accept, drop"),
    ("edits", {"values": {"what": "set", "target": "sight.radius_m", "value": "far"}}, "accepted"),
    *((table, {"values": {"kind": 'x"; drop table'}}, "accepted is") for table in ("places", "starts", "traces")),
]  # fmt: skip


@pytest.mark.parametrize(("table", "body", "why"), NO_ROWS)
def test_what_can_not_be_used_is_refused_new_or_changed(page, table, body, why):
    kept = post(page, f"rows/{table}", GOOD[table])
    assert kept.status_code == 201, kept.text
    id, before = kept.json()["row"]["properties"]["id"], page.desk.rows.revision()
    changed = page.client.patch(f"/api/rows/{table}/{id}", content=json.dumps(body), headers=JSON)
    for answer in (post(page, f"rows/{table}", body), changed):
        assert answer.status_code == 422, answer.text
        assert why in answer.json()["detail"]
        assert "\n" not in answer.json()["detail"]
    assert page.desk.rows.revision() == before


def test_a_setting_that_is_set_anew_is_tried_in_the_stead_of_what_it_was(page):
    body = {"values": {"what": "set", "target": "units", "value": "metric"}}
    id = post(page, "rows/edits", body).json()["row"]["properties"]["id"]

    def again(value):
        said = json.dumps({"values": {"value": value}})
        return page.client.patch(f"/api/rows/edits/{id}", content=said, headers=JSON).status_code

    assert again("cubits") == 422
    assert again("us") == 200


def test_a_kind_that_a_file_brought_may_stay(page):
    row = page.desk.rows.add("places", Point(page.desk.opened.country.grid.xy(5, 5)), kind="Flag, Blue")
    said = json.dumps({"values": {"kind": "Flag, Blue", "note": "seen"}})
    assert page.client.patch(f"/api/rows/places/{row.id}", content=said, headers=JSON).status_code == 200
