"""The server as a process of its own: it says where it is, moves over when a port is taken, ends cleanly, loses nothing."""

from __future__ import annotations

import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from contextlib import contextmanager

import pytest

from graylight.country.folder import Country
from graylight.country.rows import Rows
from graylight.errors import BadInput
from graylight.server import serving

SPRING = {"geometry": {"type": "Point", "coordinates": [-114.82, 40.45]}, "values": {"name": "spring"}}


@contextmanager
def served(folder, *words):
    """The command, and the address it says."""
    command = [
        sys.executable,
        "-X",
        "faulthandler",
        "-m",
        "graylight",
        "serve",
        str(folder),
        "--no-browser",
        *words,
    ]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    said = []
    try:
        while not said or "Ctrl-C" not in said[-1]:
            line = process.stdout.readline()
            assert line, process.stderr.read()
            said.append(line.strip())
        address = next(line.split()[-1] for line in said if "http://" in line)
        yield process, address, said
    except OSError as error:
        time.sleep(0.5)
        ended = process.poll()
        process.kill()
        raise AssertionError(f"exit {ended}: {process.stderr.read()}") from error
    finally:
        process.kill()
        process.wait(10)
        process.stdout.close()
        process.stderr.close()


def ask(address, path, body=None):
    """An answer of the server; it may need a moment to be up."""
    data = None if body is None else json.dumps(body).encode()
    request = urllib.request.Request(address + path, data, {"content-type": "application/json"})
    for _ in range(100):
        try:
            with urllib.request.urlopen(request, timeout=30) as answer:
                return json.loads(answer.read())
        except ConnectionRefusedError:
            time.sleep(0.1)
    raise AssertionError("the server does not answer")


@pytest.fixture
def country(small, tmp_path):
    return shutil.copytree(small, tmp_path / "country")


@pytest.mark.skipif(sys.platform == "win32", reason="signals")
def test_killed_it_loses_nothing_that_was_answered(country):
    with served(country, "--port", "0") as (process, address, _):
        for number in range(5):
            ask(address, "api/rows/places", {**SPRING, "values": {"name": f"spring {number}"}})
        os.kill(process.pid, signal.SIGKILL)
        process.wait(10)
    names = {row.values["name"] for row in Rows(Country.open(country)).read("places")}
    assert {f"spring {number}" for number in range(5)} <= names
    assert sorted(path.name for path in country.glob("country.gpkg*")) == ["country.gpkg"]


@pytest.mark.skipif(sys.platform == "win32", reason="signals")
@pytest.mark.parametrize("stop", ["SIGINT", "SIGTERM"])
def test_it_ends_cleanly_with_a_page_listening_and_a_plan_under_way(country, stop):
    with served(country, "--port", "0") as (process, address, _):
        ask(address, "api/state")
        with urllib.request.urlopen(address + "api/events", timeout=30) as stream:
            ask(address, "api/jobs", {"kind": "plan"})
            time.sleep(1.0)
            process.send_signal(getattr(signal, stop))
            told = stream.read().decode()
        code = process.wait(30)
        error = process.stderr.read()
    assert code == 130
    assert "event: closing" in told
    assert "Traceback" not in error
    assert "stopped" in error


def test_a_taken_port_is_passed_over_and_said(country):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with served(country, "--port", str(port)) as (_, address, said):
            assert said[0].startswith(f"Port {port} is taken")
            assert not address.endswith(f":{port}/")
            assert ask(address, "api/state")["country"]["invented"] is False


def test_it_listens_on_the_loopback_alone(country):
    with served(country, "--port", "0") as (_, address, said):
        assert address.startswith("http://127.0.0.1:")
        assert not any("token" in line for line in said)
        port = int(address.split(":")[2].strip("/"))
        other = serving._own_address()
        if other != "127.0.0.1":
            with pytest.raises(ConnectionRefusedError), socket.create_connection((other, port), timeout=3):
                pass


def test_an_answer_leaves_at_once():
    """Named TCP: only then does asyncio set TCP_NODELAY on what it accepts; without, answers in two pieces wait 40 ms."""
    with serving.listening("127.0.0.1", 0) as bound:
        assert bound.proto == socket.IPPROTO_TCP


@pytest.mark.parametrize("port", [-1, 65536, 10**9])
def test_a_port_that_is_none_is_refused(port):
    with pytest.raises(BadInput, match="port"):
        serving.listening("127.0.0.1", port)


def test_the_link_for_others_says_what_it_means():
    words = serving._lan_words(["192.0.2.7"], 8417, "secret")
    assert "http://192.0.2.7:8417/?token=secret" in words[0]
    assert "trust" in words[1]
    assert serving._lan_words([], 8417, None) == []


def test_what_is_no_country_is_refused(tmp_path):
    done = subprocess.run(
        [sys.executable, "-m", "graylight", "serve", str(tmp_path), "--no-browser"],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 2
    assert "country" in done.stderr
    assert "Traceback" not in done.stderr
