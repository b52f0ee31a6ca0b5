"""Animals placed by known odds, moving as the rule of fading says, and outings that find with known chances.

A plain simulation, animal by animal, that shares no code with the odds it checks.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Policy = Callable[[int, list[int]], int]
"""From the morning's number and the lookouts sat at so far to the next lookout."""


@dataclass(frozen=True)
class World:
    """What is true: `prior` (places,), the last of it elsewhere; `found` (lookouts, pockets); days to forget a half.

    `now` is how they lie at the beginning where that is not by the prior.
    """

    prior: Floats
    found: Floats
    fade_days: float
    now: Floats | None = None

    def place(self, rng: np.random.Generator, count: int) -> NDArray[np.int64]:
        """Where the animals are, in each of so many worlds."""
        chances = self.prior if self.now is None else self.now
        return rng.choice(len(self.prior), count, p=chances)

    def move(self, rng: np.random.Generator, where: NDArray[np.int64], days: float) -> NDArray[np.int64]:
        """Some days later: each stays with the chance 2^(-days / fade), or goes anywhere by the prior."""
        stays = rng.random(len(where)) < 0.5 ** (days / self.fade_days)
        return np.where(stays, where, rng.choice(len(self.prior), len(where), p=self.prior))

    def search(
        self, rng: np.random.Generator, where: NDArray[np.int64], lookout: int, part: float = 1.0
    ) -> NDArray[np.bool_]:
        """Whether a sit finds them."""
        chance = np.append(self.found[lookout], 0.0)[where] * part
        return rng.random(len(where)) < chance


def mornings_until_found(
    world: World,
    policy: Policy,
    *,
    runs: int,
    most: int,
    rng: np.random.Generator,
    part: Callable[[list[int], int], float],
) -> NDArray[np.int64]:
    """The morning on which each run finds, 1 the first; most + 1 where none does.

    `part` is what a sit is worth by the lookouts sat at before (rest).
    """
    where = world.place(rng, runs)
    when = np.full(runs, most + 1)
    sat: list[int] = []
    for morning in range(most):
        lookout = policy(morning, sat)
        if morning:
            where = world.move(rng, where, 1.0)
        hit = world.search(rng, where, lookout, part(sat, lookout)) & (when > most)
        when[hit] = morning + 1
        sat.append(lookout)
    return when
