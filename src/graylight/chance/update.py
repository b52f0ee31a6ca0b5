"""The odds moved by what was seen and not seen, and fading with time.

The odds say where the animals that will be met next are: in one of the pockets, or elsewhere. Not finding them in a
search of chance POD leaves POA (1 - POD), renormalised over all (Bayes; Koopman 1946). Animals seen count beside what
is known already, as draws from where animals live: the habitat is worth so many sightings, every sighting one more
(Dirichlet prior, multinomial draws; Gelman et al. 2013, Bayesian Data Analysis, 3.4; seen in turn, the urn of Blackwell
& MacQueen 1973, doi:10.1214/aos/1176342372). So several groups can live side by side: what is seen in one pocket says
nothing against another where animals were seen as well. With time the odds go back to the prior, slower where more was
seen. Without sightings they are those of a hidden Markov chain, filtered forward (Rabiner 1989, doi:10.1109/5.18626).
Animals that were pushed have moved on at once: the chain's own step of that moment.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

__all__ = [
    "Evidence", "Followed", "Odds", "Step", "after_search", "follow", "later", "moved_on", "seen_at", "weighed",
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
    seen
        Where animals were seen, in sightings by place, elsewhere last; empty: none were.
    """

    day: float
    likelihood: tuple[float, ...]
    elsewhere: float
    name: str = ""
    moves: tuple[tuple[float, ...], ...] | None = None
    seen: tuple[float, ...] = ()


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


@dataclass(frozen=True, slots=True)
class Followed:
    """The odds on a day, how many sightings they are worth by then, and how they came about."""

    odds: Odds
    worth: float
    steps: tuple[Step, ...]


def follow(
    prior: Odds, evidence: Sequence[Evidence], day: float, *, fade_days: float, prior_worth: float = 1.0
) -> Followed:
    """The odds on a day, and how they came about.

    Parameters
    ----------
    prior
        From the habitat.
    evidence
        In any order; what comes after the day is left out.
    day
        For when the odds are wanted.
    fade_days
        After so many days half of what a piece of evidence said is forgotten.
    prior_worth
        How many sightings the prior is worth; without any it does not matter.
    """
    now, worth, when = prior, prior_worth, day
    steps: list[Step] = []
    for one in sorted((e for e in evidence if e.day <= day), key=lambda e: (e.day, e.name)):
        if steps:
            now, worth = later(
                now, worth, prior, one.day - when, fade_days=fade_days, prior_worth=prior_worth
            )
        before, when = now, one.day
        now, worth = _with_seen(weighed(now, one.likelihood, one.elsewhere), worth, one.seen)
        now = moved_on(now, one.moves)
        steps.append(Step(one, before, now))
    if steps:
        now, worth = later(now, worth, prior, day - when, fade_days=fade_days, prior_worth=prior_worth)
    return Followed(now, worth, tuple(steps))


def later(
    odds: Odds, worth: float, prior: Odds, days: float, *, fade_days: float, prior_worth: float
) -> tuple[Odds, float]:
    """The odds some days later and what they are worth then: of every sighting half is forgotten after `fade_days`.

    Where the odds are worth as much as the prior, half of what they differ from it is gone after `fade_days`.

    >>> later(Odds((1.0,), 0.0), 1.0, Odds((0.5,), 0.5), 10.0, fade_days=10.0, prior_worth=1.0)[0].all
    (0.75, 0.25)
    >>> odds, worth = later(Odds((1.0,), 0.0), 3.0, Odds((0.5,), 0.5), 10.0, fade_days=10.0, prior_worth=1.0)
    >>> odds.all, worth
    ((0.875, 0.125), 2.0)
    """
    keep = 0.5 ** (max(days, 0.0) / fade_days)
    kept, back = keep * worth, (1.0 - keep) * prior_worth
    mixed = [(kept * a + back * b) / (kept + back) for a, b in zip(odds.all, prior.all, strict=True)]
    return Odds(tuple(mixed[:-1]), mixed[-1]), kept + back


def _with_seen(odds: Odds, worth: float, seen: Sequence[float]) -> tuple[Odds, float]:
    """The odds with sightings beside them."""
    if not seen:
        return odds, worth
    total = worth + sum(seen)
    mixed = [(worth * a + b) / total for a, b in zip(odds.all, seen, strict=True)]
    return Odds(tuple(mixed[:-1]), mixed[-1]), total


def moved_on(odds: Odds, moves: Sequence[Sequence[float]] | None) -> Odds:
    """The odds after animals of each place went where its row of `moves` says; None: they stayed.

    >>> moved_on(Odds((0.5, 0.2), 0.3), [[0.2, 0.3, 0.5], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]).all
    (0.1, 0.35, 0.55)
    """
    if moves is None:
        return odds
    now = np.array(odds.all) @ np.array(moves, np.float64)
    return Odds(tuple(float(v) for v in now[:-1]), float(now[-1]))


def seen_at(
    belongs: Sequence[float], *, stray: float, roam: float = 0.0, counts: float = 1.0
) -> tuple[float, ...]:
    """What a sighting is worth by place, in sightings, elsewhere last.

    Parameters
    ----------
    belongs
        To which degree the place lies in each pocket, [0, 1]; what no pocket holds is outside.
    stray
        Part of the animals seen that are only passing: they say nothing of where animals live.
    roam
        Part of those seen outside all pockets that live in one of them all the same: they say nothing, either.
    counts
        How much it counts, beside one of the animals wanted.

    >>> seen_at([1.0, 0.0], stray=0.25)
    (0.75, 0.0, 0.0)
    >>> seen_at([0.0, 0.0], stray=0.5, roam=0.5)
    (0.0, 0.0, 0.25)
    """
    inside, total = max(belongs, default=0.0), sum(belongs)
    worth = counts * (1.0 - stray)
    share = [0.0 if total <= 0.0 else worth * inside * one / total for one in belongs]
    return (*share, worth * (1.0 - roam) * (1.0 - inside))
