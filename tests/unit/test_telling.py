"""The plan told: what is said, in which order, in which words, and what must never be said."""

from __future__ import annotations

import datetime as dt
import math
import re

import pytest

from graylight.grid import LonLat
from graylight.plan.model import CountryFacts, Light, Plan, Share, SightLine
from graylight.settings import Settings
from graylight.sky.light import light_of_day
from graylight.telling import Paragraph, plain, tell_country, tell_look, tell_plan
from graylight.telling.light import the_light
from graylight.telling.paragraph import counted, listed, sentence
from graylight.telling.plan import LAW
from graylight.units import in_units
from tests.unit.sample_plan import (
    VARIANTS,
    blind_look,
    polar_light,
    sample_facts,
    sample_light,
    sample_look,
    sample_plan,
)

UNITS = ("us", "metric")


def told(paragraphs: list[Paragraph]) -> str:
    return plain(paragraphs, 10_000)


ALL = [
    *(
        (f"{name}, {units}", told(tell_plan(make(), units)))
        for name, make in VARIANTS.items()
        for units in UNITS
    ),
    *(
        (f"look, {units}", told(tell_look(make(), units)))
        for make in (sample_look, blind_look)
        for units in UNITS
    ),
    *((f"country, {units}", told(tell_country(sample_facts(), units=units))) for units in UNITS),
]


@pytest.mark.parametrize(("name", "text"), ALL)
def test_no_holes_and_no_jargon(name, text):
    for word in ("None", "nan", "inf ", "null", "[]", "()", "  ", "..", ":;", " ,", "_", "{"):
        assert word not in text, word
    for word in ("viewshed", "raster", "azimuth", "pixel"):
        assert word not in text.lower()


@pytest.mark.parametrize(("name", "text"), ALL)
def test_never_legal_never_safe_never_empty(name, text):
    rest = text.replace(LAW, "").replace("Legal light is a setting here, not the law.", "").lower()
    assert not re.search(r"\b(safe|safely|permitted|allowed|legally|no deer|no elk|empty)\b", rest)
    assert set(re.findall(r"\blegal \w+", rest)) <= {"legal light"}
    if not name.startswith("country"):
        assert LAW in text


@pytest.mark.parametrize(("name", "text"), ALL)
def test_shares_are_in_fives_and_nothing_is_finer_than_the_data(name, text):
    for number in re.findall(r"(\d+(?:\.\d+)?) %", text):
        assert "." not in number
        assert int(number) % 5 == 0
    for number in re.findall(r"([\d,]+) ft", text.replace("(about 33 ft)", "")):
        assert int(number.replace(",", "")) % 10 == 0
    assert not re.search(r"\d+\.\d+ (ft|yd|m|acres|hectares|min)\b", text)
    assert not re.search(r"\d\.\d°", text)


@pytest.mark.parametrize(("name", "text"), ALL)
def test_each_system_of_units_keeps_to_itself(name, text):
    if name.startswith("country"):
        return  # cells are known by their metres
    own = text.replace("10 m elevation grid", "")  # a caution, handed over in words
    us = re.search(r"\d (ft|yd|mi|acres?)\b", own)
    metric = re.search(r"\d (m|km|hectares?)\b", own)
    assert bool(us) != bool(metric)
    assert bool(us) == name.endswith("us")


@pytest.mark.parametrize(("name", "text"), ALL)
def test_every_clock_time_has_its_zone(name, text):
    for after in re.findall(r"\b\d\d:\d\d(.{5})", text):
        assert re.match(r" [A-Z]{3}\b", after)


@pytest.mark.parametrize(("name", "text"), ALL)
def test_sentences_can_be_said_in_one_breath(name, text):
    """Common practice, no source: some forty words to a clause at the most."""
    for words in re.split(r"(?<=[.!?])\s|[;:]\s", text):
        assert len(words.split()) <= 40, words


@pytest.mark.parametrize(("name", "text"), ALL)
def test_sentences_begin_with_a_capital_and_end_with_a_stop(name, text):
    for line in text.splitlines():
        if "." in line and not re.fullmatch(r"\d+\. .*", line):
            assert line[0].isupper() or line[0].isdigit(), line
            assert line.endswith("."), line


