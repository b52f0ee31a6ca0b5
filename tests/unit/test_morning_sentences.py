"""A sit told: what stands first, and that nothing in it speaks against itself. On facts changed by hand."""

from __future__ import annotations

import pytest

from graylight.country.folder import Country
from graylight.plan.keeping import kept_plan
from graylight.plan.morning import ready_for_morning
from graylight.plan.morning_model import ByWind, Morning
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


def test_scent_too_far_off_is_not_called_clean_air(found):
    """Air that turns and clean air until the end would speak against each other."""
    kinds = {r.kind for r in found.reasons}
    assert not kinds >= {"clean air", "too far for scent"}
    assert not kinds >= {"clean air", "air unreliable"}


def test_winds_with_the_same_lookouts_stand_together(found):
    groups = [ByWind(winds=["N", "NE"], lookouts=["L1", "L2"]), ByWind(winds=["S"], lookouts=[])]
    words = told(found.model_copy(update={"by_wind": groups, "by_wind_ms": 4.5}))
    assert (
        "Which lookout by a wind of 10 mph: from N or NE L1, else L2; from S none of them is clean." in words
    )


def test_a_way_hidden_better_is_told_with_its_price(found):
    longer = [
        w.model_copy(update={"seconds": w.seconds + 1500, "seen_minutes": 0}) if w.kind == "hidden" else w
        for w in found.ways
    ]
    words = told(found.model_copy(update={"ways": longer}))
    assert "The most hidden way is about 25 min longer" in words
