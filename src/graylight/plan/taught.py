"""What the record teaches put to use, because a person asked for it: an edit that can be taken back like any other."""

from __future__ import annotations

from typing import Literal, TypeAlias

from graylight.errors import BadInput
from graylight.plan.learning import own_profile
from graylight.plan.notebook import Notebook
from graylight.plan.record_model import Learning
from graylight.settings.words import called, value_words

__all__ = ["Use", "put_to_use"]

Use: TypeAlias = Literal["pace", "air", "habitat"]


def put_to_use(book: Notebook, told: Learning, use: Use) -> str:
    """Set one thing learnt, and say in words what was set.

    Notes
    -----
    Pace and air are edits of settings. The habitat's weights go into a copy of the animal's profile, as a file of the
    country, and an edit makes it the animal: taking that back leaves the copy, unused.

    Raises
    ------
    BadInput
        Too little was recorded to teach it.
    """
    if use == "habitat":
        name, text = own_profile(book, told.habitat)
        book.country.write_text(f"animals/{name}.toml", text)
        _say(book, "animal", name)
        return f"the weights are in a copy of the profile, {name}, and that is the animal now; plan again to use it"
    known = [(key, after) for key, after in _learnt(told, use) if after is not None]
    if not known:
        raise BadInput(
            f"the record does not teach the {use} yet; accepted is one with enough of it, as it is told beside; go on recording"
        )
    with book.rows.together():
        for key, after in known:
            _say(book, key, f"{after:.2f}")
    set_now = " and ".join(
        f"{called(key)} is {value_words(key, f'{round(after, 2):g}')}" for key, after in known
    )
    return f"{set_now} now, as an edit; plan again to use it"


def _learnt(told: Learning, use: Use) -> list[tuple[str, float | None]]:
    """The settings that one thing learnt sets."""
    if use == "pace":
        return [("walk.pace_factor", told.pace.after)]
    return [("air.up_slope_minutes", told.air.after), ("air.down_slope_minutes", told.evening_air.after)]


def _say(book: Notebook, key: str, value: str) -> None:
    book.rows.add("edits", None, what="set", target=key, value=value, note="learnt from the record")
