"""A sit told to someone cold and tired: when to leave, where to sit, what decides; then the clock."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable

from graylight.plan.model import Light
from graylight.plan.morning_model import (
    BedShade,
    CalendarDay,
    Happening,
    Hours,
    Morning,
    MorningPocket,
    Option,
    Reason,
)
from graylight.telling import morning_walk as walk
from graylight.telling import naming
from graylight.telling.paragraph import Paragraph, counted, listed, sentence
from graylight.telling.plan import LAW
from graylight.units import Units, bearings, distance, duration, share, share_range

__all__ = ["CARRYING", "tell_morning"]

CARRYING = "Carrying an animal out"
VERDICTS = {"good": "A good {} for it", "with care": "Go, with care", "not this morning": "Not this {}"}
HOURS = {"dawn": "morning", "dusk": "evening", "day": "day"}
KEY = {"dawn": "at first light", "dusk": "at sunset", "day": "at first light"}
OTHER = {"dawn": "in the hours after", "dusk": "in the hours before", "day": "in the hours after"}
_BY_THEN = {"leave", "passes", "settled", "start back at the latest"}
"""What is told with 'by then at the latest' is never told later than it is."""
_AIR = {"scent", "wind toward", "leave before", "strong wind"}
"""What is told of a sit though other facts decide."""
_CLEAN = 0.1
_LATEST = {True: ["On the way in, by then at the latest."], False: []}
_LATE_MIN = 10.0
"""A lookout that can be left for so much later serves someone who is late. Proposed."""


def tell_morning(morning: Morning, units: Units) -> list[Paragraph]:
    """Tell a morning.

    Parameters
    ----------
    morning
        With or without a way in, a wind, a calendar.
    units
        'us' or 'metric'.

    Returns
    -------
    list of Paragraph
        Times by the local clock with its zone; one line a paragraph in the timeline.
    """
    told = _Telling(morning, units)
    paragraphs = [Paragraph(f"This {HOURS[morning.sit]}", told.first())]
    paragraphs += [
        Paragraph(
            "By the clock",
            [*_LATEST[morning.way is not None], "What is marked ~ rests on rules of thumb."],
        )
    ]
    paragraphs += [Paragraph(when, [words], run_in=True, close=True) for when, words in told.clock()]
    paragraphs.append(Paragraph("What you watch", told.watched()))
    paragraphs += [
        Paragraph(_capital(told.name(one.id)), told.pocket(one), run_in=True, close=True)
        for one in morning.pockets
    ]
    paragraphs.append(Paragraph("The way in", walk.way(morning, units)))
    if morning.way is not None:
        paragraphs.append(Paragraph("Other ways", walk.other_ways(morning, units), run_in=True, close=True))
    paragraphs.append(Paragraph("Water", walk.water(morning), run_in=True, close=True))
    if carried := walk.carrying(morning, units):
        paragraphs.append(Paragraph(CARRYING, carried, run_in=True, close=True))
    paragraphs.append(Paragraph("If the wind is otherwise, or you are late", told.others()))
    if morning.calendar:
        paragraphs.append(Paragraph("Other dates", told.dates()))
    if morning.not_known:
        paragraphs.append(Paragraph("Not known", [sentence(words) for words in morning.not_known]))
    cautions = [sentence(words) for words in morning.cautions]
    return [*paragraphs, Paragraph("Take care", [*cautions, LAW])]


class _Telling:
    """One morning being told in one system of units."""

    def __init__(self, morning: Morning, units: Units) -> None:
        self.morning = morning
        self.units = units
        self.names = {p.id: p.name or f"pocket {p.id}" for p in morning.pockets}

    def when(self, at: dt.datetime, light: Light | None = None) -> str:
        """To the nearest five minutes, by the clock of the place."""
        return naming.moment(at, light or self.morning.light, step_minutes=5)

    def name(self, of: str | None) -> str:
        """A pocket by its name, a bed by its id; what has neither, as it stands."""
        return "" if of is None else self.names.get(of, of)

    # --- first -----------------------------------------------------------------------------------------------------

    def first(self) -> list[str]:
        """When to leave, where to sit, what decides."""
        m = self.morning
        told = ["This range is invented: it does not exist."] if m.invented else []
        told.append(f"{naming.day(m.date)}, {naming.animal(m.animal)}, {self._wind()}{self._as_set()}.")
        if m.way is not None and m.way.leave_by is not None:
            by = naming.moment(m.way.leave_by, m.light, step_minutes=5, way="earlier")
            told.append(f"Leave {m.way.start.name} by {by}: {walk.taking(m, m.way)} on foot.")
        else:
            told.append("There is no time to leave by, because no way on foot is known.")
        told.append(f"Sit at {naming.lookout(m.lookout)}: {naming.spot(m.place, self.units)}.")
        decides = [self.reason(one) for one in m.decides]
        grades = {one.severity for one in m.decides}
        mixed = 0 in grades and len(grades) > 1
        because = f": {('; but ' if mixed else '; and ').join(decides)}" if decides else ""
        told.append(sentence(f"{VERDICTS[m.verdict].format(HOURS[m.sit])}{because}"))
        besides = [self.reason(one) for one in m.reasons if one.kind in _AIR and one not in m.decides]
        told += [sentence(f"besides: {'; and '.join(besides)}")] if besides else []
        if m.verdict == "not this morning" and not any(one.kind == "strong wind" for one in m.decides):
            told += self._rather()
        return told

    def _rather(self) -> list[str]:
        """Another of the kept lookouts that keeps clean in this wind, where there is one."""
        clean = [o.lookout for o in self.morning.options if _clean(o) and not o.other_at]
        others = [name for name in clean if name != self.morning.lookout]
        return [sentence(f"in this wind look at {naming.lookout(others[0])} instead")] if others else []

    def _wind(self) -> str:
        wind = self.morning.wind
        if not wind.given:
            return "calm air assumed"
        if wind.speed_ms == 0:
            return "calm air"
        said = " ".join(wind.said.split())
        return (
            f"light wind {said[5:].strip()}".strip() if said.lower().startswith("light") else f"wind {said}"
        )

    def _as_set(self) -> str:
        return " as set" if self.morning.wind.as_set else ""

    def reason(self, one: Reason) -> str:
        """One fact in words."""
        return _REASONS[one.kind](self, one)

    def blown(self, of: str | None) -> str:
        """The pocket named, and what else the wind blows at from here at the hour that decides."""
        here = next((o.blown_at for o in self.morning.options if o.lookout == self.morning.lookout), [])
        return listed(self.name(one) for one in dict.fromkeys([of, *here]))

    # --- clock -----------------------------------------------------------------------------------------------------

    def clock(self) -> list[tuple[str, str]]:
        """The timeline, line by line; what falls on one time stands in one line."""
        lines: list[tuple[str, str]] = []
        for stamp, words in self._happenings():
            if lines and lines[-1][0] == stamp:
                lines[-1] = stamp, f"{lines[-1][1]} {words}"
            else:
                lines.append((stamp, words))
        return lines

    def _happenings(self) -> list[tuple[str, str]]:
        """Stamp and sentence of each; the same of several pockets at one time is said once."""
        told: dict[tuple[str, str, str], list[Happening]] = {}
        for one in self.morning.timeline:
            until = "" if one.until is None else self.when(one.until)
            # the same brook again: the way in counts them
            key = (one.words, "", "") if one.kind == "passes" else (self._stamp(one), one.kind, until)
            told.setdefault(key, []).append(one)
        found = []
        for same in told.values():
            first = same[0]
            if first.of is not None:
                of = listed(dict.fromkeys(self.name(one.of) for one in same))
                first = first.model_copy(update={"of": of})
            found.append((self._stamp(first), sentence(_HAPPENINGS[first.kind](self, first))))
        return found

    def _stamp(self, one: Happening) -> str:
        mark = "~" if one.rule_of_thumb else ""
        if one.kind in _BY_THEN:
            return mark + naming.moment(one.at, self.morning.light, step_minutes=5, way="earlier")
        return mark + self.when(one.at)

    # --- the rest --------------------------------------------------------------------------------------------------

    def watched(self) -> list[str]:
        """What is said of all pockets together."""
        count = len(self.morning.pockets)
        told = [f"{counted(count, 'pocket')} in sight." if count else "No pocket is in sight from there."]
        told = [sentence(words) for words in told]
        if self.morning.also_scented:
            told.append(
                sentence(
                    f"your scent also reaches {listed(self.morning.also_scented)} {KEY[self.morning.sit]}, out of your sight "
                    "(rule of thumb)"
                )
            )
        return told

    def pocket(self, one: MorningPocket) -> list[str]:
        """Where it is, how much of it shows, its beds' shade."""
        return [
            sentence(
                f"{share_range(one.share.low, one.share.high)} in sight, {distance(one.distance_m, self.units)} off at "
                f"{bearings(one.bearing_true_deg, one.bearing_magnetic_deg)}"
            ),
            *self._beds(one),
        ]

    def _beds(self, one: MorningPocket) -> list[str]:
        if self.morning.light.sunrise is None and self.morning.light.sunset is None:
            return ["The sun does not reach its beds that day."] if one.beds else []
        whole = [b.id for b in one.beds if self._all_day(b)]
        told = []
        if whole:
            verb = "lies" if len(whole) == 1 else "lie"
            told.append(f"{listed(whole)} {verb} in shade of ground or trees all day")
        for bed in one.beds:
            if bed.id in whole:
                continue
            spans = [self._span(h) for h in bed.shaded]
            told.append(f"{bed.id} in shade {listed(spans)}" if spans else f"{bed.id} never in shade")
        return [sentence(f"its beds: {'; '.join(told)}")] if told else []

    def _all_day(self, bed: BedShade) -> bool:
        light = self.morning.light
        if light.sunrise is None or light.sunset is None or len(bed.shaded) != 1:
            return False
        slack = dt.timedelta(minutes=30)
        return bed.shaded[0].begin <= light.sunrise + slack and bed.shaded[0].until >= light.sunset - slack

    def _span(self, hours: Hours) -> str:
        light = self.morning.light
        if light.sunrise is not None and hours.begin <= light.sunrise + dt.timedelta(minutes=30):
            return f"until {self.when(hours.until)}"
        if light.sunset is not None and hours.until >= light.sunset - dt.timedelta(minutes=30):
            return f"from {self.when(hours.begin)}"
        return f"from {self.when(hours.begin)} to {self.when(hours.until)}"

    def others(self) -> list[str]:
        """The kept lookouts by this wind and in calm air; where someone late can still go."""
        m = self.morning
        clean = [o for o in m.options if _clean(o)]
        told = []
        sure = [o for o in clean if not o.close and not o.other_at]
        letters = [f"{letter}, {o.lookout}" for letter, o in zip("ABC", sure, strict=False)]
        wind = self._wind() if m.wind.given else "calm air"
        key = KEY[m.sit]
        if letters:
            told.append(
                sentence(
                    f"{key} and {OTHER[m.sit]}, with {wind}, these keep clean, best first: {'; '.join(letters)}"
                )
            )
        elif not clean:
            told.append(sentence(f"{key} with {wind} none of the kept lookouts is clean"))
        told += [sentence(self._close(o)) for o in clean if o.close and not o.other_at]
        told += [sentence(self._other(o)) for o in clean if o.other_at]
        told += [sentence(self._unclean(o)) for o in m.options if o not in clean]
        calm = [o.lookout for o in sorted(m.options, key=_by_worth) if o.scent_calm <= _CLEAN]
        if m.wind.given and m.wind.speed_ms > 0:
            told.append(
                sentence(f"should it stay calm, take {listed(calm[:3], 'or')}")
                if calm
                else f"In calm air none is clean {key}."
            )
        return [*told, *walk.by_wind(m, self.units), *self._late(sure), *walk.near(m, self.units)]

    def _close(self, one: Option) -> str:
        names = listed(self.name(name) for name in one.close)
        return f"{one.lookout}: clean in that wind, but a little weaker or stronger it would go to {names}"

    def _other(self, one: Option) -> str:
        names = listed(self.name(name) for name in one.other_at)
        about = "" if one.other is None else f" about {self.when(one.other)}"
        return f"{one.lookout}: clean {KEY[self.morning.sit]}, but{about} the air goes from it to {names}"

    def _unclean(self, one: Option) -> str:
        if one.scent > _CLEAN:
            return f"{one.lookout}: your scent reaches {share(one.scent)} of what it watches"
        return f"{one.lookout}: the wind blows from it at {listed(self.name(name) for name in one.blown_at)}"

    def _late(self, clean: list[Option]) -> list[str]:
        way = self.morning.way
        if way is None or way.leave_by is None or not way.dark:
            return []
        later = [
            (o, (o.leave_by - way.leave_by).total_seconds() / 60.0)
            for o in clean
            if o.leave_by is not None and o.start == way.start.name and o.lookout != self.morning.lookout
        ]
        later = [(o, minutes) for o, minutes in later if minutes >= _LATE_MIN]
        if not later:
            return [
                "No other clean lookout can be had later from the same start: late, settle short of it, out of view."
            ]
        one, minutes = max(later, key=lambda pair: (pair[0].worth, pair[0].lookout))
        return [
            sentence(
                f"up to {int(minutes // 5) * 5} min late from {way.start.name}, sit at {one.lookout} instead"
            )
        ]

    def dates(self) -> list[str]:
        """The sampled dates: those alike and next to each other together."""
        told = ["Sampled; for the same lookout and wind.", *self._best()]
        runs: list[list[CalendarDay]] = []
        for one in self.morning.calendar:
            if runs and _alike(runs[-1][0], one):
                runs[-1].append(one)
            else:
                runs.append([one])
        return [*told, *(sentence(self._dates(run)) for run in runs)]

    def _best(self) -> list[str]:
        """The dates that are better than others: by verdict, by what speaks against them, by hours in the open."""
        planned = [one for one in self.morning.calendar if one.verdict is not None]
        ranked = sorted(planned, key=_how_good)
        if len(ranked) < 2:
            return []
        good = [one for one in ranked if _about_as_good(one, ranked[0])]
        if len(good) == len(ranked):
            return ["None of them is better than another."]
        named = listed(self.day(one.date) for one in sorted(good[:3], key=lambda one: one.date))
        minutes = min(one.open_minutes or 0.0 for one in good[:3])
        out = f", with animals likely out for {duration(60.0 * minutes)} of light" if minutes else ""
        return [sentence(f"best by the rules: {named}{out}")]

    def _dates(self, run: list[CalendarDay]) -> str:
        first, last = run[0], run[-1]
        days = self.day(first.date) if first is last else f"{self.day(first.date)} to {self.day(last.date)}"
        if first.verdict is None:
            return f"{days}: no usable light, nothing to plan"
        light = self.morning.light.model_copy(update={"date": first.date})
        facts = [self.reason_on(r, light) for r in first.decides]
        leave = [
            naming.moment(
                one.leave_by, light.model_copy(update={"date": one.date}), step_minutes=5, way="earlier"
            )
            for one in ([first] if first is last else [first, last])
            if one.leave_by is not None
        ]
        by = f", leave by {' to '.join(dict.fromkeys(leave))}" if leave else ""
        on = "" if first is last else f" on {self.day(first.date)}"
        why = f": {'; '.join(facts)}{on}" if facts else ""
        verdict = first.verdict.replace("morning", HOURS[self.morning.sit])
        return f"{days}: {verdict}{by}{why}"

    def day(self, date: dt.date) -> str:
        """'27 Aug', with its year where the dates lie in more than one."""
        years = {one.date.year for one in self.morning.calendar}
        return f"{date.day} {_MONTHS[date.month - 1]}{f' {date.year}' if len(years) > 1 else ''}"

    def reason_on(self, one: Reason, light: Light) -> str:
        """A fact of another date."""
        # at what the wind blows is known for the morning's own date alone
        other = _Telling(self.morning.model_copy(update={"light": light, "options": []}), self.units)
        return other.reason(one)


