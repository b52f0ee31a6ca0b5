"""Colours that must be told apart are told apart by people with colour blindness, too.

Colour blindness is simulated by the matrices of Machado, Oliveira and Fernandes 2009 (doi:10.1109/TVCG.2009.113) for severity
1.0, applied to linear light; the package colorspacious holds the same ones and checks those here. Distances are those of
CAM02-UCS (Luo, Cui and Li 2006, doi:10.1002/col.20227), by colorspacious: about 1 is the least that is seen side by side. The
least ones asked for here are ours, several times that: patches on a map do not lie side by side.
"""

from __future__ import annotations

import itertools
import re
from pathlib import Path

import numpy as np
import pytest
from colorspacious import deltaE, machado_et_al_2009_matrix

from graylight.drawing.palettes import ANIMAL, COVER, FACING, INK, LIGHT, RAMPS, RGB, SLOPE, WATER, contrast
from graylight.ground.kind import Kind

WEB = Path(__file__).parents[2] / "web" / "src"
MACHADO = {
    "protanomaly": [
        [0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]
    ],
    "deuteranomaly": [
        [0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]
    ],
    "tritanomaly": [
        [1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]
    ],
}  # fmt: skip
EYES = ("as most see", *MACHADO)


def seen(colour: RGB, eyes: str) -> np.ndarray:
    """A colour as these eyes see it, sRGB in [0, 1]."""
    value = np.asarray(colour, float) / 255.0
    if eyes not in MACHADO:
        return value
    linear = np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)
    turned = np.clip(np.array(MACHADO[eyes]) @ linear, 0.0, 1.0)
    return np.where(turned <= 0.0031308, 12.92 * turned, 1.055 * turned ** (1 / 2.4) - 0.055)


def apart(one: RGB, other: RGB) -> float:
    """The least distance of two colours over all eyes."""
    return min(
        float(deltaE(seen(one, eyes), seen(other, eyes), input_space="sRGB1", uniform_space="CAM02-UCS"))
        for eyes in EYES
    )


def rgb(text: str) -> RGB:
    red, green, blue = (int(text[i : i + 2], 16) for i in (1, 3, 5))
    return red, green, blue


def page_colours() -> dict[str, dict[str, RGB]]:
    """The variables of the page's style sheet, for the dark and for daylight."""
    text = (WEB / "page.css").read_text()
    dark, day = re.search(r":root \{(.*?)\}\n\[data-light='day'\] \{(.*?)\}", text, re.DOTALL).groups()  # type: ignore[union-attr]
    return {name: _pairs(r"--([\w-]+): (#\w{6})", part) for name, part in (("dark", dark), ("day", day))}


def map_colours() -> dict[str, dict[str, RGB]]:
    text = (WEB / "map" / "colours.ts").read_text()
    dark, day = text.split("  day: {")
    return {name: _pairs(r"(\w+): '(#\w{6})'", part) for name, part in (("dark", dark), ("day", day))}


def _pairs(pattern: str, text: str) -> dict[str, RGB]:
    return {key: rgb(value) for key, value in re.findall(pattern, text)}


@pytest.mark.parametrize("eyes", MACHADO)
def test_the_matrices_are_the_published_ones(eyes):
    assert np.allclose(MACHADO[eyes], machado_et_al_2009_matrix(eyes, 100), atol=1e-6)


def test_the_simulation_makes_red_and_green_alike_and_leaves_grey():
    """So the test can fail: the classic pair of map colours does."""
    assert apart((214, 40, 40), (78, 110, 30)) < 15.0
    assert apart((150, 150, 150), (150, 150, 150)) == 0.0
    for eyes in EYES:
        assert np.allclose(seen((150, 150, 150), eyes), 150 / 255, atol=1e-3)


@pytest.mark.parametrize(("one", "other"), list(itertools.combinations(Kind, 2)), ids=lambda kind: kind.name)
def test_kinds_of_cover(one, other):
    assert apart(COVER[one.value], COVER[other.value]) >= 8.0


