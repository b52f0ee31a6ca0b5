"""The gate to the network: tries, waits, what is kept, what is refused. A server in a process of its own answers."""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor

import pytest

from graylight.errors import BadInput, Cancelled
from graylight.gather.gate import Expired, Gate, NotThere, Refused, Trouble, Unreached, as_json, is_tiff
from graylight.gather.services import own_files, read_services
from graylight.gather.store import Store


def url_of(services, path: str) -> str:
    return f"http://127.0.0.1:{services.port}/{path}"


@pytest.fixture
def ask(services, tmp_path):
    gate = services.gate(tmp_path / "store")
    overpass = gate.services["overpass"]

    def run(**how):
        return gate.ask(overpass, overpass.url, form={"data": "x"}, **how)

    with gate:
        yield run


@pytest.mark.parametrize("what", [429, 500, 502, 503, 504, "cut", "drop"])
def test_what_may_pass_is_tried_again(services, ask, what):
    services.faults({"path": "overpass", "what": str(what), "times": 2})
    assert as_json(ask().body, "x")["elements"]
    assert len(services.log("overpass")) == (1 if what == "drop" else 3) + (2 if what == "drop" else 0)


def test_a_slow_answer_is_given_up_and_tried_again(services, tmp_path):
    services.faults({"path": "overpass", "what": "slow", "wait_s": 4.0, "times": 1})
    with services.gate(tmp_path, manners="read_s = 1.5") as gate:
        overpass = gate.services["overpass"]
        assert gate.ask(overpass, overpass.url, form={"data": "x"}).status == 200
    assert gate.requests == 2


def test_after_the_last_try_it_says_what_the_service_said(services, ask):
    services.faults({"path": "overpass", "what": "503", "times": 9, "body": "<h1>Down for\n  repair</h1>"})
    with pytest.raises(Trouble, match="OpenStreetMap answered 503: Down for repair"):
        ask()
    assert len(services.log()) == 3  # the manners of these tests


def test_what_will_not_pass_is_not_tried_again(services, ask):
    services.faults({"path": "overpass", "what": "401", "times": 9})
    with pytest.raises(Refused, match="answered 401"):
        ask()
    assert len(services.log()) == 1


def test_it_waits_as_long_as_the_service_asks_but_not_for_ever(services, ask):
    """RFC 9110, 10.2.3: Retry-After in seconds. The longest wait of these tests is half a second."""
    services.faults({"path": "overpass", "what": "429", "headers": {"Retry-After": "0"}, "times": 1})
    assert ask().status == 200
    services.faults({"path": "overpass", "what": "429", "headers": {"Retry-After": "3600"}, "times": 9})
    with pytest.raises(Trouble):
        ask(again=True)
    assert len(services.log()) == 1


def test_a_busy_service_is_asked_when_it_has_room(services, ask):
    """Overpass tells on a page of its own when a slot is free: in 99 seconds, which is longer than these tests wait."""
    status = "Rate limit: 2\nSlot available after: 2026-11-26T02:00:00Z, in 99 seconds.\n"
    services.faults(
        {"path": "interpreter", "what": "429", "times": 9},
        {"path": "status", "what": "200", "body": status, "times": 9},
    )
    with pytest.raises(Trouble):
        ask()
    assert len(services.log("interpreter")) == 1
    services.faults({"path": "interpreter", "what": "429", "times": 1})
    assert ask().status == 200  # two slots available now


def test_what_comes_drop_by_drop_is_given_up(services, tmp_path):
    services.faults({"path": "interpreter", "what": "drip", "times": 9})
    with services.gate(tmp_path, manners="whole_s = 1.0\ntries = 1") as gate:
        overpass = gate.services["overpass"]
        with pytest.raises(Trouble, match="too slowly"):
            gate.ask(overpass, overpass.url, form={"data": "x"})


@pytest.mark.parametrize("busy", ["status", "interpreter", "both"])
def test_a_busy_page_that_drips_ends_by_the_deadline_of_the_whole(services, tmp_path, busy):
    """A drop comes before every limit of a single read; without one of the whole this ran for as long as the page went on."""
    faults = [{"path": "interpreter", "what": "429" if busy == "status" else "drip", "times": 9}]
    if busy != "interpreter":
        faults.append({"path": "status", "what": "drip", "times": 9})
    services.faults(*faults)
    with services.gate(tmp_path, manners="whole_s = 1.0\ntries = 1\nread_s = 30.0") as gate:
        overpass = gate.services["overpass"]
        with pytest.raises(Trouble, match="429" if busy == "status" else "too slowly"):
            gate.ask(overpass, overpass.url, form={"data": "x"})