def test_first_where_to_sit_when_to_leave_what_is_hidden():
    first = tell_plan(sample_plan(), "us")[0]
    assert first.heading == "Where to sit"
    text = " ".join(first.sentences)
    order = [
        "does not exist",
        "27 August 2026",
        "Sit at lookout L1",
        "Leave Tinder Fork road end",
        "Hidden from",
        "It shows",
    ]
    at = [text.index(words) for words in order]
    assert at == sorted(at)
    assert "02:40 MDT" in text  # 08:43:55 UTC, made earlier to whole five minutes
    assert "06:11 MDT" in text
    assert "10,390 ft" in text  # 3168 m / 0.3048 = 10393.7
    assert "45 to 70 %" in text
    assert "Hidden from there: one bed of Cañada Côte Bowl. Nothing shows of pocket P2." in text
    assert "That does not mean that nothing is in it." in text


def test_the_order_of_what_follows():
    headings = [paragraph.heading for paragraph in tell_plan(sample_plan(), "us")]
    wanted = [
        "Where to sit",
        "How to get there",
        "Light",
        "The pockets",
        "Other lookouts",
        "Not known",
        "Take care",
    ]
    assert [h for h in headings if h in wanted] == wanted
    assert headings.index("1. Cañada Côte Bowl") == headings.index("The pockets") + 1


def test_both_bearings_and_what_is_said_without_the_magnetic_one():
    both = told(tell_plan(sample_plan(), "us"))
    assert re.search(r"284° magnetic \(294° true\)", both)
    one = told(tell_plan(VARIANTS["polar"](), "us"))
    assert "294° true (no magnetic bearing)" in one
    assert "° magnetic" not in one
    assert "bearings are from true north only" in one


def test_the_check_on_the_spot_is_a_true_bearing():
    """The sample's peak lies 720 m west and 1960 m north of its lookout; declination 10.3 degrees east."""
    text = told(tell_plan(sample_plan(), "us"))
    said = re.search(r"Ölberg Señal stands 1\.3 mi off at (\d+)° magnetic \((\d+)° true\)", text)
    true_deg = math.degrees(math.atan2(-720.0, 1960.0)) % 360.0
    assert float(said[2]) == pytest.approx(true_deg, abs=0.6)
    assert float(said[1]) == pytest.approx(true_deg - 10.3, abs=0.6)


def test_the_way_is_told_with_a_range():
    text = " ".join(
        next(p for p in tell_plan(sample_plan(), "us") if p.heading == "How to get there").sentences
    )
    assert "2 h 10 to 2 h 50" in text
    assert "3.2 mi" in text  # 5210 m / 1609.344 = 3.24
    assert "2,430 ft up" in text  # 742 m / 0.3048 = 2434
    assert "about 65 %" in text


def test_at_most_eight_pockets_and_the_rest_is_mentioned():
    plan = sample_plan()
    many = [plan.pockets[1].model_copy(update={"id": f"Q{i}", "rank": i}) for i in range(12, 0, -1)]
    paragraphs = tell_plan(plan.model_copy(update={"pockets": many}), "us")
    numbers = [p.heading.split(".")[0] for p in paragraphs if p.heading and p.heading[0].isdigit()]
    assert numbers == [str(i) for i in range(1, 9)]
    assert "8 of 12" in told(paragraphs)


def test_shut_ground_is_named_with_its_reason_and_not_ranked():
    plan = sample_plan()
    text = told(tell_plan(plan, "us"))
    assert (
        'Shown but not ranked: Meadow <Low> "Bar" & Fence\'s End of the Long Fork (private holding).' in text
    )
    assert not any((p.heading or "").startswith("3.") for p in tell_plan(plan, "us"))


def test_reasons_for_against_and_not_counted():
    plan = sample_plan()
    first = plan.pockets[0]
    weak = first.reasons[0].model_copy(update={"worth": 0.2, "words": "the sun is on it all day"})
    pockets = [first.model_copy(update={"reasons": [*first.reasons, weak]})]
    text = told(tell_plan(plan.model_copy(update={"pockets": pockets}), "us"))
    assert "For it: green, open ground in the band; shaded beds within a short walk." in text
    assert "Against it: the sun is on it all day." in text
    assert "Besides: no road known: quiet is not reckoned." in text


