"""Every part of the page, opened: all that can be done has a name, text can be read, nothing is cut off.

Contrast as WCAG 2.2 has it (1.4.3: 4.5, large letters 3; relative luminance), reckoned from the computed styles; names as
1.3.1 and 4.1.2 ask for; targets for the finger of at least 24 by 24 as 2.5.8 does. The map's own letters are
drawn in pixels and not looked at here.
"""

from __future__ import annotations

from typing import Any

import pytest

DOES = "button, select, input, textarea, a, summary, [role=slider], [tabindex], canvas, img, svg[role]"
NAMELESS = """(does) => [...document.querySelectorAll(does)].filter((one) => {
    const labels = [...(one.labels ?? [])].map((label) => label.textContent).join('');
    return ![one.getAttribute('aria-label'), one.alt, labels, one.textContent].some((name) => (name ?? '').trim());
  })
  .map((one) => one.outerHTML.slice(0, 120))"""
CUT_OFF = """() => [...document.querySelectorAll('button, select, input, label, h1, h2, p')].filter((one) => {
  const box = one.getBoundingClientRect();
  const off = box.left < -1 || box.right > innerWidth + 1;
  return off && box.width > 0 && box.height > 0 && !one.closest('.unseen, .scroll, .maplibregl-map');
}).map((one) => one.outerHTML.slice(0, 120))"""
SMALL = """() => [...document.querySelectorAll('button, select, summary, input:not([type=checkbox], [type=radio], [type=range])')]
  .map((one) => [one, one.getBoundingClientRect()])
  .filter(([one, box]) => box.width > 0 && box.height > 0 && !one.closest('.unseen') && (box.width < 24 || box.height < 24))
  .map(([one, box]) => `${one.outerHTML.slice(0, 90)} ${Math.round(box.width)} x ${Math.round(box.height)}`)"""
PALE = """() => {
  const parts = (text) => {
    const numbers = (text.match(/[\\d.]+(?:e-?\\d+)?/g) ?? []).map(Number);
    const whole = text.startsWith('color(') ? 255 : 1;
    return [...numbers.slice(0, 3).map((v) => v * whole), numbers[3] ?? 1];
  };
  const light = ([r, g, b]) => [r, g, b].map((v) => v / 255).map((v) => (v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4))
    .reduce((sum, v, i) => sum + v * [0.2126, 0.7152, 0.0722][i], 0);
  const ground = (one) => {
    for (let at = one; at; at = at.parentElement) {
      const found = parts(getComputedStyle(at).backgroundColor);
      if (found[3] >= 0.9) return found;
    }
    return null;
  };
  const found = [];
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const one = walk.currentNode.parentElement;
    if (!walk.currentNode.data.trim() || one.closest('noscript, script, style, .unseen, svg, .maplibregl-map')) continue;
    if (one.closest('option, .corner')) continue;
    if (!one.checkVisibility() || one.closest(':disabled')) continue;
    const style = getComputedStyle(one);
    const [ink, under] = [parts(style.color), ground(one)];
    if (!under) continue;
    const [a, b] = [light(ink), light(under)].sort((x, y) => x - y);
    const ratio = (b + 0.05) / (a + 0.05);
    const size = parseFloat(style.fontSize);
    const large = size >= 24 || (size >= 18.66 && Number(style.fontWeight) >= 700);
    if (ratio < (large ? 3 : 4.5)) found.push(`${ratio.toFixed(2)} ${walk.currentNode.data.trim().slice(0, 40)}`);
  }
  return { found, looked: walk ? document.body.innerText.length : 0 };
}"""


def unfold(page: Any) -> None:
    """Open whatever is folded up in the notes."""
    page.evaluate("() => document.querySelectorAll('.notes details').forEach((one) => { one.open = true; })")


def look_at(page: Any, where: str) -> None:
    """All questions about the page as it stands."""
    assert page.evaluate(NAMELESS, DOES) == [], where
    pale = page.evaluate(PALE)
    assert pale["looked"] > 200, "there was text to look at"
    assert pale["found"] == [], where
    assert page.evaluate(CUT_OFF) == [], where
    width = page.viewport_size["width"]
    assert page.evaluate("() => document.documentElement.scrollWidth") <= width, where
    if width < 700:
        assert page.evaluate(SMALL) == [], where


@pytest.mark.parametrize("light", ["dark", "day"])
@pytest.mark.parametrize("size", [(1440, 900), (390, 844)], ids=["desk", "phone"])
def test_every_part_can_be_read_and_named(opened, plan_lookout, size, light):
    phone = size[0] < 700
    seen = opened(*size, phone=phone)
    page = seen.page
    page.locator(".sentence").click()
    page.get_by_label("for daylight").set_checked(light == "day")
    page.get_by_label("by how steep it is").check()
    look_at(page, "the ground")
    page.get_by_label("by the way it faces").check()
    look_at(page, "facing")
    seen.shot(f"readable-ground-{size[0]}-{light}")
    page.get_by_label("by what grows on it").check()
    page.locator(".sentence").click()
    if phone:
        page.locator(".fold").click()
    unfold(page)
    page.get_by_role("button", name="a morning of watching").click()
    look_at(page, "notes")
    seen.shot(f"readable-notes-{size[0]}-{light}")
    page.locator("[data-part=outing-form]").get_by_role("button", name="let it be").click()
    page.locator(f"li[data-lookout={plan_lookout}] .name").click()
    if phone and page.locator(".page").count():
        page.locator(".fold").click()
    page.wait_for_selector(".horizon[data-drawn]")
    page.locator(".day [role=slider]").focus()
    page.keyboard.press("ArrowRight")
    seen.settle()
    look_at(page, "a lookout, its view and the hand on the day")
    seen.shot(f"readable-lookout-{size[0]}-{light}")
    page.evaluate("() => document.querySelector('canvas').focus()")
    page.keyboard.press("Enter")
    page.wait_for_selector(".slip [data-part=ground]")
    page.get_by_role("button", name="mark it").click()
    page.get_by_role("button", name="animals were here").click()
    look_at(page, "from here, with a form")
    seen.shot(f"readable-here-{size[0]}-{light}")


@pytest.fixture(scope="module")
def plan_lookout(country) -> str:
    import json

    return json.loads((country / "plan/plan.json").read_text())["sets"][0]["lookouts"][0]
