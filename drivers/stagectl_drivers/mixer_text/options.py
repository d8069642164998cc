"""What may a site file say of a text mixer, and which driver does that make?"""

from collections.abc import Mapping
from typing import Final

from stagectl_drivers.mixer_text.driver import MixerTextDriver
from stagectl_drivers.mixer_text.profile import PROFILES, SIXTEEN_STRIPS, Profile

OPTIONS: Final = {
    "profile": f'how this make names its parameters: {", ".join(PROFILES)}; "{SIXTEEN_STRIPS.name}" if not said',
    "strips": "how many strips it has; the profile's number if not said",
    "buses": "how many buses it has; the profile's number if not said",
}
MOST: Final = {"strips": 128, "buses": 64}  # own choice, above any mixer of the family


def make(options: Mapping[str, str]) -> MixerTextDriver:
    """A driver for one connection. Raises ValueError: a sentence about an option."""
    profile = profile_of(options)
    return MixerTextDriver(profile, _count(options, "strips", profile.strips), _count(options, "buses", profile.buses))


def profile_of(options: Mapping[str, str]) -> Profile:
    """The profile that the site names. Raises ValueError: there is none of that name."""
    name = options.get("profile", SIXTEEN_STRIPS.name)
    if name not in PROFILES:
        raise ValueError(f'There is no mixer profile "{name}". Choose one of: {", ".join(PROFILES)}.')
    return PROFILES[name]


def _count(options: Mapping[str, str], what: str, otherwise: int) -> int:
    text = options.get(what)
    if text is None:
        return otherwise
    if not (text.isascii() and text.isdigit()) or len(text) > 4 or not 1 <= int(text) <= MOST[what]:
        raise ValueError(f'"{what}" is a number from 1 to {MOST[what]}, not "{text}".')
    return int(text)