def test_more_json_than_can_be_read_at_once_is_refused(monkeypatch):
    monkeypatch.setattr("graylight.gather.gate.MOST_JSON", 1000)
    assert as_json(b"[" + b" " * 900 + b"]", "x") == []
    with pytest.raises(Refused, match="more than can be read at once"):
        as_json(b"[" + b" " * 1000 + b"]", "x")


@pytest.mark.parametrize("url", ["s3://bucket/key", "file:///etc/hostname", "http://127.0.0.1:port/", ""])
def test_what_is_no_address_is_refused(services, tmp_path, url):
    with services.gate(tmp_path) as gate, pytest.raises(Refused):
        gate.piece(gate.services["sentinel"], url, 0, 10)


def test_a_page_instead_of_data_is_no_answer_and_is_not_kept(services, ask):
    def check(body: bytes) -> None:
        as_json(body, "OpenStreetMap")

    services.faults({"path": "overpass", "what": "200", "times": 9})
    with pytest.raises(Trouble, match="sent no JSON: Please sign in"):
        ask(check=check)
    services.faults()
    assert ask(check=check).kept is False


def test_answers_are_kept_with_a_sidecar_and_asked_for_once(services, ask, tmp_path):
    first = ask()
    again = ask()
    assert not first.kept
    assert again.kept
    assert again.body == first.body
    assert len(services.log()) == 1
    side = next((tmp_path / "store/answers").glob("*.json")).read_text(encoding="utf-8")
    assert "© OpenStreetMap contributors" in side
    assert "ODbL" in side
    body = next(p for p in (tmp_path / "store/answers").iterdir() if p.suffix != ".json")
    body.write_bytes(b"{}")  # damaged on the disk: asked for again
    assert ask().body == first.body
    assert len(services.log()) == 2


def test_what_is_not_there_is_remembered(services, tmp_path):
    with services.gate(tmp_path) as gate:
        for _ in range(2):
            with pytest.raises(NotThere):
                gate.ask(gate.services["worldcover"], url_of(services, "cover/none.tif"))
    assert len(services.log()) == 1


def test_offline_asks_nobody(services, tmp_path):
    with services.gate(tmp_path, offline=True) as gate, pytest.raises(Trouble, match="offline"):
        gate.ask(gate.services["nws"], url_of(services, "nws/points/1,1"))
    assert services.log() == []


def test_an_old_forecast_is_asked_for_again_and_used_where_that_fails(services, tmp_path):
    with services.gate(tmp_path) as gate:
        nws = gate.services["nws"]
        url = url_of(services, "nws/points/1,1")
        first = gate.ask(nws, url)
        assert gate.ask(nws, url, fresh_s=3600).kept
        assert not gate.ask(nws, url, fresh_s=-1.0).kept
        services.faults({"path": "nws", "what": "503", "times": 9})
        assert gate.ask(nws, url, fresh_s=-1.0).body == first.body


def test_who_asks_is_told(services, ask):
    ask()
    agent = services.log()[0]["agent"]
    assert agent.startswith("graylight/")
    assert "tests" in agent  # the contact of the tests' table


def test_never_two_at_once_where_a_service_wants_that(services, tmp_path):
    with services.gate(tmp_path) as gate, ThreadPoolExecutor(4) as pool:
        overpass = gate.services["overpass"]
        list(pool.map(lambda n: gate.ask(overpass, overpass.url, form={"data": str(n)}), range(4)))
    assert services.told()["most_busy"]["overpass"] == 1


def test_never_two_at_once_between_processes(services, tmp_path):
    """Two gates on one store stand for two runs: the file's lock is taken by opening it anew, as another process does."""
    with services.gate(tmp_path) as one, services.gate(tmp_path) as two, ThreadPoolExecutor(2) as pool:
        url = one.services["overpass"].url
        jobs = [
            pool.submit(gate.ask, gate.services["overpass"], url, form={"data": str(number)})
            for number, gate in enumerate((one, two))
        ]
        assert all(job.result().status == 200 for job in jobs)
    assert services.told()["most_busy"]["overpass"] == 1


def test_parts_of_files(services, tmp_path):
    path = "dem/n40w112/USGS_13_n40w112.tif"
    with services.gate(tmp_path) as gate:
        dem = gate.services["three_dep"]
        piece = gate.piece(dem, url_of(services, path), 0, 100)
        assert len(piece.data) == 100
        assert is_tiff(piece.data)
        assert piece.changed == "2023-04-12"
        tail = gate.piece(dem, url_of(services, path), piece.whole - 10, piece.whole + 500)
        assert len(tail.data) == 10
        with pytest.raises(Refused):  # 416
            gate.piece(dem, url_of(services, path), piece.whole + 1, piece.whole + 2)
        services.faults({"path": "dem", "what": "cut", "times": 2})
        assert gate.piece(dem, url_of(services, path), 0, 1000).data[:100] == piece.data
        services.faults({"path": "dem", "what": "200", "times": 1, "body": "II*" + "x" * 500})
        with pytest.raises(Refused, match="does not hand out parts"):
            gate.piece(dem, url_of(services, path), 0, 100)
        services.faults(
            {"path": "dem", "what": "403", "times": 1, "body": "<Error>Request has expired</Error>"}
        )
        with pytest.raises(Expired):
            gate.piece(dem, url_of(services, path), 0, 100)


