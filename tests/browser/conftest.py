"""The real page in a real browser: Chromium with a software renderer, the server on the loopback address.

Where there is no Chromium, or the page was not built, these tests do not run and the summary says which and why.
"""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.resources import files
from pathlib import Path

import pytest

from tests.browser.seen import Seen

HERE = Path(__file__).parent
CHROMIUM = next(
    (path for name in ("chromium", "chromium-browser", "google-chrome") if (path := shutil.which(name))), None
)
# llvmpipe draws WebGL several times faster than the renderer that Chromium brings along
FLAGS = [
    "--use-gl=angle", "--use-angle=gl-egl", "--ignore-gpu-blocklist", "--no-sandbox", "--disable-background-networking",
    "--no-first-run",
]  # fmt: skip


def lacking() -> str | None:
    """Why the browser tests can't run."""
    if CHROMIUM is None:
        return "there is no Chromium here: install it (Debian: apt-get install chromium), then run make test again"
    if not files("graylight").joinpath("web").joinpath("index.html").is_file():
        return "the page was not built: install graylight again (pip install -e .)"
    return None


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    why = lacking()
    if why:
        for item in items:
            if HERE in item.path.parents and "opened" in getattr(item, "fixturenames", ()):
                item.add_marker(pytest.mark.skip(reason=why))


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    skipped = [
        one.nodeid for one in terminalreporter.stats.get("skipped", []) if "tests/browser" in one.nodeid
    ]
    if skipped:
        terminalreporter.section("browser tests that did NOT run")
        terminalreporter.write_line(lacking() or "")
        for name in skipped:
            terminalreporter.write_line(f"  {name}")
    for line in Seen.measured:
        terminalreporter.write_line(f"measured (not a test): {line}")


@pytest.fixture(scope="session")
def country(demo, tmp_path_factory) -> Path:
    """A copy of the invented range with its plan: the page writes into it, and each test takes back what it said."""
    return Path(shutil.copytree(demo, tmp_path_factory.mktemp("page") / "country"))


@pytest.fixture(scope="session")
def address(country) -> Iterator[str]:
    """The page's address, served by the command itself in a process of its own."""
    with serving(str(country), country.parent) as url:
        yield url


@contextmanager
def serving(typed: str, place: Path) -> Iterator[str]:
    """Serve a country by the path that is typed in a folder."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    words = [sys.executable, "-m", "graylight", "serve", typed, "--port", str(port), "--no-browser"]
    log = place / f"serve-{port}.log"
    with (
        log.open("w") as out,
        subprocess.Popen(words, stdout=out, stderr=subprocess.STDOUT, cwd=place) as server,
    ):
        try:
            yield _answering(f"http://127.0.0.1:{port}/", server, log)
        finally:
            server.terminate()
            server.wait(20)


def _answering(url: str, server: subprocess.Popen[bytes], log: Path) -> str:
    for _ in range(240):
        assert server.poll() is None, log.read_text()
        try:
            urllib.request.urlopen(f"{url}api/state", timeout=30).close()
            return url
        except (urllib.error.URLError, ConnectionError):
            time.sleep(0.25)
    raise AssertionError(f"the server does not answer: {log.read_text()}")


@pytest.fixture(scope="module")
def chromium() -> Iterator[object]:
    """One browser for the tests of a module."""
    from playwright.sync_api import sync_playwright

    environment = {**os.environ, "LIBGL_ALWAYS_SOFTWARE": "1"}
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=CHROMIUM,
            args=FLAGS,
            ignore_default_args=["--enable-unsafe-swiftshader"],
            env=environment,
        )
        yield browser
        browser.close()


@pytest.fixture
def opened(chromium, address) -> Iterator[object]:
    """Opens pages of a given size; none may complain, ask for anything from elsewhere, or be refused anything."""
    pages: list[Seen] = []

    def open_page(width: int = 900, height: int = 640, *, phone: bool = False) -> Seen:
        pages.append(Seen(chromium, address, size=(width, height), phone=phone))
        return pages[-1]

    yield open_page
    for one in pages:
        one.close()
    assert [complaint for one in pages for complaint in one.complaints] == []
