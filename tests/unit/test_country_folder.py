"""The country's folder: read back as written, replaced whole, and whole after a killed run."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from rasterio.transform import Affine
from scipy.ndimage import label

from graylight.country.atomic import building, replace_set, write_bytes
from graylight.country.entry import Sources, make_country
from graylight.country.folder import Country
from graylight.country.layers import LAYERS
from graylight.country.tables import TABLES
from graylight.errors import BadInput, Cancelled
from graylight.plan.animals import find_profile
from graylight.settings import Settings
from tests.unit.country_sources import elevation, mountain_on

DOCS = Path(__file__).parents[2] / "docs"


@pytest.fixture
def country(tmp_path) -> Country:
    return make_country(tmp_path / "country", Sources(elevation=elevation(tmp_path)), Settings())


def values_for(spec, shape, seed=0):
    rng = np.random.default_rng(seed)
    many = (spec.bands, *shape) if spec.bands > 1 else shape
    if spec.dtype == "float32":
        values = rng.random(many, np.float32) * 300
        values[..., 3, 4] = np.nan
        return values
    return rng.integers(0, 200, many).astype(spec.dtype)


@pytest.mark.parametrize("spec", LAYERS.values(), ids=lambda s: s.name)
def test_every_layer_is_read_back_as_it_was_written(country, spec):
    values = values_for(spec, country.grid.shape)
    country.write_layers({spec.name: values})
    back = country.read(spec.name)
    assert back.dtype == spec.dtype
    assert np.array_equal(back, values, equal_nan=spec.dtype == "float32")


def test_layers_are_replaced_and_others_stay(country):
    before = country.read("elevation")
    country.write_layers({"slope": np.ones(country.grid.shape)})
    country.write_layers({"slope": np.full(country.grid.shape, 2.0)})
    assert (country.read("slope") == 2).all()
    assert np.array_equal(country.read("elevation"), before)
    assert country.layers() == ["elevation", "slope"]
    assert sorted(p.name for p in country.folder.iterdir()) == [
        "country.gpkg",
        "country.json",
        "layers",
        "settings.toml",
    ]


@pytest.mark.parametrize(
    ("name", "values", "told"),
    [
        ("slope", np.ones((3, 3)), "shape"),
        ("pockets", np.full((90, 110), 0.5), "do not fit int32"),
        ("cover", np.full((90, 110), 300), "do not fit uint8"),
        ("weather", np.ones((90, 110)), "no layer is called"),
    ],
)
def test_mistakes_of_the_program_are_not_written(country, name, values, told):
    with pytest.raises(ValueError, match=told):
        country.write_layers({"aspect": np.ones((90, 110)), name: values})
    assert country.layers() == ["elevation"]


def test_a_stop_while_writing_changes_nothing(country):
    def stop(fraction: float) -> None:
        raise Cancelled("stopped")

    with pytest.raises(Cancelled):
        country.write_layers({"slope": np.ones((90, 110)), "aspect": np.ones((90, 110))}, tick=stop)
    assert country.layers() == ["elevation"]
    assert not [p for p in country.folder.iterdir() if "making" in p.name]


def test_settings_for_one_run_are_not_saved(country):
    assert country.with_settings(lookouts=5).settings.lookouts == 5
    assert Country.open(country.folder).settings.lookouts == 3
    with pytest.raises(BadInput, match="1 to 8"):
        country.with_settings(lookouts=50)


def test_settings_are_saved_when_asked(country):
    saved = country.save_settings(country.with_settings(units="metric").settings)
    assert saved.settings.units == "metric"
    assert Country.open(country.folder) == saved


def test_texts_below_the_folder(country):
    assert country.read_text("plan/plan.json") is None
    path = country.write_text("plan/plan.json", "Höhe\n")
    assert path == country.folder / "plan" / "plan.json"
    assert country.read_text("plan/plan.json") == "Höhe\n"
    assert path.read_bytes() == "Höhe\n".encode()
    assert [p.name for p in path.parent.iterdir()] == ["plan.json"]


@pytest.mark.parametrize("name", ["../x", "plan/../../x", "/etc/x", ""])
def test_nothing_is_written_outside_the_folder(country, name):
    with pytest.raises(ValueError, match="below"):
        country.write_text(name, "x")


def test_own_profiles(country):
    assert country.own_profiles() == []
    country.write_text("animals/my-deer.toml", "name = 'my deer'\n")
    assert country.own_profiles() == ["my-deer"]


def test_a_profile_that_can_not_be_read_is_nobodys_trouble_but_its_own_animals(country):
    country.write_bytes("animals/broken.toml", b"\xff\xfe\x00 no text")
    assert find_profile(country).name == "mule-deer-summer"
    assert find_profile(country.with_settings(animal="elk-fall")).name == "elk-fall"
    with pytest.raises(BadInput, match=r"broken\.toml can't be read"):
        find_profile(country.with_settings(animal="broken"))


def test_a_mark_that_editors_put_in_front_is_no_setting(country):
    for name in ("settings.toml", "country.json"):
        path = country.folder / name
        path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes())
    assert Country.open(country.folder) == country


# --- all or nothing ----------------------------------------------------------------------------------------------


def test_a_file_is_replaced_only_when_the_new_one_is_whole(tmp_path, monkeypatch):
    path = tmp_path / "a.txt"
    write_bytes(path, b"old")

    def full(*_args):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(OSError, match="No space"):
        write_bytes(path, b"new")
    assert path.read_bytes() == b"old"
    assert [p.name for p in tmp_path.iterdir()] == ["a.txt"]


def test_a_disk_that_is_full_is_told(country, monkeypatch):
    def full(*_args):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(BadInput, match="No space left on device"):
        country.write_text("plan/plan.json", "x")


def test_what_killed_runs_left_is_cleared_but_not_what_others_are_making(tmp_path):
    dead, other = tmp_path / ".c.making-999999999", tmp_path / ".c.making-1"
    dead.mkdir()
    other.mkdir()  # process 1 is always alive
    with building(tmp_path / "c", "making") as fresh:
        assert fresh.is_dir()
        assert not dead.exists()
        assert other.is_dir()
    assert not fresh.exists()


def test_an_unfinished_move_is_finished_by_the_next(tmp_path):
    home, ready = tmp_path / "home", tmp_path / "ready"
    for folder, name, text in (
        (home, "a", "old"),
        (home, "b", "old"),
        (ready, "b", "new"),
        (ready, "c", "new"),
    ):
        folder.mkdir(exist_ok=True)
        (folder / name).write_text(text)
    fresh = tmp_path / "fresh"
    fresh.mkdir()
    (fresh / "d").write_text("newest")
    replace_set(fresh, ready, home)
    assert {p.name: p.read_text() for p in home.iterdir()} == {
        "a": "old",
        "b": "new",
        "c": "new",
        "d": "newest",
    }
    assert not ready.exists()


KILLED = """
import json, os, shutil, signal, sys
from pathlib import Path
import numpy as np
from graylight.country.entry import Sources, make_country
from graylight.country.folder import Country
from graylight.settings import Settings

