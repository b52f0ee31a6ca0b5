"""What a person can set, with default, allowed range and source. No file is touched here (see country.settings_file)."""

from graylight.settings.air import AirSettings
from graylight.settings.recording import RecordSettings
from graylight.settings.seeing import GlareSettings, OpticsSettings, SightSettings, WatchSettings
from graylight.settings.sitting import SitSettings
from graylight.settings.walking import ApproachSettings, CampSettings, PackSettings, WalkSettings
from graylight.settings.whole import Settings

__all__ = [
    "AirSettings", "ApproachSettings", "CampSettings", "GlareSettings", "OpticsSettings", "PackSettings", "RecordSettings",
    "Settings", "SightSettings", "SitSettings", "WalkSettings", "WatchSettings",
]  # fmt: skip
