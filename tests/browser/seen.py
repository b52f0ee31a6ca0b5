"""The page as a person sees it: where things stand, what is said, and what it took."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any, ClassVar

SHOTS = Path(__file__).parent / "shots"
PATIENCE_MS = 60_000


class Seen:
    """One open page.

    Parameters
    ----------
    browser, address
        Where it is opened.
    size
        Width and height, CSS pixels.
    phone
        Whether it is touched.
    locale
        What the browser speaks.
    """

    measured: ClassVar[list[str]] = []

    def __init__(
        self, browser: Any, address: str, *, size: tuple[int, int], phone: bool, locale: str = "en-US"
    ) -> None:
        width, height = size
        self.context = browser.new_context(
            viewport={"width": width, "height": height}, has_touch=phone, is_mobile=phone, device_scale_factor=1,
            reduced_motion="reduce", locale=locale,
        )  # fmt: skip
        self.page = self.context.new_page()
        self.page.set_default_timeout(PATIENCE_MS)
        self.address = address
        self.complaints: list[str] = []
        self.asked: list[str] = []
        self.page.on("console", self._console)
        self.page.on("pageerror", lambda error: self.complaints.append(f"error: {error}"))
        self.page.on("request", self._request)
        self.page.on("response", self._response)
        began = time.perf_counter()
        self.page.goto(address)
        self.page.wait_for_selector("main[data-ready=yes]")
        self.usable_s = time.perf_counter() - began

    def _console(self, message: Any) -> None:
        if message.type in {"error", "warning"}:
            self.complaints.append(f"{message.type}: {message.text}")

    def _request(self, request: Any) -> None:
        self.asked.append(request.url)
        if not request.url.startswith((self.address, "data:", "blob:")):
            self.complaints.append(f"asked elsewhere: {request.url}")

    def _response(self, response: Any) -> None:
        if response.status >= 400:
            self.complaints.append(f"{response.status}: {response.url}")

    def until(self, true: str, given: Any = None) -> None:
        """Ask the page again and again, as its own policy forbids a predicate that it would have to evaluate itself.

        Parameters
        ----------
        true
            JavaScript: an expression, or a function of ``given``.
        given
            What the function is given.
        """
        ends = time.perf_counter() + PATIENCE_MS / 1000
        while not self.page.evaluate(true, given):
            assert time.perf_counter() < ends, f"the page never came to: {true}"
            self.page.wait_for_timeout(40)

    def settle(self) -> None:
        """Wait until the map has drawn all that it was told."""
        self.page.wait_for_timeout(60)
        self.page.wait_for_selector(".map[data-drawn=yes]")

    def shot(self, name: str) -> None:
        """Keep a picture; docs/pictures holds copies of some."""
        SHOTS.mkdir(exist_ok=True)
        self.page.screenshot(path=SHOTS / f"{name}.png")

    def at(self, lon: float, lat: float) -> tuple[float, float]:
        """Where a place stands on the screen."""
        x, y = self.page.evaluate(
            "at => { const p = document.querySelector('.map').graylight.project(at); return [p.x, p.y]; }",
            [lon, lat],
        )
        return x, y

    def go(self, lon: float, lat: float, zoom: float) -> None:
        """Bring a place into the middle of the upper left, which nothing covers."""
        self.page.evaluate(
            """([lon, lat, zoom]) => {
                const map = document.querySelector('.map').graylight;
                map.jumpTo({ center: [lon, lat], zoom });
                map.panBy([180, 60], { duration: 0 });
            }""",
            [lon, lat, zoom],
        )
        self.settle()

    def took(self, name: str) -> list[float]:
        """What the page itself measured under a name, ms."""
        found: list[float] = self.page.evaluate(
            "name => performance.getEntriesByName(name, 'measure').map((one) => one.duration)", name
        )
        return found

    def refused(self, status: int) -> None:
        """Take a refusal off the complaints that was meant to come."""
        kept = [
            one
            for one in self.complaints
            if not (one.startswith(f"{status}: ") or f"status of {status}" in one)
        ]
        assert len(kept) < len(self.complaints), f"nothing was refused with {status}"
        self.complaints[:] = kept

    def say(self, words: str) -> None:
        """Keep a figure for the end of the run."""
        Seen.measured.append(words)

    def close(self) -> None:
        """Close the page."""
        self.context.close()
