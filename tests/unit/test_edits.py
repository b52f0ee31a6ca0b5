"""What the person says enters the stages: pockets and lookouts of their own, dropped, moved, named; settings; starts."""

from __future__ import annotations

import datetime as dt
import json
import shutil

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from graylight.cli.main import main
from graylight.country.folder import Country
from graylight.country.rows import Rows
from graylight.grid import LonLat, distance_m
from graylight.habitat.drawn import drawn_pocket
from graylight.habitat.habitat import ALIKE, dawn_use, found_habitat, settled
from graylight.habitat.pockets import worth_keeping
from graylight.habitat.profile import shipped
from graylight.plan.edits import Edits, Own, edited, read_edits
from graylight.plan.ids import Given, given_before
from graylight.plan.keeping import IDS, kept_plan, make_plan, plan_text
from graylight.plan.looking import look_from, ready_to_look
from graylight.plan.own import DROPPED, chosen_pockets
from graylight.plan.pocket_facts import outline_of
from graylight.plan.stages_kept import Kept
from graylight.telling.paragraph import plain
from graylight.telling.plan import tell_plan
from tests.unit.small_land import CELL_M, land_of, two_bowls

DEER = shipped("mule-deer-summer")


class Person:
    """Someone who says things about a country and has it planned on again."""

    def __init__(self, folder):
        self.folder = folder
        self.rows = Rows(Country.open(folder))
        self.kept = Kept()
        self.before = self.plan()

    @property
    def country(self):
        return edited(Country.open(self.folder))

    def says(self, what, target="", value=None, shape=None):
        return self.rows.add("edits", shape, what=what, target=target, value=value)

    def plan(self):
        return make_plan(self.country, kept=self.kept).plan

    def point(self, place, east=0.0, north=0.0):
        x, y = self.country.grid.xy(*self.country.grid.rowcol(LonLat(place.lon, place.lat)))
        return shapely.Point(x + east, y + north)

    def takes_all_back(self):
        while self.rows.undo() is not None:
            pass


@pytest.fixture(scope="module")
def home(small, tmp_path_factory):
    folder = tmp_path_factory.mktemp("edits") / "country"
    shutil.copytree(small, folder)
    return Person(folder)


@pytest.fixture
def person(home):
    home.before = home.plan()
    yield home
    home.takes_all_back()


def by_id(things):
    return {one.id: one for one in things}


def applied(plan, words):
    return any(words in told for told in plan.edits_applied)


# --- pockets -------------------------------------------------------------------------------------------------------


def test_a_dropped_pocket_is_shown_but_neither_ranked_nor_watched(person):
    first = person.before.pockets[0]
    others = {p.id for p in person.before.pockets} - {first.id}
    person.says("drop", first.id)
    plan = person.plan()
    gone = by_id(plan.pockets)[first.id]
    assert (gone.shut, gone.rank, gone.chance) == (DROPPED, 0, 0.0)
    assert gone.outline == first.outline
    assert {p.id for p in plan.pockets} == {first.id, *others}
    ranked = [p for p in plan.pockets if p.shut is None]
    assert len(ranked) == sum(p.shut is None for p in person.before.pockets) - 1
    assert [p.rank for p in ranked] == list(range(1, len(ranked) + 1))
    assert applied(plan, f"pocket {first.id} dropped by you: it is shown, but neither ranked nor watched")
    told = plain(tell_plan(plan, "us"), 10_000)
    assert "(dropped by you)" in told


def test_taken_back_the_plan_is_as_it_was_to_the_byte(person):
    before = plan_text(person.before)
    first = person.before.pockets[0]
    with person.rows.together():
        person.says("drop", first.id)
        person.says("add", "", "Mine", person.point(first.centre, 300, 0))
        person.says("set", "date", "2026-09-12")
    assert plan_text(person.plan()) != before
    person.rows.undo()
    assert plan_text(person.plan()) == before