@pytest.mark.parametrize(
    ("variant", "words"),
    [
        ("without lookouts", "No place to sit was found"),
        ("without pockets", "That does not mean that no animals are there."),
        ("without starts", "There is no time to leave by, because no way on foot to it is known."),
        ("without starts", "say where you start"),
        ("polar", "There is no time to leave by, because it is light enough to watch all night."),
        ("polar", "The sun does not set that day: it stays above the level horizon."),
        (
            "without lookouts",
            "About 80 % is steeper than 25°, about 10 % lies nearer than 490 yd to ground that the animals use.",
        ),
        ("blind", "Nothing of any pocket shows from there; that says nothing about what is in them."),
        ("blind", "The best place found is lookout L1"),
    ],
)
def test_what_is_said_when_something_is_missing(variant, words):
    assert words in told(tell_plan(VARIANTS[variant](), "us"))


def test_light_in_the_order_of_the_clock_even_when_legal_light_comes_first():
    early = sample_light().model_copy(
        update={"legal_from": dt.datetime(2026, 8, 27, 11, 50, 8, tzinfo=dt.UTC)}
    )
    for light in (sample_light(), early):
        text = " ".join(the_light(light, sample_facts()).sentences)
        times = re.findall(r"\d\d:\d\d", text)
        assert times == sorted(times)
        assert len(times) == 10


def test_a_moment_of_another_day_says_so():
    late = sample_light().model_copy(update={"nautical_dusk": dt.datetime(2026, 8, 28, 6, 20, tzinfo=dt.UTC)})
    assert "00:20 MDT the next day" in " ".join(the_light(late, sample_facts()).sentences)
    plan = sample_plan()
    way = plan.approaches[0].model_copy(update={"leave_by": dt.datetime(2026, 8, 27, 5, 33, tzinfo=dt.UTC)})
    text = told(tell_plan(plan.model_copy(update={"approaches": [way]}), "us"))
    assert "by 23:30 MDT the day before" in text


def light_at(lat: float, day: dt.date) -> tuple[Light, CountryFacts]:
    """The almanac's light of a place in Norway, or as far south, as a plan has it."""
    almanac = light_of_day(LonLat(25.0, lat), day)
    moments = {name: getattr(almanac, name) for name in LIGHT_NAMES}
    light = Light(**moments, declination_deg=None, declination_model=None)
    return light, sample_facts().model_copy(update={"south": lat - 0.05, "north": lat + 0.05})


LIGHT_NAMES = [name for name in Light.model_fields if not name.startswith("declination")]
STAYS_UP, STAYS_DOWN = "The sun does not set that day", "The sun does not rise that day"
ALL_NIGHT, TOO_DARK = "It is light enough to watch all night", "it stays too dark to watch"


@pytest.mark.parametrize(
    ("lat", "day", "said", "unsaid"),
    [
        # the sun's greatest height at noon is 90 - |lat - declination|, its height at midnight |lat + declination| - 90
        (70.0, (6, 21), [STAYS_UP, ALL_NIGHT], [STAYS_DOWN, TOO_DARK]),  # declination 23.4: midnight at +3.4
        (70.0, (12, 21), [STAYS_DOWN, "Usable light "], [STAYS_UP, ALL_NIGHT, TOO_DARK]),  # noon at -3.4
        (80.0, (12, 21), [STAYS_DOWN, TOO_DARK], [STAYS_UP, ALL_NIGHT]),  # noon at -13.4
        (62.0, (6, 21), [ALL_NIGHT, "Sunset "], [STAYS_UP, STAYS_DOWN, TOO_DARK]),  # midnight at -4.6
        (
            83.0,
            (3, 19),
            [ALL_NIGHT, "Sunset "],
            [STAYS_UP, STAYS_DOWN, TOO_DARK],
        ),  # declination -0.5: midnight at -7.5
        (45.0, (6, 21), ["Usable light ", "Sunset "], [STAYS_UP, STAYS_DOWN, ALL_NIGHT, TOO_DARK]),
        (-70.0, (12, 21), [STAYS_UP, ALL_NIGHT], [STAYS_DOWN, TOO_DARK]),
        (-70.0, (6, 21), [STAYS_DOWN], [STAYS_UP, ALL_NIGHT, TOO_DARK]),
    ],
)
def test_midnight_sun_white_nights_and_polar_night_are_told_apart(lat, day, said, unsaid):
    text = " ".join(the_light(*light_at(lat, dt.date(2026, *day))).sentences).lower()
    for words in said:
        assert words.lower() in text
    for words in unsaid:
        assert words.lower() not in text


