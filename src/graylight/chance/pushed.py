"""Where animals go that were pushed out of a pocket: over by a way out, or elsewhere.

Common practice, no source: they leave the basin they were bumped in, and settle in the next one or nowhere in
particular; it is left alone for some days.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from graylight.chance.update import Odds

__all__ = ["moves_when_pushed"]

Values = NDArray[np.float64]


def moves_when_pushed(pushed: Values, away_m: Values, prior: Odds, *, leave: float, half_m: float) -> Values:
    """Where animals of each place are after some pockets were disturbed.

    Parameters
    ----------
    pushed : (pockets,) float64
        To which degree animals were pushed out of each, [0, 1].
    away_m : (pockets, pockets) float64
        From the nearest way out of each (row) to each other (column), metres; inf: no way there.
    prior
        The habitat's chances: they settle where the habitat is good.
    leave
        Chance that animals that were pushed have left.
    half_m
        A pocket this much farther from the way out is half as likely.

    Returns
    -------
    (places, places) float64
        Row by row, where animals of that place are now; elsewhere last. Each row adds up to 1.

    >>> prior = Odds((0.4, 0.2), 0.4)
    >>> away = np.array([[0.0, 1000.0], [1000.0, 0.0]])
    >>> moves_when_pushed(np.array([1.0, 0.0]), away, prior, leave=0.5, half_m=1000.0).round(3).tolist()
    [[0.5, 0.1, 0.4], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]
    """
    count = len(pushed)
    moves = np.eye(count + 1)
    for i in np.flatnonzero(pushed > 0.0):
        draw = np.append(np.array(prior.pockets) * np.exp2(-away_m[i] / half_m), prior.elsewhere)
        draw[i] = 0.0
        if draw.sum() <= 0.0:
            draw[count] = 1.0
        gone = leave * float(pushed[i])
        moves[i] = gone * draw / draw.sum()
        moves[i, i] = 1.0 - gone
    return moves
