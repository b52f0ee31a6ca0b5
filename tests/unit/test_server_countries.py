"""Countries made on the page: from dropped files, as a box, opened by key."""

from __future__ import annotations

import io
import json
import time
import zipfile
from pathlib import Path

import pytest

from graylight.country.folder import Country
from graylight.server.desk import Desk
from tests.unit.page_server import page_over

JSON = {"content-type": "application/json"}


@pytest.fixture
def page(tmp_path, monkeypatch):
    """A server with no country; plans are not begun, they take long."""
    begun = []
    monkeypatch.setattr(Desk, "plan", lambda desk: begun.append(desk.opened.country.folder.name))
    with page_over(None, tmp_path) as served:
        served.begun = begun
        yield served


def ended(page, id):
    for _ in range(600):
        job = page.client.get(f"/api/jobs/{id}").json()
        if job["state"] not in {"waiting", "running"}:
            return job
        time.sleep(0.05)
    raise AssertionError("the job does not end")


def packed(**files: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    return out.getvalue()


def dropped(page, *files, name="Two Ridges"):
    return page.client.post("/api/countries", data={"name": name}, files=[("files", one) for one in files])


def test_a_country_is_made_from_dropped_files_and_opened(page, small, tmp_path):
    layers = small / "layers"
    trail = {
        "type": "FeatureCollection",
        "features": [{
            "type": "Feature", "properties": {"name": "Old way"},
            "geometry": {"type": "LineString", "coordinates": [[-114.84, 40.44], [-114.81, 40.46]]},
        }],
    }  # fmt: skip
    vectors = packed(**{"folder/trails.geojson": json.dumps(trail).encode(), "readme.txt": b"hello"})
    answer = dropped(
        page, ("dem.tif", (layers / "elevation.tif").read_bytes()), ("landcover.tif", (layers / "cover_codes.tif").read_bytes()),
        ("things.zip", vectors),
    )  # fmt: skip
    assert answer.status_code == 202, answer.text
    told = answer.json()
    assert told["key"] == "two-ridges"
    assert "dem.tif is taken for the elevation" in told["words"]
    assert "landcover.tif is taken for the cover" in told["words"]
    assert any(word.startswith("not used: readme.txt") for word in told["words"])
    job = ended(page, told["job"]["id"])
    assert (job["state"], job["problem"], job["result"]) == ("done", None, {"key": "two-ridges"})
    assert page.client.get("/api/state").status_code == 404
    listed = page.client.get("/api/countries").json()
    assert [(one["key"], one["name"], one["open"]) for one in listed] == [("two-ridges", "Two Ridges", False)]
    assert page.client.post("/api/open", content='{"key": "two-ridges"}', headers=JSON).json()["open"]
    assert page.client.get("/api/state").json()["country"]["name"] == "Two Ridges"
    assert page.begun == ["two-ridges"]
    made = Country.open(tmp_path / "two-ridges")
    assert [f.properties["name"] for f in made.features("trails")] == ["Old way"]
    assert made.has("cover_codes")
    again = dropped(page, ("dem.tif", (layers / "elevation.tif").read_bytes()))
    assert again.json()["key"] == "two-ridges-2"
    ended(page, again.json()["job"]["id"])


def test_a_file_that_turns_out_broken_fails_in_words_and_leaves_nothing(page, tmp_path):
    answer = dropped(page, ("dem.tif", b"II*\0" + b"\0" * 500))
    job = ended(page, answer.json()["job"]["id"]) if answer.status_code == 202 else answer.json()
    assert job.get("state", "failed") == "failed"
    assert "dem" in (job.get("problem") or job.get("detail"))
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "files",
    [
        [],
        [("way.gpx", b"<gpx/>")],
        [("pack.zip", packed(**{"../way.gpx": b"<gpx/>"}))],
        [("way.gpx", b'<!DOCTYPE gpx [<!ENTITY a "b">]><gpx>&a;</gpx>')],
    ],
)
def test_what_makes_no_country_is_refused_at_once(page, files, tmp_path):
    answer = dropped(page, *files) if files else page.client.post(
        "/api/countries", data={"name": "x"}, files=[("other", (None, "text"))]
    )  # fmt: skip
    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"
    assert page.client.get("/api/jobs").json() == []
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "name", ["../../evil", "/etc", "..", "CON", "a\0b", "Ünïcödé Höhe", "<script>", "." * 80, "-rf"]
)
def test_a_name_is_never_a_path(page, small, name, tmp_path):
    box = {"name": name, "box": [-111.6, 39.2, -111.4, 39.4]}
    answer = page.client.post("/api/countries", content=json.dumps(box), headers=JSON)
    assert answer.status_code == 202
    key = answer.json()["key"]
    assert key.replace("-", "").isalnum()
    assert key.isascii()
    assert not key.startswith("-")
    assert [path.name for path in tmp_path.iterdir()] == [f"{key}.box.json"]