def test_a_sun_that_only_sets():
    half = polar_light().model_copy(update={"sunset": dt.datetime(2026, 8, 28, 2, 4, 6, tzinfo=dt.UTC)})
    text = " ".join(the_light(half, sample_facts()).sentences)
    assert "There is no sunrise that day." in text
    assert "Sunset 20:04 MDT" in text


def test_a_way_without_a_way_back_is_told_as_such():
    plan = sample_plan()
    way = plan.approaches[0].model_copy(update={"back_seconds": None})
    text = told(tell_plan(plan.model_copy(update={"approaches": [way]}), "us"))
    assert "No way back on foot was found" in text


def test_edits_are_told():
    text = told(
        tell_plan(sample_plan().model_copy(update={"edits_applied": ["lookout L2 was moved by you"]}), "us")
    )
    assert "Lookout L2 was moved by you." in text


def test_twins_in_name_are_told_apart():
    plan = sample_plan()
    twins = [plan.pockets[0], plan.pockets[1].model_copy(update={"name": plan.pockets[0].name})]
    text = told(tell_plan(plan.model_copy(update={"pockets": twins}), "us"))
    assert "1. Cañada Côte Bowl (P1)" in text
    assert "2. Cañada Côte Bowl (P2)" in text
    assert "Nothing shows of Cañada Côte Bowl (P2)." in text


def test_a_way_out_goes_by_the_name_of_its_saddle():
    assert "Pushed, they may go north-west over Kindling Gap." in told(tell_plan(sample_plan(), "us"))


def test_many_hidden_pockets_are_counted_not_listed():
    plan = sample_plan()
    many = [plan.pockets[1].model_copy(update={"id": f"Q{i}", "rank": i + 1}) for i in range(1, 20)]
    text = told(tell_plan(plan.model_copy(update={"pockets": [plan.pockets[0], *many]}), "us"))
    assert "Nothing shows of the other 19 pockets." in text


def test_pockets_beyond_what_a_lookout_reports_are_hidden_too():
    plan = sample_plan()
    seat = plan.lookouts[0]
    near = seat.model_copy(update={"sees": seat.sees[:1]})
    text = " ".join(tell_plan(plan.model_copy(update={"lookouts": [near]}), "us")[0].sentences)
    assert "Nothing shows of pocket P2." in text


def many_pockets(count: int) -> Plan:
    """A plan with so many pockets, of which the lookouts show the first and one of the last ranks only."""
    plan = sample_plan()
    first, second = plan.pockets[:2]
    rest = [first.model_copy(update={"id": f"Q{i}", "name": None, "rank": i}) for i in range(2, count)]
    last = second.model_copy(update={"rank": count})
    return plan.model_copy(update={"pockets": [first, *rest, last]})


def test_what_the_lookouts_show_is_told_even_when_its_rank_is_low():
    headings = [p.heading for p in tell_plan(many_pockets(12), "us") if p.run_in]
    assert headings[:8] == [
        "1. Cañada Côte Bowl",
        *(f"{i}. Pocket Q{i}" for i in range(2, 8)),
        "12. Pocket P2",
    ]


def test_five_pockets_in_full_and_the_others_in_short():
    pockets = {p.heading: " ".join(p.sentences) for p in tell_plan(many_pockets(12), "us") if p.run_in}
    full = [heading for heading, text in pockets.items() if "Look first" in text]
    assert full == ["1. Cañada Côte Bowl", "2. Pocket Q2", "3. Pocket Q3", "4. Pocket Q4", "12. Pocket P2"]
    assert "Chance about 35 %" in pockets["5. Pocket Q5"]
    assert "For it:" in pockets["5. Pocket Q5"]


@pytest.mark.parametrize("count", [3, 12, 40])
def test_a_pocket_takes_seven_lines_at_most(count):
    for paragraph in tell_plan(many_pockets(count), "us"):
        if paragraph.run_in and paragraph.heading[0].isdigit():
            assert len(plain([paragraph], 80).splitlines()) <= 7


