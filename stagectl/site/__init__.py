"""What stands in this installation, and what may its file say? One site file, read strictly."""

from stagectl.site.copyentries import CopyEntry, StoreEntry, TargetEntry
from stagectl.site.entries import (
    VIDEO,
    AlarmEntry,
    CameraEntry,
    CheckEntry,
    DeviceEntry,
    HttpEntry,
    Level,
    LineupEntry,
    MqttEntry,
    Pictures,
    PlannedTake,
    PlaybackEntry,
    ProtectEntry,
    Site,
    SiteVocabulary,
    Sound,
    StationEntry,
    TieLine,
    place,
)
from stagectl.site.load import load_site, read_site
from stagectl.site.schema import site_schema
from stagectl.site.simfile import load_sim, sim_path

__all__ = [
    "VIDEO",
    "AlarmEntry",
    "CameraEntry",
    "CheckEntry",
    "CopyEntry",
    "DeviceEntry",
    "HttpEntry",
    "Level",
    "LineupEntry",
    "MqttEntry",
    "Pictures",
    "PlannedTake",
    "PlaybackEntry",
    "ProtectEntry",
    "Site",
    "SiteVocabulary",
    "Sound",
    "StationEntry",
    "StoreEntry",
    "TargetEntry",
    "TieLine",
    "load_sim",
    "load_site",
    "place",
    "read_site",
    "sim_path",
    "site_schema",
]
