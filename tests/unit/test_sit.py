"""The clock and the verdict of a morning, on facts drawn by hand."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from graylight.settings import SitSettings
from graylight.sit.clock import timeline
from graylight.sit.facts import AirHere, Bed, SitFacts, Span, Turn, WalkIn, Watched, WayMark, Whiff
from graylight.sit.hours import end_of_watch, moves
from graylight.sit.verdict import judge

RULES = SitSettings()
SUNRISE = dt.datetime(2026, 8, 27, 13, 0, tzinfo=dt.UTC)


def at(minutes: float) -> dt.datetime:
    """So many minutes after sunrise."""
    return SUNRISE + dt.timedelta(minutes=minutes)


def whiffs(**changes) -> tuple[Whiff, ...]:
    return tuple(Whiff(at(m), 0.0, False, False)._replace(**changes) for m in (-40, 0, 30, 60, 90, 120, 150))


def pocket(name: str = "P1", **changes) -> Watched:
    plain = Watched(name, 1.0, at(70), at(90), (), whiffs(), (Bed(f"{name}-b1", (Span(at(30), at(100)),)),))
    return replace(plain, **changes)


def morning(**changes) -> SitFacts:
    walk = WalkIn(
        at(-300), 13_200.0, 7200.0, (WayMark("leaves a path", 1800.0), WayMark("joins a path", 99_999.0)), 0.0, False, False
    )  # fmt: skip
    air = AirHere((Turn(at(110), True),), (Span(at(80), at(140)), Span(at(700), at(760))))
    plain = SitFacts(at(-40), at(-30), SUNRISE, at(-80), at(800), walk, air, (pocket(),))
    return replace(plain, **changes)


def kinds(facts: SitFacts) -> list[str]:
    return [e.kind for e in timeline(facts, RULES)]


def test_the_morning_is_told_in_the_order_of_the_clock():
    assert kinds(morning()) == [
        "leave", "passes", "passes", "settled", "usable light", "legal light", "sunrise", "moves to bed", "first sun",
        "air unreliable", "bed in sun", "air turns", "end of watch", "back", "start back at the latest",
    ]  # fmt: skip


def test_no_junction_is_passed_after_one_is_settled():
    told = timeline(morning(), RULES)
    settled = next(e.at for e in told if e.kind == "settled")
    assert all(e.at <= settled for e in told if e.kind == "passes")


def test_animals_leave_when_the_sun_has_lain_on_them_and_by_then_anyway():
    facts = morning()
    assert moves(pocket(sun_half=at(20)), facts, RULES).end == at(20 + RULES.bed_sun_minutes)
    assert moves(pocket(sun_half=at(400)), facts, RULES).end == at(RULES.bed_by_minutes)
    assert moves(pocket(sun_half=None), facts, RULES).end == at(RULES.bed_by_minutes)
    assert moves(pocket(sun_half=at(-60)), facts, RULES).end == at(30)
    assert end_of_watch(facts, RULES) == at(RULES.watch_minutes)


def test_where_the_sun_does_not_rise_the_hours_are_counted_from_usable_light():
    facts = morning(sunrise=None, legal_from=None, pockets=(pocket(sun_from=None, sun_half=None, beds=()),))
    assert "sunrise" not in kinds(facts)
    assert moves(facts.pockets[0], facts, RULES).begin == facts.usable_from
    assert judge(facts, RULES).decides[0].kind == "no sunrise"


def test_without_a_way_the_clock_has_no_time_to_leave():
    told = kinds(morning(walk=None))
    assert "leave" not in told
    assert "back" not in told
    assert judge(morning(walk=None), RULES).verdict == "with care"


def test_scent_calls_for_leaving_at_the_last_clean_moment_looked_at():
    smelled = whiffs()[:3] + tuple(w._replace(share=0.5) for w in whiffs()[3:])
    facts = morning(pockets=(pocket(whiffs=smelled),))
    told = timeline(facts, RULES)
    assert next(e.at for e in told if e.kind == "leave or move") == at(30)
    assert [(e.at, e.until) for e in told if e.kind == "scent"] == [(at(60), at(150))]
    found = judge(facts, RULES)
    assert found.verdict == "not this morning"
    assert found.decides[0].kind == "scent"
    assert found.decides[0].size == pytest.approx(0.5)


@pytest.mark.parametrize("spoils", [{"share": 0.5}, {"toward": 0.5}])
def test_a_morning_spoilt_only_late_is_left_before(spoils):
    """The better half of the animals' hours is clean: whoever is gone by then has had a morning. Common practice, no source."""
    late = whiffs()[:5] + tuple(w._replace(**spoils) for w in whiffs()[5:])
    facts = morning(pockets=(pocket(whiffs=late),))
    found = judge(facts, RULES)
    assert found.verdict == "with care"
    assert (found.decides[0].kind, found.decides[0].of, found.decides[0].begin) == (
        "leave before",
        "P1",
        at(120),
    )
    assert not {f.kind for f in found.reasons} & {"scent", "wind toward", "clean air", "too far for scent"}
    assert next(e.at for e in timeline(facts, RULES) if e.kind == "leave or move") == at(90)