def test_a_stop_is_heeded(services, tmp_path):
    with services.gate(tmp_path) as gate:
        gate.stopped.set()
        with pytest.raises(Cancelled):
            gate.ask(gate.services["nws"], url_of(services, "nws/points/1,1"))
    assert services.log() == []
    assert threading.active_count() < 50


# --- the table -----------------------------------------------------------------------------------------------------


def test_every_service_has_licence_credit_and_page():
    table = read_services()
    assert table.manners.connections <= 8
    for service in table.by_key.values():
        assert service.licence, service.key
        assert service.credit, service.key
        assert service.url.startswith("https://"), service.key
        assert service.about.startswith("https://"), service.key


def test_the_last_file_counts_most(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    (tmp_path / "config/graylight").mkdir(parents=True)
    (tmp_path / "config/graylight/services.toml").write_text(
        '[nws]\nurl = "https://one.example/{lat},{lon}"\n'
    )
    country = tmp_path / "country"
    country.mkdir()
    (country / "services.toml").write_text('[nws]\nurl = "https://two.example/{lat},{lon}"\ntitle = "Ours"\n')
    assert read_services(own_files(None, None))["nws"].url.startswith("https://one")
    given = read_services(own_files(None, country))["nws"]
    assert (given.url[:11], given.title) == ("https://two", "Ours")
    assert given.credit == read_services()["nws"].credit


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[nws\n", "is not TOML"),
        ("[nwss]\nurl = 'x'\n", "did you mean 'nws'"),
        ("[nws]\nurll = 'x'\n", "did you mean 'url'"),
        ("[nws]\nurl = 5\n", "accepted is text"),
        ("[nws]\nurl = 'ftp://x'\n", "https://"),
        ("[manners]\nconnections = 20\n", "1 to 8"),
        ("[manners]\nconnections = true\n", "a number"),
        ("[states]\nXX = [1, 2]\n", "four numbers"),
        ("[nws]\nwhere = 'moon'\n", "everywhere"),
    ],
)
def test_a_table_that_can_not_be_is_refused_in_one_line(tmp_path, text, words):
    path = tmp_path / "services.toml"
    path.write_text(text)
    with pytest.raises(BadInput, match=words) as error:
        read_services([path])
    assert "\n" not in str(error.value)


def test_without_a_network_nobody_is_asked_twice(tmp_path):
    """Hosts of the name .invalid are never known (RFC 6761): no waits."""
    table = tmp_path / "own.toml"
    names = ("three_dep", "glo30", "worldcover", "gnis")
    lines = [f'[{key}]\nurl = "http://{key.replace("_", "-")}.invalid/x"' for key in names]
    table.write_text("[manners]\ntries = 4\nfirst_wait_s = 0.01\n" + "\n".join(lines), encoding="utf-8")
    with Gate(read_services([table]), Store(tmp_path / "store")) as gate:
        asked = []
        for key in names:
            before = gate.requests
            with pytest.raises(Unreached) as told:
                gate.ask(gate.services[key], gate.services[key].url)
            asked.append(gate.requests - before)
    assert asked == [1, 1, 1, 1]
    assert "is there a network?" in str(told.value)


def test_one_service_that_is_down_is_tried_as_often_as_the_others(services, tmp_path):
    with services.gate(tmp_path / "store", manners="tries = 3\nfirst_wait_s = 0.01") as gate:
        gate.ask(gate.services["nws"], f"http://127.0.0.1:{services.port}/nws/points/1,1")
        for name in ("a", "b", "c", "d"):
            before = gate.requests
            with pytest.raises(Unreached):
                gate.ask(gate.services["nws"], f"http://{name}.invalid/")
            assert gate.requests - before == 3


def test_an_error_that_comes_drop_by_drop_is_not_waited_for(services, tmp_path):
    """Its words are of use, not worth the wait; once it was read to its end, however long that took."""
    services.faults({"path": "interpreter", "what": "drip503", "times": 9})
    with services.gate(tmp_path, manners="whole_s = 1.0\ntries = 1") as gate:
        overpass = gate.services["overpass"]
        with pytest.raises(Trouble, match="answered 503"):
            gate.ask(overpass, overpass.url, form={"data": "x"})
