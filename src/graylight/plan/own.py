"""The pockets of a plan: found ones as the person left them, and the person's own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon

from graylight.country.masks import burn
from graylight.grid import Grid
from graylight.habitat.drawn import drawn_pocket
from graylight.habitat.habitat import Found, Habitat, settled
from graylight.habitat.land import Land
from graylight.habitat.pockets import WORTH_KEEPING, Made, in_order, worth_keeping
from graylight.habitat.profile import Profile
from graylight.plan.edits import Edits, Own
from graylight.plan.ids import Given, same_pockets
from graylight.plan.pocket_facts import outline_of

__all__ = ["DROPPED", "Chosen", "chosen_pockets", "scores"]

DROPPED = "dropped by you"


@dataclass(frozen=True, slots=True)
class Chosen:
    """The habitat with the pockets of the plan, their ids, and which of them the person added, redrew or accepted."""

    habitat: Habitat
    ids: tuple[str, ...]
    held: frozenset[str]


def chosen_pockets(
    found: Found, land: Land, profile: Profile, *, edits: Edits, given: Given, grid: Grid
) -> Chosen:
    """Put the pockets of a plan together.

    A found pocket more than half of which lies in one of the person's own gives way to it, and so does the one that
    was redrawn. One that was accepted stays where it would be too poor to be kept. One that was dropped stays to be
    shown, and takes no ground from others.
    """
    own = _drawn(found, land, profile, edits, grid)
    kept = _found(found, edits, given, grid, own)
    mine = {key for _, key in own}
    standing = mine - edits.dropped
    ids = given.for_pockets([outline_of(m.pocket, grid) for m in kept], taken=mine)
    marked = [(_marked(m, key, edits), key) for m, key in (*own, *zip(kept, ids, strict=True))]
    key_of = {id(made): key for made, key in marked}
    order = in_order(made for made, _ in marked)
    names = tuple(key_of[id(made)] for made in order)
    first = [i for i, key in enumerate(names) if key in standing]
    held = frozenset(mine | (edits.accepted & frozenset(names)))
    return Chosen(settled(found, order, first=first), names, held)


def _drawn(found: Found, land: Land, profile: Profile, edits: Edits, grid: Grid) -> list[tuple[Made, str]]:
    """The person's own pockets, those of whose ground anything is known."""
    made = []
    for one in edits.of("P"):
        if one.shape is not None:
            rings = _rings(one, grid)
            pocket = drawn_pocket(burn([one.shape], grid), rings, found.parts, found.going, land, profile)
            made += [(pocket, one.id)] if pocket is not None else []
    return made


def _rings(one: Own, grid: Grid) -> tuple[NDArray[np.float64], ...]:
    """The outline as rings of (row, col), cell centres being whole numbers."""
    assert isinstance(one.shape, Polygon)
    a, _, west, _, _, north = grid.transform
    rings = [np.asarray(ring.coords)[:, :2] for ring in (one.shape.exterior, *one.shape.interiors)]
    return tuple(np.column_stack([(north - r[:, 1]) / a - 0.5, (r[:, 0] - west) / a - 0.5]) for r in rings)


def _found(
    found: Found, edits: Edits, given: Given, grid: Grid, own: Sequence[tuple[Made, str]]
) -> list[Made]:
    """Found pockets: those worth keeping and those accepted, without those that the person's own stand for."""
    outlines = [outline_of(m.pocket, grid) for m in found.made]
    mine = {key for _, key in own}
    before = {key: given.pockets[key] for key in sorted(mine) if key in given.pockets}
    taken = np.zeros(found.parts.feed.shape, np.bool_)
    for made, key in own:
        if key not in edits.dropped:
            taken[made.frame.cut] |= made.body
    gone = set(same_pockets(outlines, before))
    gone |= {i for i, m in enumerate(found.made) if taken[m.frame.cut][m.body].mean() > 0.5}
    wanted = {key: given.pockets[key] for key in sorted(edits.accepted - mine) if key in given.pockets}
    stay = set(same_pockets(outlines, wanted))
    worth = {id(m) for m in worth_keeping(found.made)}
    return [m for i, m in enumerate(found.made) if i not in gone and (id(m) in worth or i in stay)]


def _marked(made: Made, key: str, edits: Edits) -> Made:
    if key not in edits.dropped or made.pocket.shut is not None:
        return made
    return made._replace(pocket=replace(made.pocket, shut=DROPPED))


def scores(chosen: Chosen) -> list[float]:
    """Scores as they enter the chances: 0 where shut; what the person holds to counts at least as the least kept."""
    pockets = list(zip(chosen.habitat.pockets, chosen.ids, strict=True))
    best = max((p.score for p, key in pockets if key not in chosen.held and p.shut is None), default=0.0)
    return [
        0.0 if p.shut else max(p.score, WORTH_KEEPING * best if key in chosen.held else 0.0)
        for p, key in pockets
    ]
