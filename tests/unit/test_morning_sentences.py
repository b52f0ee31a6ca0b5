"""A sit told: what stands first, and that nothing in it speaks against itself. On facts changed by hand."""

from __future__ import annotations

import datetime as dt
import re

import pytest

from graylight.country.folder import Country
from graylight.plan.keeping import kept_plan
from graylight.plan.morning_model import ByWind, CalendarDay, Carry, Morning, Reason
from graylight.plan.morning_ready import ready_for_morning
from graylight.plan.mornings import morning
from graylight.telling.morning import tell_morning
from graylight.telling.paragraph import plain


@pytest.fixture(scope="module")
def found(small) -> Morning:
    country = Country.open(small)
    plan = kept_plan(country)
    return morning(ready_for_morning(country, plan), plan.lookouts[0].id, wind="calm")


def told(found: Morning) -> str:
    return " ".join(plain(tell_morning(found, "us"), 400).split())


def test_the_first_lines_say_when_where_and_whether(found):
    first = told(found).split("By the clock")[0]
    order = [first.index(words) for words in ("Leave ", " on foot.", "Sit at lookout")]
    assert order == sorted(order)
    assert len(first.split()) < 110  # short enough for someone in a hurry


def test_not_this_morning_names_another_lookout_that_is_clean(found):
    clean = [o.model_copy(update={"scent": 0.0, "blown_at": []}) for o in found.options]
    other = next(o.lookout for o in clean if o.lookout != found.lookout)
    bad = found.model_copy(update={"verdict": "not this morning", "options": clean})
    assert f"In this wind look at lookout {other} instead." in told(bad)
    none = [o.model_copy(update={"scent": 1.0}) for o in clean]
    assert "instead." not in told(bad.model_copy(update={"options": none})).split("By the clock")[0]
    assert "instead." not in told(found.model_copy(update={"verdict": "good"})).split("By the clock")[0]


def test_a_lookout_clean_at_just_that_wind_is_told_apart(found):
    """Not among those that keep clean, and not among those the wind blows from either."""
    pocket = found.pockets[0]
    options = [o.model_copy(update={"scent": 0.0, "blown_at": [], "close": []}) for o in found.options]
    options[0] = options[0].model_copy(update={"close": [pocket.id]})
    words = told(found.model_copy(update={"options": options}))
    name = options[0].lookout
    assert f"{name}: clean in that wind, but a little weaker or stronger it would go to" in words
    assert f"these keep clean, best first: A, {options[1].lookout}" in words


def test_scent_too_far_off_is_not_called_clean_air(found):
    """Air that turns and clean air until the end would speak against each other."""
    kinds = {r.kind for r in found.reasons}
    assert not kinds >= {"clean air", "too far for scent"}
    assert not kinds >= {"clean air", "air unreliable"}


def test_winds_with_the_same_lookouts_stand_together(found):
    groups = [ByWind(winds=["N", "NE"], lookouts=["L1", "L2"]), ByWind(winds=["S"], lookouts=[])]
    words = told(found.model_copy(update={"by_wind": groups, "by_wind_ms": 4.5}))
    assert (
        "Which lookout by a wind of about 10 mph: from N or NE L1, else L2; from S none of them is clean."
        in words
    )


def test_a_way_hidden_better_is_told_with_its_price(found):
    longer = [
        w.model_copy(update={"seconds": w.seconds + 1500, "seen_minutes": 0}) if w.kind == "hidden" else w
        for w in found.ways
    ]
    words = told(found.model_copy(update={"ways": longer}))
    assert "The most hidden way is about 25 min longer" in words


def test_a_way_hardly_different_is_not_told_beside_the_other(found):
    same = [
        w.model_copy(
            update={"seconds": found.way.seconds + 10, "seen_minutes": (found.way.seen_minutes or 0.0) + 1}
        )
        for w in found.ways
    ]
    assert "No other way keeps you out of view" in told(found.model_copy(update={"ways": same}))
    far = [
        w.model_copy(update={"seen_minutes": (w.seen_minutes or 0.0) + 20}) for w in same if w.kind != "out"
    ]
    words = told(found.model_copy(update={"ways": far}))
    assert words.count(" is about as long: ") == 1


def test_another_way_back_is_told_with_what_is_met_on_it(found):
    met = [
        "at the start: close above cliffs, for about 15 min in all",
        "about 30 min in: water to be crossed",
    ]
    ways = {one.kind: one for one in found.ways}
    back = ways["out"].model_copy(update={"hazards": met, "line": [[0.0, 0.0], [0.1, 0.1]]})
    words = told(found.model_copy(update={"ways": [ways["quickest"], back]}))
    assert "not by the way in but by another: " in words
    assert "On the way back, at the lookout: close above cliffs, for about 15 min in all." in words
    assert "On the way back, about 30 min on: water to be crossed." in words
    same = back.model_copy(update={"line": found.way.line[::-1]})
    assert "On the way back" not in told(found.model_copy(update={"ways": [ways["quickest"], same]}))


