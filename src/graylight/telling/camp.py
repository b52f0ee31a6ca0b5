"""Camps and water told: where, what speaks for it, what against, what to ask first."""

from __future__ import annotations

from graylight.plan.camp_model import CampFact, CampPlace, Camps, WaterOf
from graylight.plan.morning_model import WaterNear
from graylight.telling import naming
from graylight.telling.paragraph import Paragraph, counted, listed, sentence
from graylight.units import Units, distance, duration, part_of, share, small_height

__all__ = ["tell_camps"]

_WATER = {
    "lake": "a lake",
    "stream": "a stream",
    "spring": "a spring",
    "inferred stream": "a stream by the lie of the land",
}
ORDERS = "Common practice is 200 ft from water; orders differ: check local rules."


def tell_camps(camps: Camps, units: Units) -> list[Paragraph]:
    """Tell places to camp.

    Parameters
    ----------
    camps
        With or without places.
    units
        'us' or 'metric'.
    """
    told = [Paragraph("Where to camp", _first(camps, units))]
    told += [Paragraph(one.id, _camp(one, units), run_in=True, close=True) for one in camps.camps]
    if camps.water:
        told.append(Paragraph("Water", [sentence(_water(one)) for one in camps.water]))
    if camps.not_known:
        told.append(Paragraph("Not known", [sentence("; ".join(camps.not_known))]))
    return [*told, Paragraph("Take care", [sentence(words) for words in camps.cautions])]


def _first(camps: Camps, units: Units) -> list[str]:
    told = ["This range is invented: it does not exist."] if camps.invented else []
    whom = f" for lookout {listed(camps.lookouts, 'or')}" if camps.lookouts else ""
    if camps.camps:
        told.append(
            sentence(
                f"{counted(len(camps.camps), 'place')} to camp, to be looked at by day,{whom}, best first"
            )
        )
    else:
        told.append(sentence(f"no ground passes all rules{whom}"))
        told += [
            sentence(
                f"the rule '{one.words}' alone shuts out {part_of(one.alone)}, and {part_of(one.passes)} passes it"
            )
            for one in camps.why_none[:2]
        ]
        told.append("The limits are settings, [camp] in settings.toml.")
    setback = small_height(camps.setback_m, units)
    return [*told, f"Kept back from water: {setback}. {ORDERS}"]


def _camp(one: CampPlace, units: Units) -> list[str]:
    told = [sentence(naming.spot(one.place, units))]
    told.append(sentence("; ".join(_fact(fact, units) for fact in one.reasons)))
    if one.against:
        told.append(sentence(f"against it: {'; '.join(_fact(fact, units) for fact in one.against)}"))
    return told


def _fact(fact: CampFact, units: Units) -> str:
    if fact.value is None:
        return f"{fact.words}: none in reach" if fact.unit == "s" else fact.words
    if fact.unit == "deg":
        return f"{fact.words}: {fact.value:.0f}°"
    if fact.unit == "m":
        return f"{fact.words}: {distance(fact.value, units)}"
    if fact.unit == "s":
        return f"{fact.words}: {duration(fact.value)}"
    return f"{fact.words}: {share(fact.value)}"


def _water(one: WaterOf) -> str:
    if not one.water:
        return f"from lookout {one.lookout} none is known within an hour and a half: carry all you need"
    return f"from lookout {one.lookout} {'; '.join(_walk(water) for water in one.water)}"


def _walk(water: WaterNear) -> str:
    doubt = "" if water.sure else ", which may be dry"
    back = duration(water.back_seconds)
    return f"{_WATER[water.kind]}{doubt}, {duration(water.there_seconds)} there and {back} back"