def test_a_pocket_with_another_outline_keeps_its_id_and_gives_its_place_up(person):
    first = person.before.pockets[0]
    x, y = person.point(first.centre).coords[0]
    ring = shapely.box(x - 150, y - 150, x + 150, y + 150)
    person.says("redraw", first.id, shape=ring)
    plan = person.plan()
    mine = by_id(plan.pockets)[first.id]
    assert mine.own
    assert mine.area_m2 == pytest.approx(ring.area, rel=0.1)
    drawn = shapely.Polygon(mine.outline[0])
    assert len(by_id(plan.pockets)) == len(plan.pockets) == len(person.before.pockets)
    assert all(
        shapely.Point(s.place.lon, s.place.lat).within(drawn.buffer(1e-4)) for s in [*mine.feed, *mine.beds]
    )
    assert applied(plan, f"pocket {first.id} redrawn by you")
    assert plan.pockets == person.plan().pockets  # and so again


def test_a_pocket_added_has_an_id_that_no_redrawing_changes(person):
    first = person.before.pockets[0]
    x, y = person.point(first.centre).coords[0]
    row = person.says("add", "", "My bowl", shapely.box(x - 900, y - 700, x - 300, y - 100))
    mine = [p for p in person.plan().pockets if p.own]
    assert [(p.name, p.shut) for p in mine] == [("My bowl", None)]
    assert mine[0].id not in by_id(person.before.pockets)
    assert mine[0].chance > 0
    assert mine[0].reasons[0].fact == "feed"
    person.rows.change("edits", row.id, geometry=shapely.box(x + 100, y - 900, x + 700, y - 300))
    assert [p.id for p in person.plan().pockets if p.own] == [mine[0].id]
    person.says("drop", mine[0].id)
    gone = by_id(person.plan().pockets)[mine[0].id]
    assert (gone.shut, gone.own) == (DROPPED, True)


def test_names_are_the_persons(person):
    pocket, lookout = person.before.pockets[0].id, person.before.lookouts[0].id
    person.says("rename", pocket.lower(), "Long draw")
    person.says("rename", lookout, "Raven seat")
    plan = person.plan()
    assert by_id(plan.pockets)[pocket].name == "Long draw"
    assert by_id(plan.lookouts)[lookout].name == "Raven seat"
    told = plain(tell_plan(plan, "us"), 10_000)
    assert "Long draw" in told
    assert f"{lookout} (Raven seat)" in told


@pytest.fixture(scope="module")
def bowls():
    z, kind = two_bowls()
    land = land_of(z, kind)
    return land, found_habitat(land, DEER)


class Flat:
    """A grid whose degrees are its cells: for outlines without a place on earth."""

    shape = (140, 240)

    def lonlats(self, rows, cols):
        return np.column_stack([cols, rows])


def test_an_accepted_pocket_stays_where_it_would_be_too_poor(bowls, monkeypatch):
    land, found = bowls
    assert len(found.made) >= 2
    monkeypatch.setattr("graylight.habitat.pockets.KEPT", 1)
    given = Given(pockets={"P7": outline_of(found.made[1].pocket, Flat())}, highest={"P": 7})

    def ids(**said):
        return chosen_pockets(found, land, DEER, edits=Edits(**said), given=given, grid=Flat()).ids

    assert ids() == ("P8",)
    assert ids(accepted=frozenset({"P7"})) == ("P8", "P7")
    assert ids(accepted=frozenset({"P99"})) == ("P8",)


def test_an_outline_drawn_as_found_holds_the_same_facts(bowls):
    """Measured by the same rules: the found pocket's own ground, drawn by hand, scores as it did within a few hundredths."""
    land, found = bowls
    one = found.made[0]
    ground = np.zeros(land.elevation_m.shape, bool)
    ground[one.frame.cut] = one.body
    drawn = drawn_pocket(ground, one.pocket.outline, found.parts, found.going, land, DEER)
    assert drawn.pocket.score == pytest.approx(one.pocket.score, abs=0.05)
    assert drawn.pocket.area_m2 == one.pocket.area_m2
    assert {s.kind for s in (*drawn.pocket.feed, *drawn.pocket.beds)} == {"feed", "bed"}


