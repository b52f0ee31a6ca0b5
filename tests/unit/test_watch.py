"""`graylight watch`: from where marks show, the best seats, and what is asked wrongly."""

from __future__ import annotations

import json
import shutil

import numpy as np
import pytest
import rasterio

from graylight.cli.main import main
from graylight.country.folder import Country
from graylight.country.masks import burn
from graylight.errors import BadInput
from graylight.grid import LonLat
from graylight.ground.cover import Kind
from graylight.plan.holdings import is_shut
from graylight.plan.keeping import kept_plan
from graylight.plan.looking import look_from, ready_to_look
from graylight.plan.model import Watch
from graylight.plan.watch import ready_to_watch, watch_marks
from graylight.sight.from_where import patch
from graylight.sight.viewshed import visible
from graylight.telling.watch import tell_watch
from graylight.units import read_distance


@pytest.fixture(scope="module")
def ready(small):
    country = Country.open(small)
    return ready_to_watch(country, kept_plan(country))


def _spots(ready) -> list[str]:
    return [s.id for p in ready.plan.pockets[:2] for s in (*p.feed[:1], *p.crossings[:1])]


def test_what_shows_a_mark_is_seen_from_it(ready):
    """One mark, bare ground: the ground told is where the exact viewshed from the mark's cells says at least half."""
    no_trees = {"elevation_error_m": 0.0, "thin_closure": 0.99, "dense_closure": 1.0}
    bare = ready_to_watch(ready.country.with_settings(sight=no_trees), ready.plan)
    spot = ready.plan.pockets[0].feed[0]
    found = watch_marks(bare, spot.id, within_m=1500.0)
    grid, z = ready.country.grid, ready.survey.elevation_m
    cell = grid.rowcol(LonLat(spot.place.lon, spot.place.lat))
    cells = patch(*cell, z, cell_m=grid.cell_m)
    look = {"cell_m": grid.cell_m, "eye_m": bare.animal_m, "target_m": 1.0, "radius_m": 1500.0}
    shown = np.mean([visible(z, row=int(r), col=int(c), **look) for r, c in cells], axis=0)
    known = np.isfinite(z)
    told = found.seen[known] == 1
    assert told.any()
    assert (shown[known][told] >= 0.5).mean() > 0.999  # the margin is exact to a cell in thousands


def test_seats_agree_with_looking_from_them(ready, small):
    """A spot that a seat is said to show is not hidden when one looks from that seat."""
    spot = ready.plan.pockets[0].feed[0]
    country = Country.open(small)
    look = ready_to_look(country, kept_plan(country))
    found = watch_marks(ready, spot.id, within_m=1900.0).watch
    assert found.seats
    for seat in found.seats:
        sees = look_from(look, LonLat(seat.place.lon, seat.place.lat)).look.sees
        answers = {p.spot: p.answer for one in sees for p in one.places}
        if seat.sees[0].share.low >= 0.8:
            assert answers[spot.id] != "hidden"
        assert seat.sees[0].distance_m <= 1900.0 + 25.0


def test_more_distance_and_standing_never_lose_ground(ready):
    spots = "; ".join(_spots(ready))
    near, far = (watch_marks(ready, spots, within_m=m).watch for m in (800.0, 2000.0))
    high = watch_marks(ready, spots, within_m=2000.0, standing=True).watch
    for a, b, c in zip(near.marks, far.marks, high.marks, strict=True):
        # the engine errs by a cell here and there
        assert a.seen_from_m2 <= b.seen_from_m2 + 500.0
        assert b.seen_from_m2 <= c.seen_from_m2 + 500.0
    assert near.all_m2 <= near.most_m2
    assert far.all_m2 <= min(m.seen_from_m2 for m in far.marks)


def test_seats_come_by_how_many_marks_they_show(ready):
    found = watch_marks(ready, "; ".join(_spots(ready))).watch
    counts = [round(sum(one.share.likely >= 0.5 for one in seat.sees)) for seat in found.seats]
    assert max(counts) == max(counts[:2])  # the quick answer ranks, foliage may take from it
    for seat in found.seats:
        assert seat.hides == [one.mark for one in seat.sees if one.share.likely < 0.5]
        for one in seat.sees:
            assert one.share.low <= one.share.likely <= one.share.high


