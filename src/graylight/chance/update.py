"""The odds moved by what was seen and not seen, and fading with time.

One place holds the animals wanted: one of the pockets, or elsewhere. Not finding them in a search of chance POD
leaves POA (1 - POD), renormalised over all (Bayes; Koopman 1946). Between two outings they move on: after t days
the odds are q odds + (1 - q) prior, q = 2^(-t / fade), so that an old morning says less than yesterday's. With
both, the chances are those of a hidden Markov chain, filtered forward (Rabiner 1989, doi:10.1109/5.18626). Animals
that were pushed have moved on at once: the chain's own step of that moment.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

__all__ = [
    "Evidence", "Odds", "Step", "after_search", "faded", "follow", "likelihood_of_seen", "moved_on", "weighed",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Odds:
    """Chance of each pocket, and that they are elsewhere; all add up to 1."""

    pockets: tuple[float, ...]
    elsewhere: float

    @property
    def all(self) -> tuple[float, ...]:
        """The pockets' chances, elsewhere last."""
        return (*self.pockets, self.elsewhere)


@dataclass(frozen=True, slots=True)
class Evidence:
    """What one outing, sighting or sign says.

    Parameters
    ----------
    day
        When, in days (any beginning, the same for all).
    likelihood
        How likely it was, were the animals in each pocket; a common factor does not matter.
    elsewhere
        The same, were they elsewhere.
    name
        What it is, to trace a change back.
    moves
        Where animals of each place went then, row by row, elsewhere last; None: nowhere.
    """

    day: float
    likelihood: tuple[float, ...]
    elsewhere: float
    name: str = ""
    moves: tuple[tuple[float, ...], ...] | None = None


@dataclass(frozen=True, slots=True)
class Step:
    """The odds just before and just after a piece of evidence."""

    evidence: Evidence
    before: Odds
    after: Odds


def after_search(odds: Odds, found: Sequence[float]) -> Odds:
    """The odds after a search that found nothing; `found` is each pocket's chance of having found what is there.

    >>> [round(p, 4) for p in after_search(Odds((0.30, 0.35, 0.20), 0.15), (0.0, 0.5, 0.0)).all]
    [0.3636, 0.2121, 0.2424, 0.1818]
    """
    return weighed(odds, [1.0 - pod for pod in found], 1.0)


def weighed(odds: Odds, likelihood: Sequence[float], elsewhere: float) -> Odds:
    """Bayes: the odds times how likely what happened was, made to add up to 1 again.

    Evidence that all hypotheses rule out leaves the odds as they were: then a number was wrong, not the world.
    """
    raw = [p * max(one, 0.0) for p, one in zip(odds.pockets, likelihood, strict=True)]
    rest = odds.elsewhere * max(elsewhere, 0.0)
    total = sum(raw) + rest
    return Odds(tuple(p / total for p in raw), rest / total) if total > 0.0 else odds


def faded(odds: Odds, prior: Odds, days: float, *, fade_days: float) -> Odds:
    """The odds some days later: half of what they differ from the prior is gone after `fade_days`.

    >>> faded(Odds((1.0,), 0.0), Odds((0.5,), 0.5), 10.0, fade_days=10.0).all
    (0.75, 0.25)
    """
    keep = 0.5 ** (max(days, 0.0) / fade_days)
    mixed = [keep * a + (1.0 - keep) * b for a, b in zip(odds.all, prior.all, strict=True)]
    return Odds(tuple(mixed[:-1]), mixed[-1])


def follow(
    prior: Odds, evidence: Sequence[Evidence], day: float, *, fade_days: float
) -> tuple[Odds, tuple[Step, ...]]:
    """The odds on a day, and how they came about.

    Parameters
    ----------
    prior
        From the habitat.
    evidence
        In any order; what comes after the day is left out.
    day
        For when the odds are wanted.
    """
    now, when, steps = prior, None, []
    for one in sorted((e for e in evidence if e.day <= day), key=lambda e: (e.day, e.name)):
        before = now if when is None else faded(now, prior, one.day - when, fade_days=fade_days)
        now, when = moved_on(weighed(before, one.likelihood, one.elsewhere), one.moves), one.day
        steps.append(Step(one, before, now))
    return (now if when is None else faded(now, prior, day - when, fade_days=fade_days)), tuple(steps)


def moved_on(odds: Odds, moves: Sequence[Sequence[float]] | None) -> Odds:
    """The odds after animals of each place went where its row of `moves` says; None: they stayed.

    >>> moved_on(Odds((0.5, 0.2), 0.3), [[0.2, 0.3, 0.5], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]).all
    (0.1, 0.35, 0.55)
    """
    if moves is None:
        return odds
    now = np.array(odds.all) @ np.array(moves, np.float64)
    return Odds(tuple(float(v) for v in now[:-1]), float(now[-1]))


def likelihood_of_seen(
    belongs: Sequence[float], *, stray: float, roam: float = 0.0, counts: float = 1.0
) -> tuple[tuple[float, ...], float]:
    """How likely an animal is seen where it was, by which place holds the animals.

    (1 - stray) there + stray / places: what uses a pocket is met there, or in the part `roam` outside all of them;
    what uses none is met outside; what is only passing is met in any of the pockets, or outside, alike. Without the
    part that roams, one animal on the way in would say that no pocket is used.

    Parameters
    ----------
    belongs
        To which degree the place seen lies in each pocket, [0, 1]; elsewhere holds what no pocket does.
    stray
        Part of the animals seen that are only passing.
    roam
        Part of what is seen of a pocket's animals that is seen outside all pockets.
    counts
        How much it says: its likelihoods go to this power (0 says nothing).

    Returns
    -------
    pockets, elsewhere
        Likelihoods; only their ratios matter.

    >>> likelihood_of_seen([1.0, 0.0], stray=0.3)
    ((0.8, 0.1), 0.1)
    """
    outside = 1.0 - max(belongs, default=0.0)
    there = np.array([*((1.0 - roam) * held + roam * outside for held in belongs), outside], np.float64)
    likely = ((1.0 - stray) * there + stray / len(there)) ** counts
    return tuple(round(float(v), 12) for v in likely[:-1]), round(float(likely[-1]), 12)
