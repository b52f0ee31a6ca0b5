"""The record told: what an outing searched, where a sighting lies, the odds, the next sits, what was learnt."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

from graylight.plan.record_model import (
    AGE_WORDS,
    AirLearnt,
    Learning,
    LookoutWorth,
    Next,
    OddsTold,
    OutingTold,
    OwnWorth,
    PocketOdds,
    PocketSearched,
    SightingTold,
    SignTold,
    Sit,
)
from graylight.settings.words import called
from graylight.telling import naming
from graylight.telling.paragraph import Paragraph, counted, listed, sentence
from graylight.telling.plan import LAW
from graylight.units import Units, bearing, clock, distance, duration, in_units, share, share_range

__all__ = [
    "taken_in_words",
    "tell_learning",
    "tell_next",
    "tell_odds",
    "tell_outing",
    "tell_sighting",
    "tell_sign",
]

SPENT = 0.015
"""A morning that finds less than this is hardly worth the walk. Proposed."""
SPENT_BESIDE = 1.0
"""Where what no lookout shows is worth this many times what they show, that is said first. Proposed."""
MOST = 8
"""Most pockets told unasked."""
OWN = (
    "Weighed as a lookout is, by odds, sight, air and rest. Whether it lies too near the pockets or against the sky, and the way "
    "to it, are not looked at, so it is no part of the row above: add it as a lookout and plan again to have it there."
)
NEVER = "Not seen is not the same as not there."


def tell_outing(one: OutingTold, units: Units) -> list[Paragraph]:
    """An outing: when and where, what it searched, and how much that says."""
    began, ended = clock(one.began, one.timezone), clock(one.ended, one.timezone)
    where = (
        naming.lookout(one.lookout)
        if one.lookout
        else "a track"
        if one.track_points
        else naming.spot(one.place, units)
    )
    at = "at" if one.lookout or not one.track_points else "along"
    day = naming.day(one.began.astimezone(ZoneInfo(one.timezone)).date())
    told = [
        f"Outing {one.id}: {day}, {began} to {ended}, {at} {where}, with {listed(one.glasses)}, {one.weather}."
    ]
    told += [sentence(words) for words in one.doubts]
    if one.out_hours:
        told.append(
            f"{_hours(one.twilight_hours)} of twilight and {_hours(one.day_hours)} of daylight; weighed by when animals are "
            f"in the open, it counts as {_hours(one.out_hours)}."
        )
    told += [_searched(p, units, fog=one.weather == "fog") for p in one.searched[:MOST]]
    if one.searched:
        told.append(_seen_or_not(one))
    remarks = [
        f"{counted(one.people, 'person', 'people')} met" if one.people else "",
        "animals were pushed" if one.pushed else "",
        "out of which pocket is not known while no sighting of this outing lies in one"
        if one.pushed and not one.sightings
        else "",
    ]
    told += [sentence(words) for words in remarks if words]
    return [Paragraph("The outing", told)]


def _seen_or_not(one: OutingTold) -> str:
    if one.sightings:
        return f"Seen on it: {counted(len(one.sightings), 'sighting')}."
    return f"Nothing is recorded as seen on it. {NEVER}"


def _searched(one: PocketSearched, units: Units, *, fog: bool) -> str:
    """In sight, how far, and the chance of having found what is there."""
    name = one.name or f"pocket {one.pocket}"
    found = share_range(one.found.low, one.found.high)
    return sentence(
        f"{name}: {share_range(one.share.low, one.share.high)} of it in sight{' but for the fog' if fog else ''}, "
        f"{distance(one.distance_m, units)} off; "
        f"had animals used it, you would have found them with a chance of {found}"
    )


def tell_sighting(one: SightingTold, timezone: str, units: Units) -> list[Paragraph]:
    """A sighting: what, when, where, and how far off it may be."""
    head = " ".join(
        word for word in (str(one.count or ""), "" if one.sex == "unknown" else one.sex, one.animal) if word
    )
    told = [sentence(f"sighting {one.id}: {head}{_when(one.at, one.date, timezone)}")]
    words = f"{naming.spot(one.place, units)}"
    if one.distance_m is not None and one.bearing_true_deg is not None:
        words += f", {distance(one.distance_m, units)} off at {bearing(one.bearing_true_deg, 'true')}"
    told.append(sentence(words))
    if one.along_m is not None and one.across_m is not None and one.bearing_true_deg is not None:
        told.append(
            f"It may be off by {distance(one.along_m, units)} along the bearing and {distance(one.across_m, units)} across it, "
            "two times out of three less."
        )
    if one.hidden_m is not None and one.hidden_m > HIDDEN_M:
        told.append("From there that ground is hidden by the ground before it: check bearing and distance.")
    told.append(
        _pocket(one.pocket, one.belongs)
        if one.counts
        else f"It is kept, but it does not count in the odds: {one.animal} is not the plan's animal. Is the name right?"
    )
    if one.outing is not None:
        told.append(f"It belongs to outing {one.outing}.")
    if one.dark:
        told.append(
            "At that time there is no usable light: check the clock (morning or evening) and the time zone."
        )
    if one.same_as is not None:
        told.append(f"Sighting {one.same_as} is the same: if it was typed twice, take one of them away.")
    return [Paragraph("The sighting", told)]


def taken_in_words(name: str, added: int, there: int, *, passed: int, undated: int) -> list[str]:
    """Sightings taken in from a file: how many, how many were there, no sightings, or without a date.

    Parameters
    ----------
    undated
        Of those that were taken in.

    >>> taken_in_words("seen.csv", 1, 0, passed=2, undated=1)[::2]
    ['One sighting taken in from seen.csv; none there already.', 'One without a date counts for the basin only.']
    """
    first = sentence(counted(added, "sighting")).removesuffix(".")
    told = [f"{first} taken in from {name}; {there or 'none'} there already."]
    if passed:
        told.append(f"Passed over: {passed} that are no sightings (remarks on the air, outings, sign).")
    if undated:
        told.append(
            sentence(
                f"{counted(undated, 'without a date counts', 'without a date count')} for the basin only"
            )
        )
    return told


HIDDEN_M = 5.0
"""Ground hidden by less may be the grid's doing."""