def test_the_command_writes_a_raster_and_one_json_object(small, capsys):
    country = Country.open(small)
    spot = kept_plan(country).pockets[0].feed[0].id
    capsys.readouterr()
    assert (
        main(["watch", str(small), "--targets", spot.upper(), "--within", "1mi", "--picture", "--json"]) == 0
    )
    told = Watch.model_validate_json(capsys.readouterr().out)
    assert told.within_m == 1609
    with rasterio.open(small / told.raster) as raster:
        seen = raster.read(1)
        assert raster.crs.to_string() == country.grid.crs
    assert seen.max() == 1
    assert int(seen.sum()) * country.grid.cell_m**2 == told.marks[0].seen_from_m2
    assert (small / told.picture).stat().st_size > 10_000
    assert main(["watch", str(small), "--targets", spot, "--standing"]) == 0
    words = capsys.readouterr().out
    assert "standing" in words.lower()
    assert "nothing here says" in words.lower()


def test_a_plan_without_a_start_does_not_shut_all_ground(sources, box, tmp_path):
    """No road and no trailhead: walking times are unknown everywhere, and rule nothing out."""
    folder = tmp_path / "roadless"
    words = ["new", str(folder), "--elevation", str(sources["elevation"]), "--bounds", *box]
    assert main(words) == 0
    assert main(["plan", str(folder)]) == 0
    country = Country.open(folder)
    plan = kept_plan(country)
    ready = ready_to_watch(country, plan)
    assert np.isnan(country.read("walk_seconds")).all()
    spot = plan.pockets[0].feed[0].id
    assert watch_marks(ready, spot, within_m=2000.0).watch.marks[0].seen_from_m2 > 0


def test_one_spot_named_three_ways_is_one_mark(ready):
    spot = ready.plan.pockets[0].feed[0].id
    found = watch_marks(ready, f"{spot}; {spot.lower()}; {spot.upper()}").watch
    assert [mark.name for mark in found.marks] == [spot]


def test_why_no_seat_shows_a_mark_is_told(ready):
    """Within the standoff there is nowhere to sit, though the mark shows from there."""
    spot = ready.plan.pockets[0].feed[0].id
    found = watch_marks(ready, spot, within_m=60.0).watch
    assert found.seats == []
    assert "too near it" in found.marks[0].why_none
    assert "shows only from ground" in tell_watch(found, "us")[0].sentences[0]


def test_two_questions_have_two_rasters(small, capsys):
    spot = kept_plan(Country.open(small)).pockets[0].feed[0].id
    files = set()
    for within in ("1mi", "2 km"):
        capsys.readouterr()
        assert main(["watch", str(small), "--targets", spot, "--within", within, "--json"]) == 0
        files.add(json.loads(capsys.readouterr().out)["raster"])
    assert len(files) == 2


def test_farther_than_the_country_is_no_more_work(ready):
    """A radius beyond the grid is cut to it: no window larger than the ground."""
    spot = ready.plan.pockets[0].feed[0].id
    one, other = (watch_marks(ready, spot, within_m=m).watch for m in (9_000.0, 20_000.0))
    assert one.marks[0].seen_from_m2 == other.marks[0].seen_from_m2


def test_before_any_plan_it_says_what_it_does_not_know(sources, box, tmp_path, capsys):
    folder = tmp_path / "bare"
    words = ["new", str(folder), "--elevation", str(sources["elevation"]), "--bounds", *box]
    assert main(words) == 0
    middle = Country.open(folder).grid.center
    capsys.readouterr()
    assert main(["watch", str(folder), "--targets", f"{middle.lat}, {middle.lon}", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert any("No plan was made yet" in words for words in told["not_known"])
    assert any("No ownership is known" in words for words in told["not_known"])
    assert any("No canopy is known" in words for words in told["not_known"])
    assert all(seat["walk_seconds"] is None for seat in told["seats"])


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--targets", ""], "0 marks"),
        (["--targets", "; ".join(["40.45, -114.80"] * 25)], "25 marks"),
        (["--targets", "P99-f1"], "P99-f1"),
        (["--targets", "10.0, 10.0"], "outside the country"),
        (["--targets", "40.45, -114.80", "--within", "1.2 leagues"], "1.2 leagues"),
        (["--targets", "40.45, -114.80", "--within", "0mi"], "0mi"),
        (["--targets", "40.45, -114.80", "--within", "90km"], "accepted is 20 yd to 12 mi"),
    ],
)
def test_bad_words_get_one_line(small, tmp_path, words, said, capsys):
    copy = tmp_path / "copy"
    shutil.copytree(small, copy, ignore=shutil.ignore_patterns("watch"))
    capsys.readouterr()
    assert main(["watch", str(copy), *words]) == 2
    told = capsys.readouterr().err.strip()
    assert "\n" not in told
    assert said in told
    assert not (copy / "watch").exists()


