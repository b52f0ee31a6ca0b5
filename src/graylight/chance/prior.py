"""The prior: scores made into chances, with a part kept for elsewhere."""

from __future__ import annotations

__all__ = ["prior"]


def prior(
    scores: list[float], odds: list[float] | None = None, *, elsewhere: float, sharpness: float
) -> list[float]:
    """Chance of each pocket; the rest to 1 is elsewhere.

    Parameters
    ----------
    scores
        In [0, 1]; a pocket that is shut has 0.
    odds
        By how much what was seen there before raises each; none: by nothing.
    elsewhere
        Chance that the animals wanted use none of the pockets.
    sharpness
        Odds grow with this power of the score, so that a poor pocket does not draw a morning.

    >>> [round(p, 3) for p in prior([0.8, 0.4, 0.0], elsewhere=0.3, sharpness=2.0)]
    [0.56, 0.14, 0.0]
    """
    powered = [
        score**sharpness * factor for score, factor in zip(scores, odds or [1.0] * len(scores), strict=True)
    ]
    total = sum(powered)
    if total <= 0:
        return [0.0] * len(scores)
    return [(1.0 - elsewhere) * p / total for p in powered]