_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def _alike(one: CalendarDay, other: CalendarDay) -> bool:
    """The same verdict, decided by the same kinds of fact, with first light at about the same hour."""
    same = one.verdict == other.verdict and {r.kind for r in one.decides} == {r.kind for r in other.decides}
    if not same or one.usable_from is None or other.usable_from is None:
        return same
    days = (other.date - one.date).days
    return abs(other.usable_from - one.usable_from - dt.timedelta(days=days)) < _AN_HOUR


_AN_HOUR = dt.timedelta(hours=1)
_ORDER = {"good": 0, "with care": 1, "not this morning": 2}
_STEP, _STEP_MIN = 0.1, 15.0
"""Less than this of what speaks against a date, or of minutes in the open, is no difference. Proposed."""


def _how_good(one: CalendarDay) -> tuple[int, float, float, dt.date]:
    return (
        _ORDER[one.verdict or "not this morning"], round((one.against or 0.0) / _STEP), -(one.open_minutes or 0.0),
        one.date,
    )  # fmt: skip


def _about_as_good(one: CalendarDay, best: CalendarDay) -> bool:
    same = _how_good(one)[:2] == _how_good(best)[:2]
    return same and (best.open_minutes or 0.0) - (one.open_minutes or 0.0) < _STEP_MIN