def test_a_day_or_an_evening_is_not_saved_by_leaving():
    late = whiffs()[:5] + tuple(w._replace(toward=0.5) for w in whiffs()[5:])
    day = morning(pockets=(pocket(whiffs=late),), kind="day", sunset=at(760), usable_until=at(790))
    assert judge(day, RULES).verdict == "not this morning"


@pytest.mark.parametrize(
    ("mph", "verdict"), [(24, "good"), (25, "with care"), (38, "with care"), (39, "not this morning")]
)
def test_a_strong_wind_is_a_fact_of_its_own(mph, verdict):
    """Beaufort 6 is 25 to 31 mph, Beaufort 8 39 to 46 mph: the national weather services' scale, from memory."""
    found = judge(morning(wind_ms=mph * 0.44704), RULES)
    assert found.verdict == verdict
    assert (found.decides[0].kind == "strong wind") == (verdict != "good")


def test_scent_after_they_have_bedded_decides_nothing():
    smelled = tuple(w._replace(share=0.9 if w.at > at(70) else 0.0) for w in whiffs())
    facts = morning(pockets=(pocket(sun_half=at(20), whiffs=smelled),))
    assert "scent" not in [f.kind for f in judge(facts, RULES).reasons]


@pytest.mark.parametrize(
    ("changed", "decides", "verdict"),
    [
        ({}, "too far for scent", "good"),
        ({"whiffs": whiffs(within=True)}, "clean air", "good"),
        ({"whiffs": whiffs(share=0.15)}, "scent", "with care"),
        ({"whiffs": whiffs(share=0.3)}, "scent", "not this morning"),
        ({"whiffs": whiffs(doubtful=True, within=True)}, "air unreliable", "with care"),
        ({"whiffs": whiffs(doubtful=True)}, "too far for scent", "good"),
        ({"whiffs": whiffs(toward=0.1)}, "wind toward", "with care"),
        ({"whiffs": whiffs(toward=0.0)}, "wind toward", "with care"),
        ({"whiffs": whiffs(toward=0.3)}, "wind toward", "not this morning"),
        ({"glass": (Span(at(0), at(40)),)}, "sun in the glass", "with care"),
        ({"glass": (Span(at(-40), at(120)),)}, "sun in the glass", "not this morning"),
        ({"glass": (Span(at(0), at(10)),)}, "too far for scent", "good"),
    ],
)
def test_what_decides(changed, decides, verdict):
    found = judge(morning(pockets=(pocket(**changed),)), RULES)
    assert found.verdict == verdict
    assert found.decides[0].kind == decides


def test_the_way_in_may_call_for_care():
    walk = morning().walk
    for changes, kind in (
        ({"scented_minutes": 30.0}, "scent on the way in"), ({"steep": True}, "steep in the dark"), ({"long": True}, "long walk"),
        ({"steep_path_minutes": 11.0}, "path on steep ground"),
    ):  # fmt: skip
        found = judge(morning(walk=replace(walk, **changes)), RULES)
        assert (found.verdict, found.decides[0].kind) == ("with care", kind)
    short = judge(morning(walk=replace(walk, steep_path_minutes=10.0)), RULES)
    assert "path on steep ground" not in {one.kind for one in short.reasons}