@pytest.mark.parametrize(
    ("text", "metres"),
    [("1.2mi", 1931.2), ("2 km", 2000.0), ("500ft", 152.4), ("900 m", 900.0), ("10 yd", 9.1)],
)
def test_distances_are_read_with_their_unit(text, metres):
    assert read_distance(text) == pytest.approx(metres, abs=0.05)


@pytest.mark.parametrize("text", ["", "1.2", "mi", "-1 km", "0 m", "1e3 m", "1 2 km"])
def test_distances_without_a_unit_or_a_number_are_refused(text):
    with pytest.raises(BadInput, match="accepted is a number with"):
        read_distance(text)


def test_telling_says_first_what_never_shows(ready):
    found = watch_marks(ready, "; ".join(_spots(ready))).watch
    dark = found.model_copy(
        update={"marks": [m.model_copy(update={"seen_from_m2": 0}) for m in found.marks[:1]]}
    )
    first = tell_watch(dark, "us")[0].sentences[0]
    assert first.startswith("No ground to sit on")


def test_what_the_ranking_of_seats_leaves_out_is_said(ready):
    found = watch_marks(ready, ready.plan.pockets[0].feed[0].id, within_m=1900.0).watch
    for one, said in ((found, True), (found.model_copy(update={"seats": []}), False)):
        words = " ".join(" ".join(part.sentences) for part in tell_watch(one, "us"))
        assert ("wind, scent, how near the animals are" in words) == said


def test_an_id_that_the_plan_has_not_is_not_offered_as_accepted(ready):
    with pytest.raises(
        BadInput, match="no feeding place, bed or crossing 'P99-f1' is in the plan"
    ) as refused:
        watch_marks(ready, "P99-f1")
    assert _spots(ready)[0] in str(refused.value)
    assert "\n" not in str(refused.value)


def test_most_of_the_marks_is_told_though_one_never_shows(ready):
    found = watch_marks(ready, "; ".join(_spots(ready))).watch
    mark = found.marks[0].model_copy(update={"seen_from_m2": 5e4, "why_none": None})
    marks = [mark, mark, mark.model_copy(update={"seen_from_m2": 0.0})]
    changed = found.model_copy(update={"marks": marks, "most": 2, "most_m2": 4e4})
    words = " ".join(tell_watch(changed, "us")[0].sentences)
    assert "2 of the 3 marks show from 10 acres." in words
    fewer = changed.model_copy(update={"marks": [mark, marks[2], marks[2]]})
    assert "2 of the 3 marks" not in " ".join(tell_watch(fewer, "us")[0].sentences)


def test_a_mark_on_closed_ground_or_on_water_is_said_so(small, tmp_path):
    """Closed ground from the ownership layer itself; one cell of open ground is made a pond."""
    shutil.copytree(small, tmp_path / "copy")
    country = Country.open(tmp_path / "copy")
    grid, cover = country.grid, country.read("cover")
    closed = burn((f.geometry for f in country.features("ownership") if is_shut(f.properties)), grid)
    dry, fenced = (np.argwhere(mask & (cover != Kind.WATER)) for mask in (~closed, closed))
    pond = dry[len(dry) // 3]
    cover[tuple(pond)] = Kind.WATER
    country.write_layers({"cover": cover})
    ready = ready_to_watch(country, kept_plan(country))
    cells = {"private or closed": fenced[len(fenced) // 2], "lies on water": pond, "": dry[len(dry) // 2]}
    for said, cell in cells.items():
        place = grid.lonlat(*(int(v) for v in cell))
        told = watch_marks(ready, f"{place.lat:.6f}, {place.lon:.6f}", within_m=1500.0).watch.cautions
        about = [words for words in told if words.startswith("Mark 1 lies on")]
        assert len(about) == (1 if said else 0)
        assert all(said in words for words in about)


@pytest.mark.parametrize("invented", [True, False])
def test_answers_on_an_invented_country_say_so_first(small, tmp_path, capsys, invented):
    """Whoever is handed one answer alone must not go there."""
    shutil.copytree(small, tmp_path / "copy")
    facts = tmp_path / "copy" / "country.json"
    told = json.loads(facts.read_text(encoding="utf-8")) | {"invented": invented}
    facts.write_text(json.dumps(told), encoding="utf-8")
    spot = kept_plan(Country.open(small)).pockets[0].feed[0]
    at = f"{spot.place.lat:.6f}, {spot.place.lon:.6f}"
    for words in (["watch", "--targets", at, "--within", "1km"], ["look", "--at", at]):
        assert main([words[0], str(tmp_path / "copy"), *words[1:], "--json"]) == 0
        cautions = json.loads(capsys.readouterr().out)["cautions"]
        assert cautions[0].startswith("This range is invented") == invented
