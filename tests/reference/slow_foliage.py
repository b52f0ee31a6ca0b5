"""Light through foliage, written to be read: walk the line in small steps and add up what each step loses.

The line runs over the crossings of the exact definition (`exact_sight`). At each, ground, crown base, crown top
and the extinctions are linear on the crossed edge, and the line is not taken below the ground; between two
crossings all are linear again. No step is clever: where the line is inside the crown it loses by the crown,
below it by the trunks.
"""

from __future__ import annotations

from itertools import pairwise
from math import exp, hypot

from tests.reference.exact_sight import EARTH_RADIUS_M, crossings, height_at


def light_left(
    ground, base, top, crown, trunk, eye, target, *, cell_m, eye_m, target_m, refraction=1 / 7, steps=400
) -> float:
    """What is left of the light from eye to target; heights above the datum, extinctions per metre."""
    bend = (1 - refraction) / (2 * EARTH_RADIUS_M)
    whole = hypot(target[0] - eye[0], target[1] - eye[1]) * cell_m
    z0, z1 = float(ground[eye]) + eye_m, float(ground[target]) + target_m
    slant = hypot(whole, z1 - z0) / whole
    stations = []
    for t, row, col in sorted(set(crossings(*eye, *target))):
        # seen from the chord between the ends the earth bulges by bend * d * (whole - d)
        bulge = bend * float(t) * (1 - float(t)) * whole**2
        g, b, h = (height_at(one, row, col) + bulge for one in (ground, base, top))
        line = max(z0 + (z1 - z0) * float(t), g)
        stations.append((float(t), line, b, h, height_at(crown, row, col), height_at(trunk, row, col)))
    if not stations:
        return 1.0
    # towards the ends the line keeps its place in the layer, and the leaves thin out to nothing
    stations.insert(0, (0.0, *stations[0][1:4], 0.0, 0.0))
    stations.append((1.0, *stations[-1][1:4], 0.0, 0.0))
    depth = 0.0
    for before, after in pairwise(stations):
        flat = (after[0] - before[0]) * whole / steps
        for i in range(steps):
            s = (i + 0.5) / steps
            line, b, h, k, stem = (
                one + (two - one) * s for one, two in zip(before[1:], after[1:], strict=True)
            )
            if b <= line < h:
                depth += k * flat * slant
            elif line < b:
                depth += stem * flat
    return exp(-depth)