def _clean(one: Option) -> bool:
    """At the hour that decides, in the wind said."""
    return one.scent <= _CLEAN and not one.blown_at


def _by_worth(one: Option) -> tuple[float, str]:
    return -one.worth, one.lookout


def _spanned(t: _Telling, r: Reason) -> str:
    """'from 06:45 to 07:45 PDT'."""
    if r.begin is None or r.until is None:
        return ""
    if r.until - r.begin < dt.timedelta(minutes=5):
        return f" about {t.when(r.begin)}"
    return f" from {t.when(r.begin)} to {t.when(r.until)}"


def _since(t: _Telling, r: Reason) -> str:
    return "" if r.begin is None else f" from {t.when(r.begin)}"


def _until(t: _Telling, r: Reason) -> str:
    return "" if r.until is None else f" until {t.when(r.until)}"


_REASONS: dict[str, Callable[[_Telling, Reason], str]] = {
    "scent": lambda t, r: (
        f"your scent reaches {share(r.size)} of what you watch, most of {t.name(r.of)}{_spanned(t, r)}"
    ),
    "leave before": lambda t, r: (
        f"the air goes from you to {t.name(r.of)}{_since(t, r)} on, so be gone before"
    ),
    "strong wind": lambda _t, r: (
        "in a gale one is thrown off crests and dead timber comes down: stay out of it"
        if r.severity == 2
        else "in so strong a wind glasses shake, crests are hard to stand on, dead timber comes down, and animals sit in the lee"
    ),
    "wind toward": lambda t, r: (
        f"the air goes from you to {t.blown(r.of)}{_spanned(t, r)}"
        f"{'' if r.severity == 2 else ', though little of your scent should reach most of what you watch'}"
    ),
    "air unreliable": lambda t, r: f"the air is unreliable while animals may be out{_spanned(t, r)}",
    "sun in the glass": lambda t, r: f"the sun stands in the glass toward {t.name(r.of)}{_spanned(t, r)}",
    "scent on the way in": lambda _t, _r: "on the way in your scent reaches what you watch",
    "seen on the way in": lambda _t, _r: "you walk in by day in view of pockets",
    "nothing in sight": lambda _t, _r: "nothing of any pocket is in sight from there",
    "no way known": lambda _t, _r: "no way on foot is known",
    "long walk": lambda _t, _r: "the walk in is over your limit",
    "steep in the dark": lambda _t, _r: "what you walk in the dark crosses ground too steep for it",
    "wind near the limit": lambda t, r: (
        f"a wind a little weaker or stronger than said would go from you to {t.name(r.of)}"
    ),
    "path on steep ground": lambda _t, _r: (
        "in the dark you follow a path across steep ground, where a slip may be a fall"
    ),
    "carrying out": lambda t, r: f"an animal could not be carried out of {t.name(r.of)} in time",
    "no sunrise": lambda _t, _r: (
        "the sun does not rise that day, and the hours are counted from usable light"
    ),
    "no sunset": lambda _t, _r: (
        "the sun does not set that day, and the hours are counted from last usable light"
    ),
    "clean air": lambda t, r: f"the air keeps your scent off what you watch{_until(t, r)}",
    "sun out of the glass": lambda _t, _r: "the sun stays out of the glass",
    "too far for scent": lambda _t, _r: "what you watch is farther off than your scent carries, by the rules",
    "shade lasts": lambda t, r: f"{t.name(r.of)} keeps its shade{_until(t, r)}",
    "shade comes": lambda t, r: f"{t.name(r.of)} lies in shade{_since(t, r)}",
}


