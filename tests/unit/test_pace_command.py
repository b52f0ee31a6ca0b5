"""`graylight pace`: one's own pace out of a recorded track."""

from __future__ import annotations

import datetime as dt
import json
import shutil
from pathlib import Path

import numpy as np
import pytest

from graylight.cli.main import main
from graylight.country.folder import Country
from graylight.errors import BadInput
from graylight.exchange.timed import read_timed
from graylight.plan.keeping import kept_plan
from graylight.plan.pace_model import MeasuredPace

BEGAN = dt.datetime(2026, 8, 20, 15, 0, tzinfo=dt.UTC)


def gpx(path: Path, places, seconds, *, root: str = "http://www.topografix.com/GPX/1/1") -> Path:
    points = "".join(
        f'<trkpt lat="{lat:.7f}" lon="{lon:.7f}"><time>{BEGAN + dt.timedelta(seconds=float(s)):%Y-%m-%dT%H:%M:%SZ}</time></trkpt>'
        for (lon, lat), s in zip(places, seconds, strict=True)
    )
    path.write_text(
        f'<gpx version="1.1" creator="test" xmlns="{root}"><trk><trkseg>{points}</trkseg></trk></gpx>'
    )
    return path


def way_of(small):
    """The plan's own way in, with the walking time of the plan: dark, with a pack."""
    plan = kept_plan(Country.open(small))
    way = max(plan.approaches, key=lambda w: w.seconds)
    return [(p[0], p[1]) for p in way.line], float(way.seconds)


def asked(capsys, *words) -> MeasuredPace:
    assert main(["pace", *map(str, words), "--json"]) == 0
    return MeasuredPace.model_validate(json.loads(capsys.readouterr().out))


def test_a_track_walked_at_the_plans_own_pace_measures_one(small, tmp_path, capsys):
    """The plan's way in its own time; 12 %: slopes are taken over 30 m here and from cell to cell there."""
    places, seconds = way_of(small)
    at = np.linspace(0.0, seconds, len(places))
    found = asked(capsys, small, "--walks", gpx(tmp_path / "a.gpx", places, at), "--pack", "--dark")
    assert found.factor == pytest.approx(1.0, abs=0.12)
    slower = asked(capsys, small, "--walks", gpx(tmp_path / "b.gpx", places, 1.5 * at), "--pack", "--dark")
    assert slower.factor == pytest.approx(1.5 * found.factor, abs=0.02)


def test_rests_are_left_out(small, tmp_path, capsys):
    places, seconds = way_of(small)
    at = np.linspace(0.0, seconds, len(places))
    plain = asked(capsys, small, "--walks", gpx(tmp_path / "a.gpx", places, at))
    middle = len(places) // 2
    again = [*places[: middle + 1], *places[middle:]]
    rested = [*at[: middle + 1], *(at[middle:] + 1800.0)]
    found = asked(capsys, small, "--walks", gpx(tmp_path / "b.gpx", again, rested))
    assert found.rest_seconds == pytest.approx(1800, abs=1)
    assert found.factor == pytest.approx(plain.factor, abs=0.01)


def test_it_is_kept_only_when_asked(small, tmp_path, capsys):
    folder = tmp_path / "country"
    shutil.copytree(small, folder)
    places, seconds = way_of(small)
    track = gpx(tmp_path / "a.gpx", places, np.linspace(0.0, 1.3 * seconds, len(places)))
    found = asked(capsys, folder, "--walks", track, "--pack", "--dark")
    assert Country.open(folder).settings.walk.pace_factor == 1.0
    assert not found.kept
    assert main(["pace", str(folder), "--walks", str(track), "--pack", "--dark", "--keep"]) == 0
    assert "plan again" in capsys.readouterr().out
    assert Country.open(folder).settings.walk.pace_factor == found.factor


def test_what_lies_outside_is_cut_off_with_its_time(small, tmp_path, capsys):
    places, seconds = way_of(small)
    at = np.linspace(0.0, seconds, len(places))
    plain = asked(capsys, small, "--walks", gpx(tmp_path / "a.gpx", places, at))
    far = [(-110.0, 40.0), *places]
    found = asked(capsys, small, "--walks", gpx(tmp_path / "b.gpx", far, [0.0, *(at + 9000.0)]))
    assert found.factor == plain.factor


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("<gpx", "can't be read as GPX"),
        ('<!DOCTYPE a [<!ENTITY b "c">]><gpx>&b;</gpx>', "can't be read as GPX"),
        ('<gpx><trk><trkseg><trkpt lat="40" lon="-114"/></trkseg></trk></gpx>', "no track with times"),
        ("<gpx/>", "no track with times"),
    ],
)
def test_what_is_no_timed_track_is_refused(tmp_path, text, said):
    path = tmp_path / "a.gpx"
    path.write_text(text)
    with pytest.raises(BadInput, match=said):
        read_timed(path)


def test_a_file_that_is_not_there_and_a_track_elsewhere_are_refused(small, tmp_path, capsys):
    assert main(["pace", str(small), "--walks", str(tmp_path / "none.gpx")]) == 2
    assert "there is no file none.gpx" in capsys.readouterr().err
    away = gpx(tmp_path / "a.gpx", [(10.0, 50.0), (10.01, 50.0)], [0.0, 900.0])
    assert main(["pace", str(small), "--walks", str(away)]) == 2
    assert "lies inside the country" in capsys.readouterr().err


def test_points_out_of_order_or_without_a_clock_are_passed_over(tmp_path):
    path = gpx(tmp_path / "a.gpx", [(-114.0, 40.0), (-114.001, 40.0), (-114.002, 40.0)], [0.0, -50.0, 60.0])
    (track,) = read_timed(path)
    assert len(track.places) == 2
    assert track.seconds[1] - track.seconds[0] == 60.0