def test_a_wind_near_the_limit_calls_for_care():
    """Clean as said, but a little more or less wind goes to the pocket: then clean air is not claimed."""
    facts = replace(morning(), close=(morning().pockets[0].id,))
    found = judge(facts, RULES)
    kinds = {one.kind for one in found.reasons}
    assert found.verdict == "with care"
    assert "wind near the limit" in kinds
    assert not kinds & {"clean air", "too far for scent"}
    assert "wind near the limit" not in {one.kind for one in judge(morning(), RULES).reasons}


def test_nothing_in_sight_is_no_morning():
    assert judge(morning(pockets=()), RULES).verdict == "not this morning"


minutes = st.integers(-200, 600)
spans = st.tuples(minutes, st.integers(1, 200)).map(lambda s: Span(at(s[0]), at(s[0] + s[1])))
drawn = st.builds(
    Watched,
    id=st.sampled_from(["P1", "P2", "P3"]),
    weight=st.floats(0.1, 1.0),
    sun_from=st.none() | minutes.map(at),
    sun_half=st.none() | minutes.map(at),
    glass=st.lists(spans, max_size=2).map(tuple),
    whiffs=st.lists(
        st.builds(Whiff, minutes.map(at), st.floats(0, 1), st.booleans(), st.booleans(), st.none() | st.floats(0, 1)), max_size=5
    ).map(lambda w: tuple(sorted(w, key=lambda one: one.at))),
    beds=st.lists(spans, max_size=2).map(lambda s: (Bed("b", tuple(s)),)),
)  # fmt: skip


@given(
    st.lists(drawn, max_size=3),
    st.lists(spans, max_size=2),
    st.booleans(),
    st.lists(st.floats(0, 40_000), max_size=4),
)
def test_the_clock_never_runs_backward_and_the_verdict_has_its_reasons(pockets, doubts, rises, marks):
    walk = replace(morning().walk, marks=tuple(WayMark("crosses a path", s) for s in marks))
    facts = morning(
        pockets=tuple(pockets),
        sunrise=SUNRISE if rises else None,
        walk=walk,
        air=AirHere((), tuple(doubts)),
    )
    told = timeline(facts, RULES)
    assert all(a.at <= b.at for a, b in pairwise(told))
    assert all(e.until >= e.at for e in told if e.kind == "moves to bed")
    found = judge(facts, RULES)
    worst = max((f.severity for f in found.reasons), default=0)
    assert found.verdict == ("good", "with care", "not this morning")[worst]
    assert len(found.decides) <= 2
    assert all(f in found.reasons for f in found.decides)
    if worst:
        assert found.decides[0].severity == worst


def test_unreliable_air_is_told_for_the_hours_that_it_lasts_while_animals_are_out():
    """Not from before there is anything to spoil, and to the end of the turn, not to the moment last looked at."""
    doubted = tuple(w._replace(doubtful=w.at >= at(60), within=True) for w in whiffs())
    found = judge(morning(pockets=(pocket(sun_half=None, whiffs=doubted),)), RULES).reasons
    told = next(f for f in found if f.kind == "air unreliable")
    assert (told.begin, told.until) == (at(60), at(RULES.bed_by_minutes))
    turn = (Whiff(at(90), 0.0, True, True),)
    short = pocket(sun_half=at(90), whiffs=turn)
    assert RULES.bed_sun_minutes < 55  # bedded before the turn is over at 140
    told = next(f for f in judge(morning(pockets=(short,)), RULES).reasons if f.kind == "air unreliable")
    assert (told.begin, told.until) == (at(80), at(90 + RULES.bed_sun_minutes))
    late = morning(
        kind="dusk", settled=at(500), sunset=at(760), usable_until=at(790), air=AirHere((), (Span(at(480), at(780)),)),
        pockets=(pocket(sun_left=at(730), whiffs=(Whiff(at(740), 0.0, True, True),)),),
    )  # fmt: skip
    told = next(f for f in judge(late, RULES).reasons if f.kind == "air unreliable")
    assert (told.begin, told.until) == (at(730), at(780))


def test_the_pocket_that_gets_the_scent_is_named_before_one_that_weighs_more():
    thin, thick = (
        pocket("P1", weight=0.7, whiffs=whiffs(toward=0.0)),
        pocket("P2", weight=0.3, whiffs=whiffs(toward=0.9)),
    )
    found = next(f for f in judge(morning(pockets=(thin, thick)), RULES).reasons if f.kind == "wind toward")
    assert (found.of, found.severity) == ("P2", 1)
