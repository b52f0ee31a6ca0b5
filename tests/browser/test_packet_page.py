"""The packet's page in Chromium, opened from a file with the network off, on a telephone's width and a desk's."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path

import pytest
from pyproj import Transformer

from graylight.country.folder import Country
from graylight.packet.asked import understood
from graylight.packet.making import make_packet
from graylight.plan.keeping import kept_plan

sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
CHROMIUM = next(
    (path for name in ("chromium", "chromium-browser", "google-chrome") if (path := shutil.which(name))), None
)
if CHROMIUM is None:
    pytest.skip("there is no Chromium here (Debian: apt-get install chromium)", allow_module_level=True)

PHONE, DESK = {"width": 390, "height": 844}, {"width": 1200, "height": 800}


@pytest.fixture(scope="module")
def packet(small, tmp_path_factory) -> Path:
    """The packet of a small country, with and without what is only for oneself."""
    folder = tmp_path_factory.mktemp("page") / "country"
    shutil.copytree(small, folder)
    country = Country.open(folder)
    plan = kept_plan(country)
    country = country.with_settings(animal=plan.animal, date=plan.light.date.isoformat())
    asked = understood(plan, lookouts=",".join(one.id for one in plan.lookouts[:2]))
    make_packet(country, plan, asked)
    make_packet(country, plan, asked, share=True)
    return folder / "packet"


@pytest.fixture(scope="module")
def browser():
    with sync_api.sync_playwright() as play:
        flags = ["--no-sandbox", "--disable-background-networking", "--no-first-run"]
        started = play.chromium.launch(executable_path=CHROMIUM, args=flags)
        yield started
        started.close()


class Shown:
    """A page opened without a network, with what it asked for and complained of."""

    def __init__(self, browser, path: Path, size: dict, *, dark: bool = False, touch: bool = False) -> None:
        self.context = browser.new_context(
            viewport=size, offline=True, color_scheme="dark" if dark else "light", has_touch=touch
        )
        self.page = self.context.new_page()
        self.complaints: list[str] = []
        self.asked: list[str] = []
        self.page.on("console", lambda said: self.complaints.append(said.text))
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.goto(path.as_uri())
        self.page.wait_for_selector("html[data-ready=yes]")

    def colours(self) -> tuple[str, str]:
        got = self.page.evaluate(
            "[getComputedStyle(document.body).backgroundColor, getComputedStyle(document.body).color]"
        )
        return tuple(got)


@pytest.fixture
def opened(browser, packet):
    shown: list[Shown] = []

    def open_it(size=PHONE, name="packet.html", **how) -> Shown:
        shown.append(Shown(browser, packet / name, size, **how))
        return shown[-1]

    yield open_it
    for one in shown:
        one.context.close()


def facts_of(path: Path) -> dict:
    return json.loads(re.search(r'id="facts">(.*?)</script>', path.read_text(encoding="utf-8"), re.DOTALL)[1])


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_it_opens_without_a_network_and_without_complaint(opened, packet, size):
    shown = opened(size)
    assert shown.complaints == []
    assert [url for url in shown.asked if not url.startswith("data:")] == [(packet / "packet.html").as_uri()]
    assert shown.page.evaluate("document.documentElement.scrollWidth") <= size["width"]
    loaded = shown.page.evaluate("[...document.images].map((one) => one.complete && one.naturalWidth > 0)")
    assert len(loaded) >= 1 + 2 + 2  # the map, two strips, two profiles
    assert all(loaded)


def test_all_is_there_map_pockets_lookouts_strips_clocks(opened, packet):
    page, facts = opened().page, facts_of(packet / "packet.html")
    assert page.locator("article").count() == len(facts["sits"]) == 2
    assert page.locator(".strip img").count() == 2
    assert page.locator("details").count() == len(facts["pockets"])
    assert page.locator("#sheet .pocket").count() == len(facts["map"]["pockets"])
    assert page.locator("#sheet .seat").count() == len(facts["map"]["lookouts"])
    for number, sit in enumerate(facts["sits"]):
        rows = page.locator("article").nth(number).locator(".clock tr").all_inner_texts()
        assert [" ".join(row.split()) for row in rows] == [
            " ".join(" ".join(one).split()) for one in sit["clock"]["rows"]
        ]


@pytest.mark.parametrize("at", [(0.5, 0.5), (0.2, 0.7), (0.75, 0.3)])
def test_a_touch_tells_the_place_under_it(opened, packet, at):
    """Against PROJ: the UTM place of the pixel touched, and its degrees."""
    page, facts = opened(DESK).page, facts_of(packet / "packet.html")["map"]
    box = page.locator("#map").bounding_box()
    x, y = box["x"] + at[0] * box["width"], box["y"] + at[1] * box["height"]
    page.mouse.click(x, y)
    lat, lon, zone, east, north = re.fullmatch(
        r"(-?[\d.]+), (-?[\d.]+) +UTM (\d+) north (\d+) (\d+) +WGS 84", page.locator("#here").inner_text()
    ).groups()
    turned = Transformer.from_crs(f"EPSG:326{zone}", "EPSG:4326").transform(float(east), float(north))
    assert turned == pytest.approx((float(lat), float(lon)), abs=1.2e-5)
    turn = "new DOMMatrix(getComputedStyle(document.getElementById('sheet')).transform)"
    scale, left, top = page.evaluate(f"(() => {{ const m = {turn}; return [m.a, m.e, m.f]; }})()")
    col, row = (x - box["x"] - left) / scale, (y - box["y"] - top) / scale
    assert float(east) == pytest.approx(facts["west"] + col * facts["metres"], abs=1.5)
    assert float(north) == pytest.approx(facts["north"] - row * facts["metres"], abs=1.5)


def test_picking_a_lookout_lights_it_and_its_way_on_the_map(opened, packet):
    page, facts = opened().page, facts_of(packet / "packet.html")
    first = facts["sits"][0]["id"]
    page.locator(f"#lookout-{first} button").first.click()
    assert page.evaluate("document.documentElement.dataset.picked") == first
    classes = page.evaluate(
        "[...document.querySelectorAll('#sheet .picked')].map((one) => one.getAttribute('class'))"
    )
    assert sorted(classes) == ["seat picked", "way picked"]


def test_it_is_dark_in_the_dark_and_the_key_turns_it(opened):
    night, day = opened(dark=True), opened(dark=False)
    assert night.colours() != day.colours()
    night.page.locator("#light").click()
    assert night.colours() == day.colours()


def contrast(a: str, b: str) -> float:
    """Contrast ratio of two CSS colours (WCAG 2.2)."""

    def light(colour: str) -> float:
        parts = [int(v) / 255 for v in re.findall(r"\d+", colour)[:3]]
        linear = [v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    low, high = sorted((light(a), light(b)))
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("dark", [True, False])
def test_letters_stand_out(opened, dark):
    shown = opened(dark=dark)
    assert contrast(*shown.colours()) >= 7.0
    quiet = shown.page.evaluate("getComputedStyle(document.querySelector('.quiet')).color")
    assert contrast(shown.colours()[0], quiet) >= 4.5


def test_keys_move_the_map_and_bring_it_nearer(opened):
    page = opened(DESK).page
    before = page.evaluate("document.getElementById('sheet').style.transform")
    page.locator("#map").focus()
    page.keyboard.press("+")
    nearer = page.evaluate("document.getElementById('sheet').style.transform")
    page.keyboard.press("ArrowRight")
    moved = page.evaluate("document.getElementById('sheet').style.transform")
    assert len({before, nearer, moved}) == 3


def test_the_next_line_of_the_clock_is_lit_on_the_day(browser, packet):
    facts = facts_of(packet / "packet.html")
    sit = facts["sits"][0]
    moments = [when for when in sit["moments"] if when]
    assert len(moments) > 5
    context = browser.new_context(viewport=PHONE, offline=True)
    page = context.new_page()
    page.clock.set_fixed_time((moments[2] + moments[3]) / 2)
    page.goto((packet / "packet.html").as_uri())
    page.wait_for_selector("html[data-ready=yes]")
    lit = page.locator(f"#lookout-{sit['id']} .clock tr.next").all_inner_texts()
    row = sit["clock"]["rows"][sit["moments"].index(moments[3])]
    assert [" ".join(one.split()) for one in lit] == [" ".join(" ".join(row).split())]
    context.close()


def test_nothing_in_a_name_is_taken_for_a_command(browser, packet, tmp_path):
    from graylight.packet.page import written

    facts = facts_of(packet / "packet.html")
    bad = "</script><script>document.title='taken'</script><img src=x onerror=document.title='taken'><!--"
    facts["title"] = bad
    facts["sits"][0]["title"] = bad
    path = tmp_path / "bad.html"
    path.write_bytes(written(facts))
    shown = Shown(browser, path, PHONE)
    assert shown.page.title() == bad
    assert shown.page.locator("h1").inner_text() == bad
    assert shown.complaints == []
    shown.context.close()


def test_the_shared_page_has_no_map_and_works(opened):
    shown = opened(name="share/shared.html")
    assert shown.complaints == []
    assert shown.page.locator("#map").count() == 0
    assert shown.page.locator("article").count() == 2
    assert "06:00" in shown.page.locator("article").first.inner_text()