def _when(at: dt.datetime | None, date: dt.date | None, timezone: str) -> str:
    if at is not None:
        return f", {naming.day(at.astimezone(ZoneInfo(timezone)).date())}, {clock(at, timezone)}"
    return "" if date is None else f", {naming.day(date)}"


def _pocket(pocket: str | None, belongs: float) -> str:
    if pocket is None or belongs < 0.05:
        return "It lies in no pocket, and speaks for elsewhere."
    if belongs > 0.95:
        return f"It lies in pocket {pocket}."
    return f"It counts for pocket {pocket} to {share(belongs).removeprefix('about ')}."


def tell_sign(one: SignTold, timezone: str, units: Units) -> list[Paragraph]:
    """Sign, or a trail that was drawn."""
    where = naming.spot(one.place, units)
    if one.trace:
        told = [
            f"Trail {one.id} is kept, its middle at {where}.",
            "The animals' ways take it as easier from the next plan on.",
        ]
    else:
        told = [
            sentence(f"sign {one.id}: {one.kind}, {AGE_WORDS[one.age]}{_when(one.at, one.date, timezone)}"), sentence(where),
            _pocket(one.pocket, one.belongs),
        ]  # fmt: skip
    return [Paragraph("The sign", told)]


# --- odds ----------------------------------------------------------------------------------------------------------


def tell_odds(odds: OddsTold, units: Units) -> list[Paragraph]:
    """The odds: on what they rest, then the pockets, likeliest first, with why."""
    told = ["This range is invented: it does not exist."] if odds.invented else []
    told.append(f"For {naming.day(odds.date)}, {naming.animal(odds.animal)}.")
    counts = [
        counted(count, *words)
        for count, words in (
            (odds.outings, ("outing",)), (odds.sightings, ("sighting",)), (odds.sign, ("find of sign", "finds of sign")),
        ) if count
    ]  # fmt: skip
    if odds.outings + odds.sightings + odds.sign:
        told.append(
            f"The odds rest on {listed(['the habitat', *counts])}. What empty mornings and pushes said is half forgotten after "
            f"{odds.fade_days:.0f} days."
        )
        if odds.sightings + odds.sign:
            told.append(f"A sighting, or sign, counts half after {odds.seen_fade_days:.0f} days.")
        if odds.sightings:
            told.append("What was seen draws them there, and off the pockets where nothing was.")
    elif odds.rows:
        told.append("Nothing of this season is recorded by that day: these are the habitat's odds alone.")
    else:
        told.append("Nothing is recorded yet: these are the habitat's odds alone.")
    told.append(_elsewhere(odds))
    paragraphs = [Paragraph("The odds", told)]
    if not odds.pockets:
        told.append(
            "No pocket is ranked, so there are no odds to share out: each is shut, or dropped by you, or none was found."
        )
    else:
        paragraphs.append(Paragraph("Likeliest first", []))
    paragraphs += [_odds_of(one) for one in _worth_telling(odds.pockets)]
    if odds.rows:
        paragraphs.append(Paragraph("The record", []))
        paragraphs += [Paragraph(None, [sentence(words)], close=True) for words in odds.rows]
    if odds.left_out:
        paragraphs.append(Paragraph("Left out", [sentence(words) for words in odds.left_out]))
    return [
        *paragraphs,
        Paragraph("Not known", [sentence(in_units(words, units)) for words in odds.not_known]),
    ]


