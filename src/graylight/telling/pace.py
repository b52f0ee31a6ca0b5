"""A person's own pace told."""

from __future__ import annotations

from graylight.plan.pace_model import MeasuredPace
from graylight.telling.paragraph import Paragraph, counted, sentence
from graylight.units import duration

__all__ = ["tell_pace"]


def tell_pace(found: MeasuredPace) -> list[Paragraph]:
    """Tell what was measured, and what to do with it."""
    compared = "as long as" if abs(found.factor - 1.0) < 0.005 else f"{found.factor:.2f} times as long as"
    how = " ".join(
        words for words, yes in (("with a day pack", found.pack), ("in the dark", found.dark)) if yes
    )
    spread = f" (single ones {found.low:.2f} to {found.high:.2f})" if found.walks > 1 else ""
    told = [
        f"{counted(found.walks, 'walk')}{' ' + how if how else ''}, {duration(found.taken_seconds)} without "
        f"{duration(found.rest_seconds)} of rest",
        f"you took {compared} the published pace gives for the same ground{spread}",
    ]
    if found.kept:
        told.append(f"kept as your pace factor, {found.before:g} before: plan again to use it")
    else:
        told.append(
            f"walk.pace_factor is {found.before:g}: keep the new one with --keep, or write it in settings.toml"
        )
    told.append("a track's noise, a hurried day and company all end up in it; go by the slowest of you")
    return [Paragraph("Your own pace", [sentence(words) for words in told])]