def test_an_outline_around_nothing_is_a_pocket_all_the_same(bowls):
    """Its facts say that the layers show nothing there, and all of its ground is watched alike."""
    land, found = bowls
    ground = np.zeros(land.elevation_m.shape, bool)
    ground[5:20, 100:125] = True
    parts = found.parts
    bare = type(parts)(
        parts.band, parts.quiet, parts.feed * ~ground, parts.bed * ~ground, parts.feed_from, parts.bed_from
    )
    made = drawn_pocket(
        ground,
        (np.array([[5, 100], [5, 125], [20, 125], [20, 100], [5, 100]], float),),
        bare,
        found.going,
        land,
        DEER,
    )
    assert (made.pocket.feed, made.pocket.beds, made.pocket.crossings) == ((), (), ())
    assert [f.words for f in made.pocket.facts[:2]] == [
        "no feed that the layers show",
        "no bed place that the layers show",
    ]
    assert 0 < made.pocket.score < 0.05
    lived = settled(type(found)(bare, found.band, found.going, ()), [made])
    use = dawn_use(lived, DEER, CELL_M)
    assert (use[ground] == ALIKE).all()
    assert not use[~ground].any()


@given(st.integers(0, 139), st.integers(0, 239), st.integers(1, 60), st.integers(1, 60))
@settings(max_examples=25)
def test_any_outline_is_measured(bowls, top, left, tall, wide):
    """Down to one cell, and at the country's edge."""
    land, found = bowls
    ground = np.zeros(land.elevation_m.shape, bool)
    ground[top : top + tall, left : left + wide] = True
    made = drawn_pocket(ground, (), found.parts, found.going, land, DEER)
    assert made.pocket.area_m2 == ground.sum() * CELL_M**2
    assert 0.0 < made.pocket.score <= 1.0
    assert ground[made.pocket.row, made.pocket.col]
    assert all(ground[s.row, s.col] for s in (*made.pocket.feed, *made.pocket.beds, *made.pocket.crossings))


def test_found_pockets_inside_an_own_one_give_way_to_it(bowls):
    """One outline around both bowls: one pocket. Dropped again, the found ones are back and have their ground."""
    land, found = bowls
    whole = shapely.box(0, 0, 240, 140)
    one = Own("P9", whole, "added")

    class Near(Flat):
        transform = (1.0, 0.0, 0.0, 0.0, -1.0, 140.0)

    def chosen(**said):
        return chosen_pockets(
            found, land, DEER, edits=Edits(own=(one,), **said), given=Given(highest={"P": 9}), grid=Near()
        )

    together = chosen()
    assert together.ids == ("P9",)
    assert (together.habitat.labels == 1).all()
    apart = chosen(dropped=frozenset({"P9"}))
    assert apart.ids[-1] == "P9"
    assert len(apart.ids) == 1 + len(worth_keeping(found.made))
    assert (apart.habitat.labels == 1).sum() == found.made[0].body.sum()


def test_an_outline_around_unknown_ground_is_none(bowls):
    land, found = bowls
    assert (
        drawn_pocket(np.zeros(land.elevation_m.shape, bool), (), found.parts, found.going, land, DEER) is None
    )


# --- lookouts ------------------------------------------------------------------------------------------------------


def test_a_lookout_added_is_told_with_what_a_look_from_there_tells(person):
    """The same shares as `graylight look` gives for the place; and the program's own sets are as they were."""
    best = person.before.lookouts[0]
    row = person.says("add", "", "Raven seat", person.point(best.place, 330, -80))
    plan = person.plan()
    (mine,) = [one for one in plan.lookouts if one.own]
    assert mine.name == "Raven seat"
    assert mine.id not in by_id(person.before.lookouts)
    looked = look_from(ready_to_look(person.country, plan), LonLat(mine.place.lon, mine.place.lat)).look
    assert mine.sees == [one for one in looked.sees if one.share.high > 0]
    assert mine.walk_seconds == looked.walk_seconds
    assert [w.lookout for w in plan.approaches].count(mine.id) == 1
    assert plan.sets == person.before.sets
    assert any(r.words == "added by you" for r in mine.reasons)
    person.rows.change("edits", row.id, geometry=person.point(best.place, -400, 60))
    assert [one.id for one in person.plan().lookouts if one.own] == [mine.id]


