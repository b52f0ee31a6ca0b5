"""Colours: measured against published values, and held readable for colour-blind eyes."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from graylight.drawing.palettes import (
    ANIMAL,
    COVER,
    FACING,
    INK,
    LIGHT,
    MUTED,
    PAPER,
    RAMPS,
    WATER,
    contrast,
    hex_of,
    mix,
    oklab,
    rgb_of,
)

# Machado, Oliveira & Fernandes 2009, "A Physiologically-based Model for Simulation of Color Vision
# Deficiency", severity 1.0, on linear RGB
BLIND = {
    "protan": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deutan": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
}


def seen(colour, kind):
    value = np.asarray(colour, float) / 255.0
    linear = np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)
    linear = np.clip(linear @ np.array(BLIND[kind]).T, 0.0, 1.0)
    return oklab(255.0 * np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055))


@pytest.mark.parametrize(
    ("colour", "lab"),
    [
        # OKLab of the sRGB primaries: as commonly published for Ottosson's space; values from memory
        ((255, 0, 0), (0.62796, 0.22486, 0.12585)),
        ((0, 255, 0), (0.86644, -0.23389, 0.17950)),
        ((0, 0, 255), (0.45201, -0.03246, -0.31153)),
        ((255, 255, 255), (1.0, 0.0, 0.0)),
    ],
)
def test_oklab(colour, lab):
    assert oklab(colour) == pytest.approx(lab, abs=2e-4)


def test_oklab_there_and_back():
    colours = np.random.default_rng(5).integers(0, 256, (500, 3)).astype(np.uint8)
    assert (rgb_of(oklab(colours)) == colours).all()


def test_contrast():
    # WCAG 2.2: black on white is 21:1; #767676 on white is 4.54:1 (value from memory)
    assert contrast((0, 0, 0), (255, 255, 255)) == pytest.approx(21.0)
    assert contrast((118, 118, 118), (255, 255, 255)) == pytest.approx(4.54, abs=0.01)


def test_letters_can_be_read():
    # WCAG 2.2, 1.4.3: 4.5:1 for text
    for ink, ground in (
        (INK, PAPER),
        (MUTED, PAPER),
        (PAPER, INK),
        (INK, LIGHT),
        (PAPER, ANIMAL),
        (WATER, PAPER),
    ):
        assert contrast(ink, ground) >= 4.5, (hex_of(ink), hex_of(ground))
    for tint in COVER.values():
        assert contrast(INK, tint) >= 4.5


@pytest.mark.parametrize("kind", ["protan", "deutan"])
def test_main_colours_are_told_apart_by_colour_blind_eyes(kind):
    colours = {"light": LIGHT, "animal": ANIMAL, "ink": INK, "water": WATER, "paper": PAPER}
    for (one, a), (other, b) in itertools.combinations(colours.items(), 2):
        assert np.linalg.norm(seen(a, kind) - seen(b, kind)) > 0.12, (one, other)


@pytest.mark.parametrize("kind", [None, "protan", "deutan"])
def test_facing_ramp_closes_and_its_opposites_differ(kind):
    labs = oklab(FACING) if kind is None else seen(FACING, kind)
    steps = np.linalg.norm(np.diff(np.vstack([labs, labs[:1]]), axis=0), axis=1)
    if kind is None:
        assert steps[-1] < 2.0 * np.median(steps)  # the ends meet
        # uniform, but for rounding to bytes: eight steps together vary little
        chords = np.linalg.norm(labs - np.roll(labs, -16, axis=0), axis=1)
        assert chords.max() / chords.min() < 1.15
    opposite = np.linalg.norm(labs - np.roll(labs, 128, axis=0), axis=1)
    assert opposite.min() > 0.12


@pytest.mark.parametrize("name", ["slope", "feed", "bed", "sight", "walk"])
def test_sequential_ramps_run_one_way_in_lightness(name):
    lightness = oklab(RAMPS[name])[:, 0]
    steps = np.diff(lightness)
    assert (steps >= -0.004).all() or (steps <= 0.004).all()
    assert abs(lightness[-1] - lightness[0]) > 0.25
    lengths = np.linalg.norm(np.diff(oklab(RAMPS[name])[::8], axis=0), axis=1)
    assert lengths.max() / lengths.min() < 1.5


def test_ramps_have_their_shape():
    for ramp in RAMPS.values():
        assert ramp.shape == (256, 3)
        assert ramp.dtype == np.uint8


def test_mix_ends():
    assert mix(INK, PAPER, 0.0) == INK
    assert mix(INK, PAPER, 1.0) == PAPER


def test_every_kind_of_cover_has_a_tint():
    from graylight.ground.cover import Kind

    assert set(COVER) == {int(kind) for kind in Kind}