def _elsewhere(odds: OddsTold) -> str:
    now, before = share_range(odds.elsewhere.low, odds.elsewhere.high), share(odds.elsewhere_prior)
    moved = (
        "" if abs(odds.elsewhere.likely - odds.elsewhere_prior) < 0.025 else f", before the record {before}"
    )
    return f"That they use none of these pockets: {now}{moved}."


def _worth_telling(pockets: list[PocketOdds]) -> list[PocketOdds]:
    """The likeliest, and every one that the record moved."""
    return [one for one in pockets if one.rank <= MOST or one.why]


def _odds_of(one: PocketOdds) -> Paragraph:
    # where animals were seen, how sure it is and why are one thing
    sure = "" if any(words.startswith(one.sureness) for words in one.why) else f"; {one.sureness}"
    words = [f"Chance {_chance(one.chance.likely)}{_between(one)}{_from_before(one)}{sure}."]
    if one.why:
        words.append(sentence("; ".join(one.why)))
    return Paragraph(
        f"{one.rank}. {sentence(one.name or f'pocket {one.id}').removesuffix('.')}{_id(one)}",
        words,
        run_in=True,
        close=True,
    )


def _chance(chance: float) -> str:
    """A chance: whole per cent below 20, else to 5 %; pockets differ by less than shares are told to.

    >>> _chance(0.034), _chance(0.38), _chance(0.002)
    ('about 3 %', 'about 40 %', 'under 1 %')
    """
    if chance < 0.01:
        return "under 1 %"
    return f"about {100.0 * chance:.0f} %" if chance < 0.2 else share(chance)


def _between(one: PocketOdds) -> str:
    """The range, where what was in sight is so unsure that it matters."""
    low, high = 100.0 * one.chance.low, 100.0 * one.chance.high
    return f" ({low:.0f} to {high:.0f} %)" if high - low >= 2.0 else ""


def _id(one: PocketOdds) -> str:
    return f" ({one.id})" if one.name else ""


def _from_before(one: PocketOdds) -> str:
    if f"{100.0 * one.chance.likely:.0f}" == f"{100.0 * one.prior:.0f}":
        return ""
    more = "up" if one.chance.likely > one.prior else "down"
    return f", {more} from {100.0 * one.prior:.0f} % by the habitat alone"


# --- next ----------------------------------------------------------------------------------------------------------


def tell_next(told: Next, units: Units) -> list[Paragraph]:
    """The next sits: the first in full, the others shortly, then what the other lookouts would give."""
    words = ["This range is invented: it does not exist."] if told.invented else []
    if not (told.outings or told.sightings or told.sign):
        words.append(
            "Nothing of this season is recorded yet: this rests on the habitat, and on older sightings where there are any."
        )
    chance = _chance(told.better.proposed)
    mornings = sentence(counted(len(told.sits), "morning")).removesuffix(".")
    words.append(
        f"{mornings}, {_winds(told)}, with {listed(told.glasses)}: the chance of finding them is {chance}."
    )
    words += _spent(told)
    if len(told.sits) > 1:
        words.append(
            f"The lookouts in turn would give {_chance(told.better.equal)}, the best-ranked pocket every morning "
            f"{_chance(told.better.ranked)}."
        )
    paragraphs = [Paragraph("Where to sit next", words)]
    paragraphs += [Paragraph(naming.day(sit.date), _sit(sit, told), run_in=True) for sit in told.sits]
    paragraphs.append(Paragraph("What the lookouts do not show", _unseen(told)))
    paragraphs.append(Paragraph("The lookouts on the first morning", []))
    paragraphs += [Paragraph(None, [_worth(one)], close=True) for one in told.lookouts]
    if told.own:
        paragraphs.append(Paragraph("Places of your own on the first morning", [OWN]))
        paragraphs += [Paragraph(None, [_own_worth(one)], close=True) for one in told.own[:MOST]]
    paragraphs.append(Paragraph("Hours", [_hours_words(told)]))
    paragraphs.append(Paragraph("Not known", [sentence(in_units(w, units)) for w in told.not_known]))
    return [*paragraphs, Paragraph("Take care", [*(sentence(w) for w in told.cautions), LAW])]