def test_coordinates_once_for_each_seat_and_none_for_pockets():
    text = told(tell_plan(sample_plan(), "us"))
    assert re.findall(r"-?\d+\.\d{5}, -?\d+\.\d{5}", text) == ["39.30216, -111.49861", "39.28650, -111.49187"]


def test_a_pocket_in_view_has_its_bearings_and_a_hidden_one_its_side():
    plan = many_pockets(3)
    text = {p.heading: p.sentences[0] for p in tell_plan(plan, "us")}
    assert text["1. Cañada Côte Bowl"].endswith("0.7 mi from L1 at 284° magnetic (294° true).")
    assert text["2. Pocket Q2"].endswith("0.7 mi north-west of L1, hidden.")
    alone = {p.heading: p.sentences[0] for p in tell_plan(plan.model_copy(update={"lookouts": []}), "us")}
    assert alone["2. Pocket Q2"].endswith("of the middle of the country.")


def test_the_worst_fact_is_told_even_when_none_is_bad():
    plan = sample_plan()
    text = told(tell_plan(plan, "us"))
    assert "Weakest: shaded beds within a short walk." in text
    assert "Against it" not in text


def test_a_fact_that_all_share_is_told_once():
    plan = many_pockets(6)
    cold = (
        plan.pockets[0].reasons[0].model_copy(update={"fact": "cold_side", "words": "a cold side to lie on"})
    )
    pockets = [one.model_copy(update={"reasons": [cold, *one.reasons]}) for one in plan.pockets]
    text = told(tell_plan(plan.model_copy(update={"pockets": pockets}), "us"))
    assert text.count("a cold side to lie on") == 1
    assert "All have a cold side to lie on." in text


def test_beds_in_one_sentence_against_a_flat_reckoning():
    """Beds laid 400, 600 and 800 m to the east of the middle: 437, 656 and 875 yd at 0.9144 m."""
    plan = sample_plan()
    first = plan.pockets[0]
    metre = 1.0 / (111_320.0 * math.cos(math.radians(first.centre.lat)))
    beds = [
        first.beds[0].model_copy(
            update={
                "id": f"b{off}",
                "words": "timber, facing east",
                "place": first.centre.model_copy(update={"lon": first.centre.lon + off * metre}),
            }
        )
        for off in (400, 600, 800)
    ]
    pockets = [first.model_copy(update={"beds": beds})]
    changed = plan.model_copy(update={"pockets": pockets})
    assert "Three beds in timber, 440 to 880 yd east." in told(tell_plan(changed, "us"))
    assert "Three beds in timber, 400 to 800 m east." in told(tell_plan(changed, "metric"))


def test_hazards_of_every_way_are_told_and_advice_only_once():
    plan = sample_plan()
    way = plan.approaches[0].model_copy(update={"hazards": ["at the start: deep water: it may be high"]})
    hazards = ["about 1 h in: deep water: it may be high", "about 2 h in: above cliffs: keep well back"]
    other = way.model_copy(update={"lookout": "L2", "hazards": hazards})
    text = told(tell_plan(plan.model_copy(update={"approaches": [way, other]}), "us"))
    assert "At the start: deep water: it may be high." in text
    assert "About 1 h in: deep water. About 2 h in: above cliffs: keep well back." in text


def test_lookouts_that_no_set_needs_take_a_line_each():
    plan = sample_plan()
    second = plan.lookouts[1]
    spare = [second.model_copy(update={"id": f"L{i}", "walk_seconds": 9000.0}) for i in range(3, 9)]
    changed = plan.model_copy(update={"lookouts": [*plan.lookouts, *spare]})
    other = next(p for p in tell_plan(changed, "us") if p.heading == "Other lookouts")
    lines = [words for words in other.sentences if re.match(r"L\d, ", words)]
    assert len(lines) == 3
    assert all(len(line) <= 80 for line in lines)
    assert "The plan's file has three more." in other.sentences


@pytest.mark.parametrize(
    ("metric", "us"),
    [
        ("feed at 3105 m", "feed at 10,190 ft"),
        ("300 m below the tops", "980 ft below the tops"),
        ("clear by 14 m", "clear by 50 ft"),
        ("ground stands in the way 120 m before it", "ground stands in the way 130 yd before it"),
        ("water within 1.2 km", "water within 0.7 mi"),
        ("12 hectares of feed, 63 % green", "30 acres of feed, 63 % green"),
        ("above 2,500 m (8,200 ft)", "above 2,500 m (8,200 ft)"),
        ("cells of 90 m", "cells of 90 m"),
        ("150 to 300 m off", "150 to 300 m off"),
        ("slope 12 degrees, 40 min on foot", "slope 12 degrees, 40 min on foot"),
    ],
)
def test_metric_words_of_the_stages_are_told_in_feet(metric, us):
    assert in_units(metric, "us") == us
    assert in_units(metric, "metric") == metric


