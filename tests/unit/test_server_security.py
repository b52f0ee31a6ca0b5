"""Each guard refuses what it is there for; the same request passes where the guard is taken away."""

from __future__ import annotations

import asyncio
import json

import httpx
import pytest
from starlette.testclient import TestClient

from graylight.server.app import application
from graylight.server.security import COOKIE, Guard, Rules
from tests.unit.page_server import ADDRESS, HOST, page_over

# docs: the policy that a map with workers and blobs runs under without a violation (checked in a browser)
CSP = (
    "default-src 'none'; script-src 'self'; worker-src 'self'; style-src 'self'; img-src 'self' data: blob:; "
    "connect-src 'self'; font-src 'self'; manifest-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
PLACE = json.dumps(
    {"geometry": {"type": "Point", "coordinates": [-114.82, 40.45]}, "values": {"name": "spring"}}
)
JSON = {"content-type": "application/json"}
TOKEN = "a-token-that-nobody-guesses"


@pytest.fixture(scope="module")
def page(small, tmp_path_factory):
    with page_over(small, tmp_path_factory.mktemp("home")) as served:
        yield served


def is_problem(answer, status):
    """RFC 9457: media type, and the members type, title, status, detail."""
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    told = answer.json()
    assert set(told) == {"type", "title", "status", "detail"}
    assert told["status"] == status
    return told["detail"]


@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:8417", "127.0.0.1", "127.0.0.1:80", "", HOST + ".evil.example"]
)
def test_another_host_name_is_refused(page, host):
    """A name that someone points at this address (DNS rebinding) comes as another Host header."""
    is_problem(page.client.get("/api/state", headers={"host": host}), 400)
    assert page.bare.get("/api/state", headers={"host": host}).status_code == 200


def test_the_own_host_is_answered(page):
    assert page.client.get("/api/state").status_code == 200


@pytest.mark.parametrize(
    "said",
    [
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"origin": "https://" + HOST},
        {"origin": "http://127.0.0.1:9999"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
    ],
)
def test_a_foreign_page_may_not_write(page, said):
    before = page.desk.rows.revision()
    is_problem(page.client.post("/api/rows/places", content=PLACE, headers={**JSON, **said}), 403)
    is_problem(page.client.delete("/api/rows/places/1", headers=said), 403)
    is_problem(page.client.patch("/api/rows/places/1", content=PLACE, headers={**JSON, **said}), 403)
    assert page.desk.rows.revision() == before
    assert page.bare.post("/api/rows/places", content=PLACE, headers={**JSON, **said}).status_code == 201


@pytest.mark.parametrize(
    "said", [{}, {"origin": ADDRESS}, {"origin": ADDRESS, "sec-fetch-site": "same-origin"}]
)
def test_the_page_itself_may_write(page, said):
    assert page.client.post("/api/rows/places", content=PLACE, headers={**JSON, **said}).status_code == 201


@pytest.mark.parametrize(
    "media", ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x", ""]
)
def test_only_json_writes(page, media):
    """What a form elsewhere can send without asking is not JSON."""
    is_problem(page.client.post("/api/undo", content=b"{}", headers={"content-type": media}), 415)
    assert page.bare.post("/api/undo", content=b"{}", headers={"content-type": media}).status_code == 200


def test_a_body_said_to_be_too_long_is_refused(page):
    body = json.dumps({"values": {"note": "x" * 2**20}}).encode()
    is_problem(page.client.post("/api/rows/places", content=body, headers=JSON), 413)
    assert page.bare.post("/api/rows/places", content=body, headers=JSON).status_code != 413


def test_a_body_that_turns_out_too_long_is_refused(page):
    """Sent in pieces, without a word of its length."""

    def pieces():
        yield b'{"values": {"note": "'
        for _ in range(40):
            yield b"x" * 2**15
        yield b'"}}'

    is_problem(page.client.post("/api/rows/places", content=pieces(), headers=JSON), 413)
    assert page.bare.post("/api/rows/places", content=pieces(), headers=JSON).status_code != 413


@pytest.mark.parametrize("length", ["-1", "1e9", "0x10", "9" * 30])
def test_a_length_that_is_none_is_refused(page, length):
    is_problem(page.client.get("/api/state", headers={"content-length": length}), 413)


def test_every_answer_carries_the_policy(page):
    asked = [
        "/",
        "/nothing",
        "/api/state",
        "/api/nothing",
        "/api/from-here?lon=0&lat=0",
        "/api/tiles/slope/3/1/3.png",
    ]
    answers = [page.client.get(path) for path in asked]
    answers += [
        page.client.get("/", headers={"host": "evil.example"}),
        page.client.post("/api/undo", content=b""),
    ]
    for answer in answers:
        assert answer.headers["content-security-policy"] == CSP
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["referrer-policy"] == "no-referrer"
        assert "access-control-allow-origin" not in answer.headers
    assert "content-security-policy" not in page.bare.get("/").headers


@pytest.mark.parametrize("path", ["/docs", "/redoc", "/openapi.json", "/docs/oauth2-redirect"])
def test_the_frameworks_own_pages_are_off(page, path):
    """They load scripts from elsewhere."""
    is_problem(page.client.get(path), 404)