def _spent(told: Next) -> list[str]:
    """That the kept lookouts have little left to show, where a morning of the row finds next to nothing and others lie open."""
    poor = [sit for sit in told.sits if sit.found < SPENT]
    if not poor or told.out_of_view < SPENT_BESIDE * told.in_view:
        return []
    seats = f", or find a seat for {listed(told.out_of_sight[:3], 'or')}" if told.out_of_sight else ""
    return [
        f"Your lookouts have little left to show: {counted(len(poor), 'morning')} of these would find "
        f"about 1 % or less, and {_chance(told.out_of_view)} of the chance lies in pockets that none of them shows. "
        f"Plan anew{seats}."
    ]


def _winds(told: Next) -> str:
    if not told.wind_given:
        return "calm air assumed"
    if ";" in told.wind:
        return "each with its own wind"
    return f"wind {told.wind}{' as set' if told.wind_as_set else ''}"


def _sit(sit: Sit, told: Next) -> list[str]:
    words = [f"Sit at {naming.lookout(sit.lookout)}{_walk(sit, told)}."]
    if ";" in told.wind:
        words.append(f"Wind {sit.wind}." if sit.wind_given else "Calm air assumed.")
    shown = [f"{share_range(p.share.low, p.share.high)} of {p.name or p.pocket}" for p in sit.watch[:3]]
    until = clock(sit.until, told.timezone, step_minutes=5)
    light = clock(sit.usable_from, told.timezone, step_minutes=5)
    words.append(
        f"Watch from {light} until {until}: it shows {listed(shown)}." if shown else "It shows no pocket."
    )
    words.append(f"Chance of finding what no earlier morning did: {_chance(sit.found)}.")
    words += [sentence(w) for w in sit.why]
    if sit.rest < 0.95:
        words.append(f"That leaves {share(sit.rest)} of a rested sit.")
    if sit.scent > 0.1:
        words.append(f"Its scent spoils {share(sit.scent)} of what it watches.")
    if sit.move is not None:
        at = clock(sit.move.at, told.timezone, step_minutes=5)
        words.append(
            f"Moving at {at} to {sit.move.to}, {duration(sit.move.walk_seconds)} on foot, would find with a chance of "
            f"{_chance(sit.move.found)}; being seen or smelled on the move is not reckoned."
        )
    return words


def _walk(sit: Sit, told: Next) -> str:
    if sit.leave_by is None:
        return "" if sit.walk_seconds is None else f", {duration(sit.walk_seconds)} on foot"
    by = clock(sit.leave_by, told.timezone, step_minutes=5, way="earlier")
    walk = "" if sit.walk_seconds is None else f", {duration(sit.walk_seconds)} on foot"
    return f"{walk}: leave by {by}"


def _worth(one: LookoutWorth) -> str:
    why = "" if one.why_not is None else f"; {one.why_not}"
    walk = "" if one.walk_seconds is None else f", {duration(one.walk_seconds)} on foot"
    return f"{one.lookout}: {_chance(one.morning)} the morning, {_chance(one.first_hour)} the first hour{walk}{why}."


def _own_worth(one: OwnWorth) -> str:
    if not one.watch:
        return sentence(f"{one.name}: it shows no pocket")
    shown = listed(f"{share_range(p.share.low, p.share.high)} of {p.name or p.pocket}" for p in one.watch[:2])
    walk = "the walk is not reckoned" if one.walk_seconds is None else f"{duration(one.walk_seconds)} on foot"
    why = "; sat at lately" if one.rest < 0.95 else ""
    why += f"; its scent spoils {share(one.scent)} of what it watches" if one.scent > 0.1 else ""
    return sentence(
        f"{one.name}: {_chance(one.morning)} the morning, {_chance(one.first_hour)} the first hour, "
        f"{walk}{why}; it shows {shown}"
    )


