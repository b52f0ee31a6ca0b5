"""The odds moved by what was seen and not seen, each fading in its own way.

The odds say where the animals that will be met next are: in one of the pockets, or elsewhere. Not finding them in a
search of chance POD leaves POA (1 - POD), renormalised over all (Bayes; Koopman 1946). Animals seen count beside the
habitat, as draws from where animals live: the habitat is worth so many sightings, every sighting one more (Dirichlet
prior, multinomial draws; Gelman et al. 2013, Bayesian Data Analysis, 3.4; seen in turn, the urn of Blackwell &
MacQueen 1973, doi:10.1214/aos/1176342372). So several groups can live side by side: what is seen in one pocket says
nothing against another where animals were seen as well.

What was seen and what was not are kept apart. A sighting counts half after its own half-life. Of what a search or a
push said half is forgotten after theirs: half the logarithm of the factor by which it lowered a place, so that with
time the odds go back to the habitat and what was seen, not to the habitat alone. A search or a push speaks of what was
known before it: animals seen later in a pocket searched or pushed before are there. Fading by logarithms is a choice,
no source: near to a hidden Markov chain where searches find little (tested).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "LEAST_LEFT", "Evidence", "Fading", "Followed", "Odds", "Step", "after_search", "follow", "odds_on", "seen_at", "weighed",
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
class Fading:
    """How evidence counts and fades.

    Parameters
    ----------
    searched_days
        After so many days half of what a search or a push said is forgotten (half the logarithm of its factor).
    seen_days
        After so many days a sighting counts half.
    prior_worth
        How many sightings the habitat is worth; without any it does not matter.
    """

    searched_days: float
    seen_days: float
    prior_worth: float = 1.0


@dataclass(frozen=True, slots=True)
class Followed:
    """The odds on a day, how many sightings they are worth by then, and how they came about."""

    odds: Odds
    worth: float
    steps: tuple[Step, ...]


def follow(prior: Odds, evidence: Sequence[Evidence], day: float, fading: Fading) -> Followed:
    """The odds on a day, and how they came about.

    Parameters
    ----------
    prior
        From the habitat.
    evidence
        In any order; what comes after the day is left out.
    day
        For when the odds are wanted.
    fading
        How evidence fades.
    """
    known = _by_then(evidence, day)
    steps = []
    for i, one in enumerate(known):
        before = _counts(prior, known[:i], one.day, fading)
        steps.append(Step(one, _odds(before), _odds(_counted(before, one, 1.0, 1.0))))
    counts = _counts(prior, known, day, fading)
    return Followed(_odds(counts), float(counts.sum()), tuple(steps))


def odds_on(prior: Odds, evidence: Sequence[Evidence], day: float, fading: Fading) -> Odds:
    """The odds on a day; see `follow`.

    >>> empty = Evidence(0.0, (0.25,), 1.0)
    >>> fading = Fading(searched_days=10.0, seen_days=10.0)
    >>> [odds_on(Odds((0.5,), 0.5), [empty], day, fading).all for day in (0.0, 10.0)]
    [(0.2, 0.8), (0.3333333333333333, 0.6666666666666666)]
    """
    return _odds(_counts(prior, _by_then(evidence, day), day, fading))


Values = NDArray[np.float64]
LEAST_LEFT = 1e-3
"""No search and no push leaves less than this of a place: what is nought can't fade. Proposed."""


def _by_then(evidence: Sequence[Evidence], day: float) -> list[Evidence]:
    return sorted((e for e in evidence if e.day <= day), key=lambda e: (e.day, e.name))


def _odds(counts: Values) -> Odds:
    shares = [float(v) for v in counts / counts.sum()]
    return Odds(tuple(shares[:-1]), shares[-1])


def _counts(prior: Odds, evidence: Sequence[Evidence], day: float, fading: Fading) -> Values:
    """What is known by place, in sightings, elsewhere last: habitat and sightings, less what was searched or pushed."""
    counts = fading.prior_worth * np.array(prior.all)
    for one in evidence:
        gone = day - one.day
        counts = _counted(counts, one, 0.5 ** (gone / fading.searched_days), 0.5 ** (gone / fading.seen_days))
    return counts


def _counted(counts: Values, one: Evidence, searched: float, seen: float) -> Values:
    """With one piece of evidence more, of which parts are still remembered: as searched and pushed, and as seen."""
    left = counts * np.maximum(np.array([*one.likelihood, one.elsewhere]), LEAST_LEFT) ** searched
    left *= counts.sum() / left.sum() if left.sum() > 0.0 else 0.0
    if one.seen:
        left = left + seen * np.array(one.seen)
    return left if one.moves is None else np.asarray(left @ _moves(one.moves, searched), np.float64)


def _moves(moves: Sequence[Sequence[float]], searched: float) -> Values:
    """Where animals of each place went, as far as it is remembered: what stayed is as a search that leaves as much."""
    given = np.array(moves, np.float64)
    stayed = np.diag(given)
    still = np.maximum(stayed, LEAST_LEFT) ** searched
    gone = np.where(stayed < 1.0, (1.0 - still) / np.maximum(1.0 - stayed, 1e-12), 0.0)
    told = given * gone[:, None]
    np.fill_diagonal(told, still)
    return told


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
