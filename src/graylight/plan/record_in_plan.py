"""The record's part in the plan: chances moved before anything is watched, and the reasons with the pockets."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence

from shapely import Point

from graylight.chance.update import Odds
from graylight.country.feature import Feature
from graylight.country.folder import Country
from graylight.habitat.habitat import dawn_use
from graylight.habitat.profile import Profile
from graylight.plan.effort import Ground
from graylight.plan.model import Pocket, Reason, RecordUsed
from graylight.plan.odds import Found, Places, as_of, old_sightings, outline_in_crs, reckon
from graylight.plan.own import Chosen
from graylight.plan.record import Record
from graylight.plan.record_words import why_words
from graylight.plan.sight_facts import pocket_cells
from graylight.sight.answers import Obstacles

__all__ = ["day_of", "odds_for_plan", "old_features", "record_used", "recorded"]


def old_features(country: Country, record: Record) -> list[Feature]:
    """Sightings of other seasons: they raise the odds of the basin; newer ones move the odds of the pocket itself."""
    old = old_sightings(record, as_of(record, country.settings.date), country.settings.record)
    return [Feature(s.point, {"animal": s.animal}) for s in record.sightings if s.id in old]


def odds_for_plan(
    country: Country,
    record: Record,
    chosen: Chosen,
    land: Obstacles,
    before: Sequence[float],
    profile: Profile,
) -> Found | None:
    """The chances moved by the record; None where nothing of it is of this season.

    Parameters
    ----------
    chosen
        The plan's pockets with their ids: outings name pockets by them.
    before
        The habitat's chances.
    """
    at = as_of(record, country.settings.date)
    old = old_sightings(record, at, country.settings.record)
    if not (record.outings or record.sign or any(s.id not in old for s in record.sightings)):
        return None
    grid, lived = country.grid, chosen.habitat
    cells = pocket_cells(lived.labels, dawn_use(lived, profile, grid.cell_m), len(lived.pockets))
    ground = Ground(grid, land, cells, profile.watch.animal_m, country.settings)
    places = Places(
        tuple(chosen.ids),
        tuple(outline_in_crs([ring.tolist() for ring in p.outline], grid) for p in lived.pockets),
        Odds(tuple(before), max(1.0 - sum(before), 0.0)),
        tuple(tuple(Point(*grid.xy(w.row, w.col)) for w in p.ways_out) for p in lived.pockets),
    )
    return reckon(record, places, ground, animal=profile.name, at=at)


def recorded(pockets: list[Pocket], found: Found | None) -> list[Pocket]:
    """The plan's pockets with what the record says of them; ranked anew by chance where it moved the odds."""
    if found is None:
        return pockets
    order = sorted(
        (i for i, one in enumerate(pockets) if one.shut is None),
        key=lambda i: (-pockets[i].chance, pockets[i].rank),
    )
    ranks = {i: rank for rank, i in enumerate(order, 1)}
    return [
        one.model_copy(
            update={
                "rank": ranks.get(i, 0),
                "prior": round(told.prior, 3),
                "reasons": [*one.reasons, *_reasons(why_words(told))],
            }
        )
        for i, (one, told) in enumerate(zip(pockets, found.pockets, strict=True))
    ]


def _reasons(words: list[str]) -> list[Reason]:
    if not words:
        return []
    return [Reason(fact="record", value=None, unit="1", worth=None, words="; ".join(words))]


def record_used(found: Found | None) -> RecordUsed | None:
    """What of the record the plan's chances rest on."""
    if found is None:
        return None
    outings, sightings, sign = found.counted
    return RecordUsed(
        until=day_of(found.at, found.lon_deg), outings=outings, sightings=sightings, sign=sign,
        elsewhere=found.odds.elsewhere, elsewhere_prior=found.prior.elsewhere, left_out=list(found.left_out),
    )  # fmt: skip


def day_of(at: float, lon_deg: float) -> dt.date:
    """The day by the sun at a longitude of a number of days since 1970: by UTC an evening in America is tomorrow.

    A day without a time is kept as its noon, and so is the same day at every longitude.

    >>> day_of(20692.5, -111.5), day_of(20693.1, -111.5), day_of(20692.5, 179.0)
    (datetime.date(2026, 8, 27), datetime.date(2026, 8, 27), datetime.date(2026, 8, 27))
    """
    return dt.date(1970, 1, 1) + dt.timedelta(days=math.floor(at + lon_deg / 360.0))