def test_beds_of_a_day_without_sun_are_not_said_to_lie_in_it(found):
    light = found.light.model_copy(update={"sunrise": None, "sunset": None})
    pockets = [
        p.model_copy(update={"beds": [b.model_copy(update={"shaded": []}) for b in p.beds]})
        for p in found.pockets
    ]
    words = told(found.model_copy(update={"light": light, "pockets": pockets}))
    assert "never in shade" not in words
    assert "The sun does not reach its beds that day." in words


def test_air_that_goes_to_a_lesser_part_is_not_said_to_thin_out(found):
    """Severity 1 is also where scent is strong, on less than half of what is watched."""
    reason = Reason(kind="wind toward", severity=1, size=0.3, of=found.pockets[0].id, begin=None, until=None)
    words = told(found.model_copy(update={"decides": [reason]}))
    assert "though little of your scent should reach most of what you watch" in words
    strong = told(found.model_copy(update={"decides": [reason.model_copy(update={"severity": 2})]}))
    assert "though little" not in strong


def test_all_that_the_wind_blows_at_is_named(found):
    name, other = found.pockets[0].id, found.pockets[-1].id + "x"
    reason = Reason(kind="wind toward", severity=2, size=1.0, of=name, begin=None, until=None)
    options = [
        o.model_copy(update={"blown_at": [name, other] if o.lookout == found.lookout else []})
        for o in found.options
    ]
    words = told(found.model_copy(update={"decides": [reason], "options": options})).split("By the clock")[0]
    first = next(p.name or f"pocket {p.id}" for p in found.pockets if p.id == name)
    assert f"the air goes from you to {first} and {other}" in words


def test_leaving_walking_and_sitting_still_add_up(found):
    """By the slow end of the range, in the minutes told."""
    words = told(found)
    leave, hours, minutes = re.search(
        r"Leave [^.]*? by (\d\d:\d\d) \w+: [^.]*?(?:(\d) h ?)?(?:(\d\d) (?:min )?)?on foot", words
    ).groups()
    sit = re.search(r"(\d\d:\d\d) \w+: Sit still at lookout", words)[1]
    left, still = (dt.datetime.strptime(one, "%H:%M") for one in (leave, sit))
    assert still - left == dt.timedelta(hours=int(hours or 0), minutes=int(minutes or 0))


def test_what_the_air_does_is_told_though_other_facts_decide(found):
    when = found.light.sunrise
    air = Reason(kind="wind toward", severity=1, size=0.1, of=found.pockets[0].id, begin=when, until=when)
    other = [
        Reason(kind=kind, severity=1, size=0.9, of=None, begin=None, until=None)
        for kind in ("long walk", "no sunset")
    ]
    words = told(found.model_copy(update={"decides": other, "reasons": [*other, air]}))
    assert "Besides: the air goes from you to pocket" in words.split("By the clock")[0]


def test_a_lookout_spoilt_at_another_hour_is_not_among_those_that_keep_clean(found):
    pocket = found.pockets[0]
    options = [
        o.model_copy(update={"scent": 0.0, "blown_at": [], "close": [], "other_at": []})
        for o in found.options
    ]
    options[0] = options[0].model_copy(update={"other_at": [pocket.id], "other": found.light.sunrise})
    words = told(found.model_copy(update={"options": options}))
    assert f"{options[0].lookout}: clean at first light, but about " in words
    assert f"these keep clean, best first: A, {options[1].lookout}" in words


def test_the_loads_of_an_animal_add_up_to_its_weight(found):
    carry = Carry(
        weight_kg=37.8, people=1, trips=2, each_kg=18.9, loaded_seconds=9000, hours=8.6, hours_high=9.5, hours_limit=12.0,
        veto=None,
    )  # fmt: skip
    pockets = [one.model_copy(update={"carry": carry}) for one in found.pockets]
    assert "85 lb go out in two trips of one carrier with 43 lb" in told(
        found.model_copy(update={"pockets": pockets})
    )


def test_dates_are_told_apart_where_what_decides_differs(found):
    def day(date: str, kind: str, against: float, minutes: float) -> CalendarDay:
        when = dt.date.fromisoformat(date)
        light = dt.datetime.combine(when, dt.time(12, 20), dt.UTC)
        why = Reason(kind=kind, severity=1, size=against, of=None, begin=None, until=None)
        return CalendarDay(
            date=when, usable_from=light, sunrise=light, sun_half=None, leave_by=None, verdict="with care", decides=[why],
            against=against, open_minutes=minutes,
        )  # fmt: skip

    days = [
        day("2026-12-28", "long walk", 0.5, 180.0), day("2026-12-30", "no sunrise", 0.4, 180.0),
        day("2027-01-02", "no sunrise", 0.1, 190.0), day("2027-01-04", "no sunrise", 0.1, 120.0),
    ]  # fmt: skip
    words = told(found.model_copy(update={"calendar": days}))
    assert "Best by the rules: 2 Jan 2027, with animals likely out for about 3 h 10 of light." in words
    assert (
        "28 Dec 2026: with care: the walk in is over your limit. 30 Dec 2026 to 4 Jan 2027: with care"
        in words
    )
    same = [one.model_copy(update={"date": one.date + dt.timedelta(days=1)}) for one in days[:1]]
    assert "None of them is better than another." in told(
        found.model_copy(update={"calendar": [*days[:1], *same]})
    )