def test_sets_are_made_about_an_accepted_lookout(person):
    last = person.before.lookouts[-1]
    person.says("accept", last.id)
    plan = person.plan()
    assert all(last.id in one.lookouts for one in plan.sets)
    assert by_id(plan.lookouts)[last.id].own
    assert [one.k for one in plan.sets] == list(range(1, len(plan.sets) + 1))
    for one in plan.sets:
        assert one.covered <= one.bound + 1e-9
    covered = [one.covered for one in plan.sets]
    assert covered == sorted(covered)
    free = {one.k: one for one in person.before.sets}
    assert all(one.covered <= free[one.k].bound + 1e-3 for one in plan.sets if one.k in free)


def test_a_moved_lookout_keeps_its_id_and_leaves_its_place(person):
    best = person.before.lookouts[0]
    target = person.point(best.place, 700, 100)
    person.says("move", best.id, shape=target)
    plan = person.plan()
    moved = by_id(plan.lookouts)[best.id]
    assert person.point(moved.place).distance(target) < 0.01  # both are middles of cells
    old = LonLat(best.place.lon, best.place.lat)
    others = [one for one in plan.lookouts if one.id != best.id]
    assert all(distance_m(old, LonLat(one.place.lon, one.place.lat)) > 240 for one in others)
    assert applied(plan, f"lookout {best.id} moved by you")


def test_no_lookout_stands_where_one_was_dropped(person):
    best = person.before.lookouts[0]
    person.says("drop", best.id)
    plan = person.plan()
    old = LonLat(best.place.lon, best.place.lat)
    assert best.id not in by_id(plan.lookouts)
    assert plan.lookouts
    assert all(distance_m(old, LonLat(one.place.lon, one.place.lat)) > 240 for one in plan.lookouts)


def test_a_lookout_on_ground_that_the_plan_would_not_choose_says_why(person):
    pocket = person.before.pockets[0]
    person.says("add", shape=person.point(pocket.feed[0].place))
    (mine,) = [one for one in person.plan().lookouts if one.own]
    assert any(
        "the plan by itself would not sit here" in r.words and "animals use" in r.words for r in mine.reasons
    )


def test_a_lookout_held_to_is_told_even_when_every_pocket_was_dropped(person):
    for pocket in person.before.pockets:
        person.says("drop", pocket.id)
    seat = person.before.lookouts[0]
    person.says("accept", seat.id)
    plan = person.plan()
    assert [(one.id, one.own) for one in plan.lookouts] == [(seat.id, True)]
    assert all(p.shut is not None for p in plan.pockets)
    assert [one.covered for one in plan.sets] == [0.0]


# --- starts and settings -------------------------------------------------------------------------------------------


def test_only_chosen_starts_are_used(person):
    names = {w.start.name for w in person.before.approaches}
    wanted = sorted(names)[0]
    person.says("accept", wanted)
    person.says("accept", "No such gate")
    plan = person.plan()
    assert {w.start.name for w in plan.approaches} == {wanted}
    assert applied(plan, f"start {wanted!r} chosen by you: only chosen ones are used")
    assert applied(plan, "start 'No such gate' chosen by you, but no start on open ground goes by that name")


def test_settings_said_go_before_the_file_and_the_last_word_counts(person):
    for key, value in [("date", "2026-09-01"), ("units", "metric"), ("date", "2026-09-12"), ("sight.radius_m", "2500"),
                       ("walk.pace_factor", "1.1"), ("start", "")]:  # fmt: skip
        person.says("set", key, value)
    settings = person.country.settings
    assert (settings.date, settings.units, settings.start) == (dt.date(2026, 9, 12), "metric", None)
    assert (settings.sight.radius_m, settings.walk.pace_factor) == (2500.0, 1.1)
    assert Country.open(person.folder).settings.units == "us"  # the file is as it was
    edits = read_edits(Country.open(person.folder), Given())
    assert dict(edits.settings)["date"] == "2026-09-12"
    assert edits.unread == ()


