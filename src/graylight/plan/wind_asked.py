"""The general wind that an answer is worked out for: as asked, else as it is set, else none."""

from __future__ import annotations

from dataclasses import dataclass

from graylight.plan.morning_model import Wind
from graylight.settings import Settings
from graylight.wind import CALM, NO_WIND, GeneralWind, read_wind

__all__ = ["WindAsked", "wind_asked", "wind_words"]


@dataclass(frozen=True, slots=True)
class WindAsked:
    """The words of a wind, None where there are none, and whether they are those of the setting `sit.wind`."""

    words: str | None
    as_set: bool = False

    @property
    def general(self) -> GeneralWind:
        """The wind; calm where none was said."""
        return CALM if self.words is None else read_wind(self.words)

    @property
    def told(self) -> Wind:
        """As answers hold it."""
        general = self.general
        return Wind(
            said=self.words or "calm", given=self.words is not None, as_set=self.as_set,
            from_true_deg=general.from_deg, speed_ms=general.speed_ms,
        )  # fmt: skip


def wind_asked(settings: Settings, asked: str | None) -> WindAsked:
    """What to reckon with.

    Parameters
    ----------
    settings
        Of the country; `sit.wind` stands in where nothing is asked.
    asked
        As typed; "none" leaves out the one that is set, too.

    Raises
    ------
    BadInput
        It is not understood.

    Examples
    --------
    >>> from graylight.settings import Settings, SitSettings
    >>> set_so = Settings(sit=SitSettings(wind="SW 8 mph"))
    >>> wind_asked(set_so, None), wind_asked(set_so, "none").words
    (WindAsked(words='SW 8 mph', as_set=True), None)
    """
    heard = wind_words(settings, asked)
    if heard.words is not None:
        read_wind(heard.words)
    return heard


def wind_words(settings: Settings, asked: str | None) -> WindAsked:
    """The same without reading the words: they may be several winds, or ask for the forecast's."""
    if asked is None:
        return WindAsked(settings.sit.wind, as_set=settings.sit.wind is not None)
    return WindAsked(None if asked.strip().lower() == NO_WIND else asked)
