"""How is one text deck set up? Its options, read once, and the configuration that the wire may change."""

from __future__ import annotations

import random
from dataclasses import dataclass

from stagectl_simulators.clip_store import StoreSetup, read_store
from stagectl_simulators.house_clock import HouseClock, Rate, frame_of
from stagectl_simulators.options import Options
from stagectl_simulators.text_deck_media import Clip, Slot, clip_name
from stagectl_simulators.text_deck_words import (
    CODECS,
    CONFIGURATION,
    REQUESTS,
    VIDEO_FORMATS,
    VideoFormat,
    bytes_per_second,
)

SLOT_BYTES = 480e9  # a common medium


@dataclass(slots=True)
class Setup:
    """One deck's properties."""

    model: str
    unique_id: str
    software: str
    protocol: str
    video_format: str
    drop: bool  # drop-frame labels, at 29.97 and 59.94
    offset_frames: int  # its timecode against the house
    free_run_ppm: float  # how far its own clock is off, when its timecode input is "internal"
    roll_delay_s: float  # ok -> rolling; the sheet says 0.1 to 2 s
    stop_delay_s: float  # ok -> stopped
    mount_s: float  # inserted or formatted -> mounted
    bytes_per_s: float  # 0: as the codec gives
    max_clients: int  # 0: as many as come
    lists_late: bool  # the clip that grows is in no list
    older: bool  # firmware without the newer parameters
    unsupported: frozenset[str]  # requests this firmware refuses with 103
    timecode_hz: float  # display timecode notices a second
    configuration: dict[str, str]
    slots: list[Slot]
    store: StoreSetup | None  # where its clips are files; None: nowhere

    @property
    def codec(self) -> str:
        """The file format it records."""
        return self.configuration["file format"]

    @property
    def video(self) -> VideoFormat:
        """The picture it records."""
        return VIDEO_FORMATS[self.video_format]

    @property
    def rate(self) -> Rate:
        """The rate of its labels."""
        rate = self.video.rate
        return rate.dropping() if self.drop and rate.den == 1001 and rate.base != 24 else rate


def format_of_house(house: HouseClock) -> str:
    """The 1080-line format at the house's rate."""
    wanted = Rate(house.rate.num, house.rate.den)
    progressive = (name for name, video in VIDEO_FORMATS.items() if name.startswith("1080p") and video.rate == wanted)
    return next(progressive, "1080p25")


def read_setup(name: str, raw: dict[str, object], rng: random.Random, house: HouseClock) -> Setup:
    """Read a deck's options.

    Raises: ValueError: an option that is unknown or wrong, in one sentence.
    """
    options = Options(name, raw)
    drawn_delay_s = round(rng.uniform(0.2, 0.6), 3)
    drawn_ppm = round(rng.uniform(-30, 30), 1)
    drawn_id = f"{rng.getrandbits(48):012x}"
    free_run_ppm = options.number("free_run_ppm", 0.0, -1000, 1000)
    slots, unsupported = options.items("slots"), options.items("unsupported") or []
    setup = Setup(
        model=options.text("model", "Two-slot deck"),
        unique_id=options.text("unique_id", drawn_id),
        software=options.text("software", "4.2"),
        protocol=options.text("protocol", "1.11"),
        video_format=options.text("video_format", format_of_house(house), tuple(VIDEO_FORMATS)),
        drop=options.flag("drop", bool(house.rate.drop)),
        offset_frames=options.whole("offset_frames", 0, -(10**7), 10**7),
        free_run_ppm=free_run_ppm or drawn_ppm,
        roll_delay_s=options.number("roll_delay_s", drawn_delay_s, 0, 60),
        stop_delay_s=options.number("stop_delay_s", 0.1, 0, 60),
        mount_s=options.number("mount_s", 1.0, 0, 600),
        bytes_per_s=options.number("bytes_per_s", 0.0),
        max_clients=options.whole("max_clients", 0),
        lists_late=options.flag("lists_late"),
        older=options.flag("older"),
        unsupported=frozenset(str(each) for each in unsupported),
        timecode_hz=options.number("timecode_hz", 5.0, 0.1, 60),
        configuration={
            "video input": "SDI",
            "audio input": "embedded",
            "file format": options.text("codec", "VC3-SQ", tuple(CODECS)),
            "timecode input": options.text(
                "timecode_input", "internal" if free_run_ppm else "external", CONFIGURATION["timecode input"]
            ),
            "timecode preset": "00:00:00:00",
            "record prefix": options.text("record_prefix", "Clip"),
            "append timestamp": "false",
            "record trigger": "none",
        },
        slots=[],
        store=read_store(name, options.table("clip_store")),
    )
    options.done()
    clip_name(setup.configuration["record prefix"], ())
    strange = next((each for each in unsupported if each not in REQUESTS), None)
    if strange is not None:
        raise ValueError(f"{name}: option 'unsupported' names {strange!r}. Known requests: {', '.join(REQUESTS)}.")
    both = slots if slots is not None else [{}, {}]
    if not 1 <= len(both) <= 2:
        raise ValueError(f"{name}: option 'slots' must list one or two slots.")
    setup.slots = [_slot(name, number, each, setup, house) for number, each in enumerate(both, 1)]
    return setup


def _slot(name: str, number: int, raw: object, setup: Setup, house: HouseClock) -> Slot:
    if not isinstance(raw, dict):
        raise ValueError(f"{name}: each slot must be a table of names and values.")  # noqa: TRY004 - a wrong option
    where = f"{name}, slot {number}"
    options = Options(where, raw)
    size = options.number("size_bytes", SLOT_BYTES)
    free = options.number("free_bytes", size, 0, size)
    mounted = options.flag("mounted", default=True)
    slot = Slot(number, options.text("volume", f"{name}-{number}"), size, 0.0, "mounted" if mounted else "empty")
    clips = options.items("clips") or []
    options.done()
    slot.clips = [_clip(where, each, setup, house) for each in clips]
    slot.foreign_bytes = max(0.0, size - free - sum(clip.size_bytes for clip in slot.clips))
    return slot


def _clip(where: str, raw: object, setup: Setup, house: HouseClock) -> Clip:
    if not isinstance(raw, dict):
        raise ValueError(f"{where}: each clip must be a table of names and values.")  # noqa: TRY004 - a wrong option
    options = Options(f"{where}, clip", raw)
    name, start = options.text("name", ""), options.text("start", "09:00:00:00")
    frames = options.whole("frames", 250, 1)
    days_ago = options.whole("days_ago", 0, 0, 10_000)
    file_bytes = options.whole("file_bytes", -1, -1)
    options.done()
    clip_name(name, ())
    takes_per_s = setup.bytes_per_s or bytes_per_second(setup.codec, setup.video)
    rate, first = setup.rate, frame_of(start, setup.rate)
    started_s = (first - house.start_at(rate)) * rate.den / rate.num - 86400 * days_ago
    if started_s + frames * rate.den / rate.num > 0:  # it can't end after now, so it was the day before
        started_s -= 86400
    clip = Clip(name, first, rate, setup.codec, setup.video_format, started_s, takes_per_s, frames)
    clip.file_bytes = None if file_bytes < 0 else file_bytes
    return clip