what, elevation, target = sys.argv[1], Path(sys.argv[2]), Path(sys.argv[3])
NAMES = ("slope", "aspect", "feed")

def make():
    make_country(target, Sources(elevation=elevation), Settings())

def write(value, plan):
    country = Country.open(target)
    country.write_layers({name: np.full(country.grid.shape, value) for name in NAMES})
    country.write_text("plan/plan.json", plan)

def in_a_process(job, last=None):
    # a process of its own, killed at its last-th step on the disk; this one never starts a thread
    pid = os.fork()
    if pid:
        return os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])
    try:
        steps = 0
        def deadly(call):
            def stepped(*args, **more):
                nonlocal steps
                steps += 1
                if steps == last:
                    os.kill(os.getpid(), signal.SIGKILL)
                return call(*args, **more)
            return stepped
        for name in ("fsync", "mkdir", "rename", "replace", "rmdir"):
            setattr(os, name, deadly(getattr(os, name)))
        job()
    except BaseException as error:
        print(repr(error), file=sys.stderr)
        os._exit(1)
    os._exit(0)

def state():
    if not target.exists():
        return None
    country = Country.open(target)
    layers = sorted({float(v) for n in NAMES if country.has(n) for v in np.unique(country.read(n))})
    return [float(country.read("elevation").max()), layers, country.read_text("plan/plan.json")]

found, code, last = [], -9, 0
while code == -9:
    last += 1
    if what == "make":
        shutil.rmtree(target, ignore_errors=True)
        code = in_a_process(make, last)
    else:
        assert in_a_process(lambda: write(1.0, "one")) == 0
        code = in_a_process(lambda: write(2.0, "two"), last)
    found.append(state())
