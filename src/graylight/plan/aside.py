"""Settings on which nothing of a plan hangs: changing one leaves the plan as good as it was."""

from __future__ import annotations

from typing import Any

from graylight.country.settings_file import read_settings
from graylight.errors import BadInput

__all__ = ["aside", "heard_settings"]

_ASIDE = ("units", "sit.wind")
"""The units are those of the telling; the wind is that of a morning, of camps and of what comes next."""


def aside(key: str) -> bool:
    """Whether nothing of a plan hangs on a setting; the key has a dot where it is one of a group."""
    return key in _ASIDE


def heard_settings(text: str) -> str:
    r"""What a plan hears of a settings file: every setting, but for those that are aside; a file that can't be read, as it is.

    >>> heard_settings('units = "metric"') == heard_settings("[sit]\nwind = 'SW 8 mph'") == heard_settings("")
    True
    >>> heard_settings("lookouts = 2") == heard_settings("")
    False
    """
    try:
        found: dict[str, Any] = read_settings(text).model_dump()
    except BadInput:
        return text
    for key in _ASIDE:
        group, _, name = key.rpartition(".")
        (found[group] if group else found).pop(name)
    return repr(found)