def test_commands_hear_what_was_said_and_their_own_options_go_before(person, capsys):
    person.says("set", "date", "2026-09-12")
    person.says("drop", person.before.pockets[0].id)
    assert main(["plan", str(person.folder), "--json"]) == 0
    plan = json.loads(capsys.readouterr().out)
    assert plan["light"]["date"] == "2026-09-12"
    assert plan["edits_applied"][0] == "the morning planned for set to 2026-09-12 by you"
    assert main(["plan", str(person.folder), "--date", "2026-09-05", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["light"]["date"] == "2026-09-05"
    person.kept.written.clear()


# --- what can't be used --------------------------------------------------------------------------------------------

# shapes in metres from the country's south-west corner
NO_USE = [
    ("fly", "P1", None, None, "accepted are accept, drop"),
    ("", "", None, None, "'nothing'"),
    ("drop", "Q9", None, None, "accepted is the id of a pocket"),
    ("drop", "P0", None, None, "accepted is the id of a pocket"),
    ("drop", "", None, None, "accepted is the id of a pocket"),
    ("accept", "", None, None, "or the name of a start"),
    ("rename", "P1", "", None, "the name is empty or too long"),
    ("rename", "P1", "x" * 81, None, "the name is empty or too long"),
    ("redraw", "P1", None, None, "its outline is missing"),
    ("redraw", "L1", None, shapely.box(100, 100, 300, 300), "accepted is the id of a pocket"),
    ("add", "", None, None, "its outline is missing"),
    ("add", "", None, shapely.LineString([(0, 0), (50, 50)]), "its outline is missing"),
    ("add", "", None, shapely.box(100, 100, 101, 101), "less than a cell"),
    ("add", "", None, shapely.box(-9000, 0, -8000, 900), "lies outside the country"),
    ("add", "", None, shapely.Point(-5000, 0), "lies outside the country"),
    ("move", "P1", None, shapely.Point(500, 500), "accepted is the id of a lookout"),
    ("move", "L1", None, shapely.box(0, 0, 90, 90), "its place is missing"),
    ("set", "colour", "blue", None, "no setting is called 'colour'"),
    ("set", "lookouts", "2.5", None, "a whole number"),
    ("set", "lookouts", "many", None, "a whole number"),
    ("set", "", "x", None, "not used: ''"),
    ("set", "a.b.c", "1", None, "no setting is called so"),
    ("set", "sight", "1", None, "not used: 'sight'"),
    ("set", "animal", "dragon", None, "unknown animal"),
    ("set", "start", "nowhere", None, "not used: the start of the walk"),
    ("set", "start", "10.0, 10.0", None, "lies outside the country"),
    ("set", "date", "2026-02-30", None, "accepted is a date YYYY-MM-DD"),
]


def test_what_cant_be_used_is_told_and_the_plan_is_made(person):
    west, south, _, _ = person.country.grid.bounds
    for what, target, value, shape, _ in NO_USE:
        moved = None if shape is None else shapely.transform(shape, lambda xy: np.add(xy, (west, south)))
        person.says(what, target, value, moved)
    plan = person.plan()
    for what, target, _, _, words in NO_USE:
        assert any(words in told and told.startswith("not used: ") for told in plan.edits_applied), (
            what,
            target,
        )
    assert plan.model_copy(update={"edits_applied": []}) == person.before
    assert all("\n" not in told for told in plan.edits_applied)


def test_what_is_gone_is_told(person):
    for what, target in [("drop", "P77"), ("accept", "P78"), ("drop", "L77"), ("accept", "L78")]:
        person.says(what, target)
    person.says("rename", "L79", "Nobody")
    assert person.plan().edits_applied == [
        "pocket P78 accepted by you, but there is no such pocket now",
        "pocket P77 dropped by you; there is no such pocket now",
        "lookout L78 accepted by you, but there was no such lookout",
        "lookout L77 dropped by you, but there was no such lookout",
        "lookout L79 named 'Nobody' by you, but it is not in this plan",
    ]


def test_a_shape_that_another_program_spoilt_is_told(person):
    import sqlite3
    from contextlib import closing

    row = person.says("add", shape=person.point(person.before.lookouts[0].place))
    with closing(sqlite3.connect(person.folder / "country.gpkg")) as db, db:
        db.execute("UPDATE edits SET geom = x'47500001' WHERE fid = ?", (row.id,))
    assert applied(person.plan(), f"not used: 'add' (row {row.id} of the edits)")


def test_later_words_go_before_earlier_ones(person):
    first = person.before.pockets[0].id
    person.says("drop", first)
    person.says("accept", first)
    plan = person.plan()
    assert by_id(plan.pockets)[first].shut is None
    assert by_id(plan.pockets)[first].own
    person.says("drop", first)
    assert by_id(person.plan().pockets)[first].shut == DROPPED


# --- quick replans -------------------------------------------------------------------------------------------------


def files_of(folder):
    return {
        p.relative_to(folder).as_posix(): p.read_bytes()
        for d in ("plan", "layers")
        for p in sorted((folder / d).iterdir())
    }


def test_what_is_kept_in_memory_changes_no_byte(person, tmp_path):
    """After each change the files are those that a run without anything kept writes into a copy."""
    pocket, lookout = person.before.pockets[0], person.before.lookouts[0]
    x, y = person.point(pocket.centre).coords[0]
    changes = [
        [("drop", pocket.id), ("add", "", "Seat", person.point(lookout.place, 330, -80))],
        [("move", lookout.id, None, person.point(lookout.place, 60, 0)),
         ("add", "", "Bowl", shapely.box(x - 900, y - 700, x - 300, y - 100))],
        [("set", "date", "2026-09-12"), ("set", "sight.radius_m", "2500"), ("set", "animal", "elk-fall")],
    ]  # fmt: skip
    for i, said in enumerate(changes):
        for words in said:
            person.says(*words)
        person.plan()
        copy = tmp_path / str(i)
        shutil.copytree(person.folder, copy)
        person.plan()  # with nothing changed: nothing is done, and nothing is lost
        make_plan(edited(Country.open(copy)))
        assert files_of(copy) == files_of(person.folder), said


def test_only_what_hangs_on_a_change_is_done_again(person, monkeypatch):
    done = []

    def get(self, stage, key, work, _get=Kept.get):
        return _get(self, stage, key, lambda: (done.append(stage), work())[1])

    monkeypatch.setattr(Kept, "get", get)

    def after(*said):
        done.clear()
        person.says(*said)
        person.plan()
        return set(done)

    lookout, pocket = person.before.lookouts[0], person.before.pockets[0]
    assert after("rename", pocket.id, "Long draw") == set()
    assert after("add", "", "Seat", person.point(lookout.place, 330, -80)) == set()
    assert after("drop", lookout.id) == {"siting"}
    assert after("drop", pocket.id) == {"windows", "siting"}
    assert after("set", "date", "2026-09-12") <= {"shade", "habitat", "windows", "siting"}
    assert "walk" in after("set", "walk.pace_factor", "1.3")
    assert "ground" not in done


def test_another_programs_layers_are_written_over_again(person):
    """A layer changed on the disk since is not taken for the one that was written."""
    before = files_of(person.folder)
    layer = person.folder / "layers" / "slope.tif"
    layer.write_bytes(b"spoilt")
    person.plan()
    assert files_of(person.folder) == before


def test_ids_of_own_things_are_kept_beside_the_plan(person):
    row = person.says("add", shape=person.point(person.before.lookouts[0].place, 330, -80))
    plan = person.plan()
    (mine,) = [one.id for one in plan.lookouts if one.own]
    given = given_before(person.country.read_text(IDS))
    assert given.own[f"L:{row.id}"] == mine
    assert kept_plan(person.country) == plan