print(json.dumps({"code": code, "states": found, "left": sorted(p.name for p in target.parent.iterdir())}))
"""


def killed_at_every_step(what, source, target):
    """What is found after runs killed (SIGKILL) at each step on the disk in turn, the last one not killed at all."""
    ran = subprocess.run(
        [sys.executable, "-c", KILLED, what, str(source), str(target)],
        capture_output=True, text=True, timeout=300, check=False,
    )  # fmt: skip
    assert ran.returncode == 0, ran.stderr
    told = json.loads(ran.stdout)
    assert told["code"] == 0, ran.stderr
    return told["states"], told["left"]


no_fork = pytest.mark.skipif(not hasattr(os, "fork"), reason="processes are forked and killed")


@no_fork
def test_a_killed_making_leaves_nothing_or_a_whole_country(tmp_path):
    source = elevation(tmp_path, rows=30, cols=30)
    target = tmp_path / "place" / "country"
    target.parent.mkdir()
    states, left = killed_at_every_step("make", source, target)
    assert len(states) > 10
    assert states[0] is None
    whole = states[-1]
    assert whole is not None
    assert all(state is None or state == whole for state in states)
    assert left == ["country"]  # what the killed ones had begun is cleared by the next


@no_fork
def test_killed_writing_leaves_all_old_or_all_new_layers(tmp_path):
    source = elevation(tmp_path, rows=20, cols=20)
    target = make_country(tmp_path / "country", Sources(elevation=source), Settings()).folder
    states, _ = killed_at_every_step("layers", source, target)
    assert len(states) > 10
    for step, (_, layers, plan) in enumerate(states, 1):
        assert layers in ([1.0], [2.0]), f"half-written after step {step}"
        assert plan == "one" or layers == [2.0]  # the plan comes last
    assert [1.0] in [state[1] for state in states]
    assert states[-1][1:] == [[2.0], "two"]


# --- nothing but our own words on the screen -----------------------------------------------------------------------


def test_libraries_do_not_speak_past_us(tmp_path):
    """A damaged raster through the command line: one line on standard error, exit code 2."""
    path = elevation(tmp_path, rows=200, cols=200, compress="deflate")
    path.write_bytes(path.read_bytes()[:9000])
    call = "import sys; from graylight.cli.main import main; sys.exit(main(sys.argv[1:]))"
    ran = subprocess.run(
        [sys.executable, "-W", "error", "-c", call, "new", str(tmp_path / "c"), "--elevation", str(path)],
        capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    assert ran.returncode == 2
    assert ran.stdout == ""
    assert len(ran.stderr.splitlines()) == 1
    assert "cut short" in ran.stderr


# --- the docs can't lie --------------------------------------------------------------------------------------------


def test_every_layer_and_table_is_documented_as_it_is():
    text = (DOCS / "country.md").read_text(encoding="utf-8")
    for spec in LAYERS.values():
        row = next((line for line in text.splitlines() if line.startswith(f"| `{spec.name}` |")), None)
        assert row is not None, f"layer {spec.name} is not documented"
        cells = [cell.strip() for cell in row.strip("|").split("|")]
        assert cells[1:4] == [spec.dtype, spec.unit, spec.writer]
        assert cells[4] == spec.words
    for spec in TABLES.values():
        row = next(
            (
                line
                for line in text.splitlines()
                if line.startswith(f"| `{spec.name}` |") and spec.words in line
            ),
            None,
        )
        assert row is not None, f"table {spec.name} is not documented"
        for column in spec.columns:
            assert column in row


# --- masks -------------------------------------------------------------------------------------------------------


def test_real_shapes_cover_whole_cells(country):
    """A hand-drawn check: a line through the middles of 5 cells in a row burns just these."""
    import shapely

    from graylight.country.masks import burn

    line = shapely.LineString([country.grid.xy(10, 20), country.grid.xy(10, 24)])
    mask = burn([line, shapely.Point()], country.grid)
    assert mask.dtype == bool
    assert set(zip(*np.nonzero(mask), strict=True)) == {(10, c) for c in range(20, 25)}
    assert label(mask)[1] == 1
    assert not burn([], country.grid).any()


def test_the_grid_kept_is_the_grid_meant(country):
    x, y = country.grid.xy(0, 0)
    height = country.read("elevation")[0, 0]
    assert height == np.float32(mountain_on(Affine(*country.grid.transform), 1, 1)[0, 0])
    assert (x, y) == (country.grid.bounds.west + 5, country.grid.bounds.north - 5)
