"""How many bytes of the large rasters are asked for, counted by the server: files of the real sizes and blocks.

Two measures. A *share* is the bytes of the cells of the smallest window that holds the country. A block is the least that
can be had of a compressed file, so the blocks which that window touches are the least that can be asked for.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.unit.hollow import CANOPY, SHAPES, asked, write_hollow

HEAD = 40_000
"""Bytes that the directories of the file may cost."""


@pytest.fixture
def hollow(rasters):
    path = rasters / "fine/hollow.tif"
    yield lambda shape: write_hollow(path, shape)
    path.unlink(missing_ok=True)


@pytest.mark.parametrize("name", [*SHAPES])
def test_no_more_than_the_blocks_of_the_window(services, hollow, tmp_path, name):
    """Against the blocks: the directories, and seldom a row of blocks that holds the country's last cell."""
    shape = SHAPES[name]
    level = 1 if name == CANOPY else 0  # cells of 2.4 m are fine enough to count a third of 10 m in
    hollow(shape)
    told = asked(services, tmp_path, shape, 6, level=level, cell_m=10 / 3 if level else 10.0)
    assert (told[:, 0] <= 1.5 * told[:, 2] + HEAD).all()
    assert told[:, 0].sum() <= 1.05 * told[:, 2].sum() + 6 * HEAD
    assert (told[:, 0] >= told[:, 2]).all()  # else something was left out


@pytest.mark.parametrize("block", [128, 256])
def test_no_more_than_one_and_a_half_times_the_share(services, hollow, tmp_path, block):
    """Where blocks are small against the window it can be had: 10 miles are 1,609 cells."""
    shape = replace(SHAPES["3DEP 1/3 arc-second"], block=block)
    hollow(shape)
    told = asked(services, tmp_path, shape, 6)
    assert told[:, 0].sum() < 1.5 * told[:, 1].sum()
    assert (told[:, 0] < (1.5 if block == 128 else 1.7) * told[:, 1]).all()


def test_coarse_cells_ask_for_the_overview(services, hollow, tmp_path):
    shape = SHAPES["3DEP 1/3 arc-second"]
    hollow(shape)
    fine = asked(services, tmp_path / "fine", shape, 2)
    coarse = asked(services, tmp_path / "coarse", shape, 2, level=1, cell_m=30.0)
    assert coarse[:, 0].sum() < fine[:, 0].sum() / 2