def drawn(tint: RGB, theme: str) -> RGB:
    """A tint as the map draws it on level ground: web/src/map/drawn.ts, reckoned here anew from its numbers."""
    text = (WEB / "map" / "drawn.ts").read_text()
    line = re.search(rf"  {theme}: \{{\s+cover: \{{ (.*?) \}}", text)[1]  # type: ignore[index]
    how = {key: float(value) for key, value in re.findall(r"(\w+): ([\d.]+)", line)}
    value = np.array(tint, float) / 255.0
    if how["saturation"] > 0:
        value = value + (value.mean() - value) * (1.0 - 1.0 / (1.001 - how["saturation"]))
    value = ((value - 0.5) / (1.0 - how["contrast"]) + 0.5) * how["brightness"]
    under = np.array(map_colours()[theme]["ground"], float) / 255.0
    shown = np.clip(value * how["opacity"], 0.0, 1.0) + under * (1.0 - how["opacity"])
    red, green, blue = (round(255.0 * float(v)) for v in shown)
    return red, green, blue


@pytest.mark.parametrize(("one", "other"), list(itertools.combinations(Kind, 2)), ids=lambda kind: kind.name)
def test_kinds_of_cover_as_the_map_draws_them(one, other):
    for theme in ("dark", "day"):
        assert apart(drawn(COVER[one.value], theme), drawn(COVER[other.value], theme)) >= 6.0, theme


def test_the_three_kinds_that_were_all_beige():
    """Open grass, growth between rocks, worked ground."""
    for one, other in itertools.combinations((Kind.GRASS, Kind.ROCK_GROWTH, Kind.WORKED), 2):
        for theme in ("dark", "day"):
            assert apart(drawn(COVER[one.value], theme), drawn(COVER[other.value], theme)) >= 8.0, theme


def test_light_and_animals_and_the_lines_of_slope():
    assert apart(LIGHT, ANIMAL) >= 30.0
    assert apart(LIGHT, INK) >= 30.0
    for step in SLOPE[[96, 128, 160, 192]]:  # each line lies where the ramp says 20 to 45 degrees
        ground = tuple(int(v) for v in step)
        assert max(apart(LIGHT, ground), apart(INK, ground)) >= 30.0  # type: ignore[arg-type]
    assert apart(WATER, INK) >= 15.0


@pytest.mark.parametrize("name", [name for name in RAMPS if name != "facing"])
def test_ends_and_middle_of_a_ramp(name):
    steps = [tuple(int(v) for v in RAMPS[name][i]) for i in (0, 128, 255)]
    assert min(apart(a, b) for a, b in itertools.combinations(steps, 2)) >= 18.0  # type: ignore[arg-type]


def test_opposite_facings():
    for i in range(0, 128, 16):
        one, other = (tuple(int(v) for v in FACING[at]) for at in (i, i + 128))
        assert apart(one, other) >= 20.0, i  # type: ignore[arg-type]


@pytest.mark.parametrize("theme", ["dark", "day"])
def test_what_the_page_draws(theme):
    """Told apart by form, too (see web/src/map/glyphs.ts); by colour alone these at least."""
    on_map, around = map_colours()[theme], page_colours()[theme]
    assert apart(on_map["light"], on_map["animal"]) >= 14.0
    assert apart(on_map["light"], on_map["quiet"]) >= 20.0, "in sight, and hidden"
    assert apart(on_map["water"], on_map["contour"]) >= 9.0
    assert apart(around["light"], around["animal"]) >= 9.0
    bands = [around[name] for name in ("night", "twilight", "shade", "sun")]
    for one, other in itertools.combinations(bands, 2):
        assert apart(one, other) >= 14.0


@pytest.mark.parametrize("theme", ["dark", "day"])
@pytest.mark.parametrize("ink", ["letters", "quiet", "light", "animal"])
def test_letters_can_be_read(theme, ink):
    """WCAG 2.2, 1.4.3: a contrast of 4.5 at the least."""
    around = page_colours()[theme]
    for sheet in ("sheet", "sheet-raised"):
        assert contrast(around[ink], around[sheet]) >= 4.5
