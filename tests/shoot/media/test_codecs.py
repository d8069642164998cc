"""Do recordings take what is published of their codecs?

Outside: sizes of VC-3 frames (SMPTE ST 2019-1, as an open encoder writes them), of AVC intra classes, of DV (ITU-R
BT.1618) and uncompressed frames, typed in; and bytes a second computed by hand from them.
"""

import pytest

from stagectl.shoot.media.codecs import raster_of_format, takes, vc3_frame

FRAMES = [
    # raster, LB, SQ, HQ and HQX, 444
    ((1920, 1080), 188_416, 606_208, 917_504, 1_835_008),
    ((2048, 1080), 200_704, 647_168, 978_944, 1_957_888),
    ((3840, 2160), 749_568, 2_408_448, 3_641_344, 7_286_784),
    ((4096, 2160), 798_720, 2_568_192, 3_887_104, 7_770_112),
]
RATES = [
    # codec, format, channels, bytes a second with 24 bit sound and 0.1 % for the container
    ("VC3-HQ", "1080p25", 8, 24_113_690),
    ("VC3-SQ", "1080p25", 8, 16_323_507),
    ("VC3-LB", "1080p25", 2, 5_003_398),
    ("VC3-HQ", "1080p50", 8, 47_074_227),
    ("VC3-HQ", "1080p2997", 8, 28_678_272),
    ("VC-3 HQX", "2160p25", 8, 92_277_786),
    ("VC3_SQ", "2160p50", 16, 122_849_126),
    ("LongGOP-50", "1080p25", 8, 7_409_402),
]
OTHERS = [
    # codec, format, megabits a second of the picture alone
    ("AVC-Intra 100", "1080i50", 113.8),
    ("AVCI100", "1080i5994", 113.3),
    ("AVC-I 50", "1080i50", 56.2),
    ("AVC-Intra 100", "720p50", 113.9),
    ("DV25", "PAL", 28.80),
    ("DV25", "NTSC", 28.77),
    ("Uncompressed 10 bit", "1080p25", 1105.9),
    ("Uncompressed-10", "720p50", 995.3),
    ("VC3-HQ", "720p50", 183.50),
    ("VC3-SQ", "720p50", 121.24),
]


@pytest.mark.parametrize(("raster", "lb", "sq", "hq", "full"), FRAMES)
def test_a_frame_of_vc3_is_as_large_as_published(raster: tuple[int, int], lb: int, sq: int, hq: int, full: int) -> None:
    assert [vc3_frame(profile, *raster) for profile in ("lb", "sq", "hq", "hqx", "444")] == [lb, sq, hq, hq, full]


@pytest.mark.parametrize(("codec", "form", "channels", "per_s"), RATES)
def test_a_second_takes_picture_sound_and_container(codec: str, form: str, channels: int, per_s: int) -> None:
    found = takes(codec, form, channels, {})
    assert found is not None
    assert round(found.bytes_per_s) == per_s
    assert found.constant == ("GOP" not in codec)


@pytest.mark.parametrize(("codec", "form", "megabits"), OTHERS)
def test_other_codecs_take_what_their_frames_take(codec: str, form: str, megabits: float) -> None:
    found = takes(codec, form, 0, {})
    assert found is not None
    assert found.bytes_per_s / 1.001 * 8 / 1e6 == pytest.approx(megabits, abs=0.06)


def test_what_the_site_says_of_a_codec_counts_first() -> None:
    found = takes("Proxy", "1080p25", 8, {"Proxy": 1e6})
    assert found is not None
    assert (found.bytes_per_s, found.constant) == (1e6, False)


@pytest.mark.parametrize(("codec", "form"), [("nobody's", "1080p25"), ("VC3-HQ", "none"), ("AVCI100", "2160p25")])
def test_what_is_not_known_is_not_guessed(codec: str, form: str) -> None:
    assert takes(codec, form, 8, {}) is None


def test_a_format_word_names_its_raster() -> None:
    words = ("1080p25", "720p50", "2160p25", "4Kp25", "4KDCIp24", "2Kp24", "PAL", "NTSC")
    assert [raster_of_format(word) for word in words] == [
        (1920, 1080),
        (1280, 720),
        (3840, 2160),
        (3840, 2160),
        (4096, 2160),
        (2048, 1080),
        (720, 576),
        (720, 480),
    ]
    assert raster_of_format("") is None