def _first_sun(t: _Telling, one: Happening) -> str:
    half = "" if one.until is None else f", on half of it by {t.when(one.until)}"
    return f"first sun on {t.name(one.of)}{half}"


def _to(t: _Telling, one: Happening) -> str:
    return "" if one.until is None else f", until {t.when(one.until)}"


def _verb(words: str) -> str:
    return f"goes {words}" if words.startswith("from ") else words


_VERBS = {"begins", "joins", "leaves", "crosses", "from"}

_HAPPENINGS: dict[str, Callable[[_Telling, Happening], str]] = {
    "leave": lambda t, _: f"leave {t.morning.way.start.name if t.morning.way else 'the start'}",
    "passes": lambda _, one: f"the way {_verb(one.words)}" if one.words.split()[0] in _VERBS else one.words,
    "settled": lambda t, _: f"sit still at {naming.lookout(t.morning.lookout)}",
    "usable light": lambda _t, _o: "first usable light: glass the open ground",
    "legal light": lambda _t, _o: "legal light by the setting, not the law",
    "sunrise": lambda _t, _o: "sunrise by the almanac",
    "air unreliable": lambda t, one: (
        f"the air at the lookout is unreliable{_to(t, one)}: back out if it goes to the animals"
    ),
    "air turns": lambda _t, one: (
        "the air turns from up to down the slope"
        if one.words == "down"
        else "the air turns from down to up the slope"
    ),
    "scent": lambda t, one: f"your scent reaches {t.name(one.of)}{_to(t, one)}",
    "leave or move": lambda _t, _o: "leave, or move to where the air is clean",
    "first sun": _first_sun,
    "sun in the glass": lambda t, one: (
        f"sun in the glass toward {t.name(one.of)}{_to(t, one)}: look elsewhere, never at it"
    ),
    "moves to bed": lambda t, one: f"likely moves to bed in {t.name(one.of)}{_to(t, one)}",
    "last sun": lambda t, one: f"the sun leaves half of {t.name(one.of)}",
    "comes to feed": lambda t, one: f"likely comes to feed in {t.name(one.of)}{_to(t, one)}",
    "sunset": lambda _t, _o: "sunset by the almanac",
    "legal light ends": lambda _t, _o: "legal light ends by the setting, not the law",
    "end of light": lambda _t, _o: "end of usable light: walk out by lamp",
    "bed in sun": lambda _t, one: f"sun on {one.of}: look there for a move to shade",
    "end of watch": lambda _t, _o: "end of the watch",
    "back": lambda t, _: (
        f"back at {t.morning.way.start.name if t.morning.way else 'the start'} at the latest"
    ),
    "start back at the latest": lambda _t, _o: (
        "whoever stays on starts back now at the latest, to be out by civil dusk"
    ),
}