@pytest.mark.parametrize(
    "path",
    [
        "/../country.json",
        "/%2e%2e/country.json",
        "/..%2f..%2fcountry/country.json",
        "/assets/../../country.json",
        "/assets/..%5c..%5ccountry.json",
        "//etc/passwd",
        "/etc/passwd",
        "/index.html/",
        "/index.html%00.png",
        "/api/photos/..%2fcountry.json",
        "/api/photos/%2e%2e%2fcountry.json",
        "/api/photos/country.json",
        "/api/tiles/..%2fslope/3/1/1.png",
        "/api/tiles/elevation/3/1/1.png",
        "/api/jobs/..%2f1",
    ],
)
def test_no_address_becomes_a_path(page, path):
    answer = page.client.get(path)
    assert answer.status_code in {404, 422}
    assert "graylight country 1" not in answer.text
    assert "root:" not in answer.text


@pytest.mark.parametrize(
    "key", ["../country", "..", ".", "/", "", "country/../country", "/etc", "country/layers", "c" * 200]
)
def test_only_listed_countries_open(page, key):
    is_problem(page.client.post("/api/open", content=json.dumps({"key": key}), headers=JSON), 404)


def test_an_error_tells_no_path_of_the_machine(page, monkeypatch):
    from graylight.country.rows import Rows
    from graylight.errors import BadInput

    where = str(page.desk.opened.country.folder)

    def full(*_: object) -> None:
        raise BadInput(
            f"can't write into {where!r} (No space left); accepted is a folder that may be written to"
        )

    monkeypatch.setattr(Rows, "undo", full)
    detail = is_problem(page.client.post("/api/undo", content=b"{}", headers=JSON), 422)
    assert where not in detail
    assert repr(page.desk.opened.country.folder.name) in detail


def test_an_error_tells_no_trace(page, monkeypatch):
    def broken(*_):
        raise RuntimeError("secret/path/of/this/machine")

    monkeypatch.setattr("graylight.server.looking.state_of", broken)
    answer = page.client.get("/api/state")
    detail = is_problem(answer, 500)
    assert "secret" not in answer.text
    assert "Traceback" not in answer.text
    assert "RuntimeError" in detail


def test_what_was_sent_does_not_come_back_raw(page):
    detail = is_problem(page.client.get("/api/photos/%1b%5b31m%3cscript%3e"), 404)
    assert "\x1b" not in detail


def test_too_many_at_once_are_sent_away(page):
    """Each page that listens is one; with room for two, the third question is told to wait."""

    async def crowd():
        rules = Rules(frozenset({HOST}), most_at_once=2)
        gone, held = asyncio.Event(), []

        async def slow(scope, receive, send):
            held.append(scope["path"])
            await gone.wait()
            await send({"type": "http.response.start", "status": 200, "headers": []})
            await send({"type": "http.response.body", "body": b""})

        guard = Guard(slow, rules)
        transport = httpx.ASGITransport(guard)
        async with httpx.AsyncClient(transport=transport, base_url=ADDRESS) as client:
            inside = [asyncio.create_task(client.get(f"/{i}")) for i in range(2)]
            while len(held) < 2:
                await asyncio.sleep(0.01)
            refused = await asyncio.wait_for(client.get("/3"), 10)  # let in, it would wait for good
            gone.set()
            answered = [one.status_code for one in await asyncio.gather(*inside)]
            return refused, answered, (await client.get("/4")).status_code

    refused, answered, after = asyncio.run(crowd())
    is_problem(refused, 503)
    assert refused.headers["retry-after"] == "1"
    assert answered == [200, 200]
    assert after == 200


# --- over the network -------------------------------------------------------------------------------------------


@pytest.fixture
def lan(page):
    rules = Rules(frozenset({HOST}), TOKEN)
    return TestClient(Guard(application(page.desk), rules), base_url=ADDRESS, follow_redirects=False)


@pytest.mark.parametrize(
    "path", ["/", "/api/state", "/api/state?token=" + TOKEN, "/?token=wrong", "/?token=", "/api/rows"]
)
def test_without_the_token_nothing_is_shown(lan, path):
    is_problem(lan.get(path), 401)


@pytest.mark.parametrize("cookie", ["wrong", "", TOKEN + "x", TOKEN[:-1]])
def test_a_wrong_cookie_is_refused(lan, cookie):
    is_problem(lan.get("/api/state", headers={"cookie": f"{COOKIE}={cookie}"}), 401)


def test_the_link_hands_over_a_cookie_and_leaves_the_address(lan):
    answer = lan.get("/?token=" + TOKEN)
    assert answer.status_code == 303
    assert answer.headers["location"] == "/"
    said = answer.headers["set-cookie"].lower()
    assert "httponly" in said
    assert "samesite=strict" in said
    assert lan.get("/api/state", headers={"cookie": f"{COOKIE}={TOKEN}"}).status_code == 200


def test_the_token_does_not_lift_the_other_guards(lan):
    cookie = {"cookie": f"{COOKIE}={TOKEN}"}
    is_problem(lan.get("/api/state", headers={**cookie, "host": "evil.example"}), 400)
    is_problem(
        lan.post("/api/undo", content=b"{}", headers={**cookie, **JSON, "origin": "http://evil.example"}), 403
    )