def _hours_words(told: Next) -> str:
    if not told.hours:
        return "No hour of glassing from the kept lookouts is worth anything by these odds: look for other ground."
    parts = [f"{_hours(one.hours)} for {one.name or one.pocket}" for one in told.hours[:5]]
    return (
        f"Were every hour of glassing spent where it is worth most, it would be {listed(parts)}. A pocket gets hours until one "
        "more finds no more there than elsewhere: in the first ones most of what is in sight is found, so that also poor ground "
        "comes to its turn."
    )


def _unseen(told: Next) -> list[str]:
    """How much of the chance the lookouts show, and what to do about the rest."""
    words = [
        f"The kept lookouts show pockets that hold {_chance(told.in_view)} of the chance; {_chance(told.out_of_view)} lies in "
        f"pockets that none of them shows, {_chance(told.elsewhere)} elsewhere."
    ]
    if told.out_of_sight:
        words.append(
            f"Not shown: {listed(told.out_of_sight[:6])}. Look what a place of your own shows of them, or have seats found from "
            "which their feeding places can be watched."
        )
    if told.seen_from_own:
        words.append(
            f"You had {listed(told.seen_from_own[:6])} in sight from a place that is no kept lookout: see the "
            "places of your own below."
        )
    if told.newer_than_plan:
        words.append(
            "The lookouts were chosen before all of this was recorded: 'graylight plan' chooses them anew."
        )
    return words


def _hours(hours: float) -> str:
    """Hours to a quarter."""
    quarters = max(round(4.0 * hours), 0)
    whole, rest = divmod(quarters, 4)
    if not quarters:
        return "under a quarter of an hour"
    return f"{whole} h {15 * rest}" if whole and rest else f"{whole} h" if whole else f"{15 * rest} min"


# --- learning ------------------------------------------------------------------------------------------------------


def tell_learning(told: Learning) -> list[Paragraph]:
    """What the record says of the settings; before beside after, and what is still missing."""
    words = [_pace(told), *_air(told), *_habitat(told)]
    words += [sentence(one) for one in told.used]
    if not told.used:
        words.append(
            "Nothing is changed by this. --use pace, --use air or --use habitat puts one of them to use."
        )
    return [Paragraph("What the record teaches", words)]


def _pace(told: Learning) -> str:
    one, key = told.pace, called("walk.pace_factor")
    if one.after is None:
        return (
            f"Pace: {one.minutes:.0f} minutes of walking on tracks; {one.needed_minutes:.0f} are needed: "
            f"{key} stays {one.before:g}."
        )
    return (
        f"Pace: {key} is {one.before:g}; your tracks say {one.after:g} (single walks {one.low:g} to {one.high:g}), "
        f"from {one.minutes:.0f} minutes of walking."
    )


def _air(told: Learning) -> list[str]:
    words = [
        _turn("Air", called("air.up_slope_minutes"), "the sun", told.air),
        _turn("Evening air", called("air.down_slope_minutes"), "the last sun", told.evening_air),
    ]
    one = told.air_remarks
    if one.count:
        rest = one.count - one.agree - one.against
        said = f"Of {counted(one.count, 'remark')} on the air the air as reckoned goes with {one.agree} and against {one.against}"
        words.append(
            f"{said}; {rest} fell into hours it calls unreliable, or across the slope."
            if rest
            else f"{said}."
        )
    return words


def _turn(name: str, key: str, sun: str, one: AirLearnt) -> str:
    if one.after is None:
        return f"{name}: {counted(one.turns, 'turn')} felt; {one.needed} are needed: {key} stays {one.before:g} minutes."
    return (
        f"{name}: {key} is {one.before:g} minutes; what you felt says {one.after:.0f} (the turns came {one.low:.0f} to "
        f"{one.high:.0f} minutes after {sun}), from {one.turns} turns."
    )


def _habitat(told: Learning) -> list[str]:
    one = told.habitat
    if one.nothing_new:
        return [
            f"Habitat: {one.sightings} sightings move no weight by a hundredth: where animals were seen goes with what was "
            "searched. The weights stay."
        ]
    if not one.weights:
        return [
            f"Habitat: {counted(one.sightings, 'sighting')} on outings, {counted(one.pockets, 'pocket')} searched; "
            f"{one.needed} are needed, in three pockets or more. The weights stay."
        ]
    parts = [f"{w.name} {w.before:g} to {w.after:g} (give or take {w.spread:g})" for w in one.weights]
    return [
        f"Habitat, from {one.sightings} sightings against what was in sight and searched: {listed(parts)}."
    ]