def test_a_box_is_kept_and_the_download_is_named_not_made(page, tmp_path):
    box = {"name": "High Divide", "box": [-111.6, 39.2, -111.4, 39.4]}
    told = page.client.post("/api/countries", content=json.dumps(box), headers=JSON).json()
    assert told["job"] is None
    assert told["command"] == "graylight gather high-divide --bounds -111.6 39.2 -111.4 39.4"
    assert "nothing was downloaded" in " ".join(told["words"])
    listed = page.client.get("/api/countries").json()
    assert listed == [
        {"key": "high-divide", "name": "High Divide", "invented": False, "open": False, "box": box["box"]}
    ]
    assert page.client.post("/api/open", content='{"key": "high-divide"}', headers=JSON).status_code == 404


@pytest.mark.parametrize(
    "box",
    [
        [0, 0, 0, 0],
        [-111.4, 39.2, -111.6, 39.4],
        [-115, 39, -111, 40],
        [10, 85, 11, 86],
        [1, 2, 3],
        ["a", 1, 2, 3],
        [1, 2, 3, None],
    ],
)
def test_a_box_that_is_none_is_refused(page, box, tmp_path):
    answer = page.client.post("/api/countries", content=json.dumps({"name": "x", "box": box}), headers=JSON)
    assert answer.status_code == 422
    assert list(tmp_path.iterdir()) == []


def test_a_damaged_country_does_not_hide_the_others(page, small, tmp_path):
    import shutil

    shutil.copytree(small, tmp_path / "good")
    (tmp_path / "bad").mkdir()
    (tmp_path / "bad" / "country.json").write_text("{")
    assert [one["key"] for one in page.client.get("/api/countries").json()] == ["good"]


def test_a_country_served_by_a_relative_path_is_listed_once(small, tmp_path, monkeypatch):
    """Before, it stood there twice, open and not, and the page broke."""
    import shutil

    home = tmp_path / "home"
    shutil.copytree(small, home / "country")
    monkeypatch.chdir(home)
    for typed in ("country", "./country", "../home/country", str(home / "country")):
        with page_over(None, home) as page:
            page.desk.open(Path(typed))
            found = page.client.get("/api/countries").json()
            assert [(one["key"], one["open"]) for one in found] == [("country", True)], typed
            assert page.client.get("/api/state").json()["country"]["key"] == "country"


def test_two_folders_of_one_name_have_keys_of_their_own(small, tmp_path):
    import shutil

    home, elsewhere = tmp_path / "home", tmp_path / "elsewhere"
    for place in (home, elsewhere):
        shutil.copytree(small, place / "country")
    with page_over(None, home) as page:
        page.desk.open(elsewhere / "country")
        found = page.client.get("/api/countries").json()
        assert [(one["key"], one["open"]) for one in found] == [("country (2)", True), ("country", False)]
        opened = page.client.post("/api/open", json={"key": "country"}).json()
        assert opened["open"]
        assert page.desk.opened.country.folder == home / "country"