def test_a_country_can_be_told_with_its_open_folder():
    class Open:
        record = ("the roads layer held nothing",)
        settings = Settings(units="metric")

    text = told(tell_country(sample_facts(), Open()))
    assert "The roads layer held nothing." in text
    assert "2,310 m" in text


def test_a_look_names_pockets_when_told_their_names():
    assert "of what uses pocket P1" in told(tell_look(sample_look(), "us"))
    assert "of what uses Cañada Côte Bowl" in told(tell_look(sample_look(), "us", {"P1": "Cañada Côte Bowl"}))


def test_a_look_tells_ground_and_parts():
    text = told(tell_look(sample_look(), "us"))
    assert "Slope 12°, facing north-west; cover grass." in text
    assert "clear about 20 %, touch-and-go about 5 %, blocked about 75 %" in text
    assert "look.png" in text
    blind = told(tell_look(blind_look(), "us"))
    assert "cover not known" in blind
    assert "No ground was looked at." in blind
    nothing = sample_look().model_copy(update={"sees": []})
    assert "No pocket lies within the distance looked at." in told(tell_look(nothing, "us"))


def test_a_country_tells_what_was_done():
    text = told(tell_country(sample_facts(), ["three roads"]))
    assert "12 cells of nodata filled" in text
    assert "7,580 ft to 11,520 ft" in text  # 2310.0 and 3512.4 m / 0.3048 = 7578.7 and 11523.6
    assert "Three roads." in text


@pytest.mark.parametrize("width", [20, 40, 72, 100])
def test_plain_text_keeps_to_its_width(width):
    paragraphs = tell_plan(sample_plan(), "us")
    lines = plain(paragraphs, width).splitlines()
    assert max(map(len, lines)) <= width
    words = re.sub(r"\n-+\n", "\n", plain(paragraphs, width)).split()
    assert words == re.sub(r"\n-+\n", "\n", told(paragraphs)).split()


def test_plain_text_of_nothing():
    assert plain([], 80) == ""
    assert plain([Paragraph(None, ["One.", "Two."])], 80) == "One. Two.\n"
    assert plain([Paragraph("A", [])], 80) == "A\n-\n"


def test_small_words():
    assert sentence("") == ""
    assert sentence("already done.") == "Already done."
    assert listed([]) == ""
    assert listed(["a", "b"]) == "a and b"
    assert counted(0, "bed") == "no beds"
    assert counted(1, "box", "boxes") == "one box"
    assert counted(12, "box", "boxes") == "12 boxes"


# --- a look's line, and where it lies ---------------------------------------------------------------------------


def line_of(**more):
    told = SightLine(
        place=sample_look().place, distance_m=1800, straight_m=1810.0, bearing_true_deg=90.0, bearing_magnetic_deg=None,
        up_deg=-3.0, answer="hidden", margin_m=-847.0, closest_m=594.0, rise_m=1293.0, light=Share(low=0.0, likely=0.0, high=0.0),
    ).model_copy(update=more)  # fmt: skip
    look = sample_look().model_copy(update={"line": told})
    return " ".join(next(p for p in tell_look(look, "us") if p.heading == "The line of sight").sentences)


def test_a_hidden_end_is_said_to_be_behind_the_ground_and_no_eye_is_raised_to_the_sky():
    words = line_of()
    assert "It is hidden behind the ground 650 yd out." in words  # 594 m = 650 yd
    assert "higher" not in words
    assert "The eye would have to be" in line_of(rise_m=12.0)


def test_a_look_from_inside_a_pocket_says_so():
    look = sample_look().model_copy(update={"lies_in": "P9"})
    words = " ".join(tell_look(look, "us")[0].sentences)
    assert "It lies in pocket P9: animals there would see or smell you." in words
    assert "lies in pocket" not in " ".join(tell_look(sample_look(), "us")[0].sentences)
