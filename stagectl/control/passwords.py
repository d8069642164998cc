"""How is a password kept? As scrypt of it, with a salt of its own; and which ones are not taken?

Numbers: scrypt with n = 2**17, r = 8, p = 1 (128 MiB, some 0.4 s of one core), as common guidance for passwords asks.
"""

import base64
import hashlib
import hmac
import unicodedata
from typing import Final

from stagectl.model.errors import RefusedError
from stagectl.model.secret import Secret

N: Final = 2**17
R: Final = 8
P: Final = 1
MAX_MEMORY: Final = 2**28  # bytes; what the numbers above need, and some more
SHORTEST: Final = 12
LONGEST: Final = 256  # characters; own choice: a longer one is a file by mistake
SALT_BYTES: Final = 16

# What people choose first when twelve characters are asked for: from memory of public lists, and the trade's words.
COMMON: Final = [
    "123456789012",
    "1234567890123",
    "12345678901234",
    "0123456789012",
    "111111111111",
    "000000000000",
    "abcdefghijkl",
    "abcdef123456",
    "abc123abc123",
    "qwertyuiop12",
    "qwertyuiop123",
    "qwertyuiopas",
    "qwertyqwerty",
    "1q2w3e4r5t6y",
    "1qaz2wsx3edc",
    "zaq12wsxcde3",
    "asdfghjkl123",
    "passwordpassword",
    "password1234",
    "password12345",
    "password123456",
    "password2024",
    "password2025",
    "password2026",
    "password2027",
    "passw0rd1234",
    "adminadmin12",
    "administrator",
    "administrator1",
    "admin1234567",
    "welcome12345",
    "welcome123456",
    "letmeinletmein",
    "letmein12345",
    "iloveyou1234",
    "iloveyou12345",
    "sunshine1234",
    "princess1234",
    "football1234",
    "baseball1234",
    "changeme1234",
    "changemenow1",
    "changemeplease",
    "trustno1trustno1",
    "correcthorsebatterystaple",
    "superman1234",
    "studio123456",
    "studiostudio",
    "recorder1234",
    "recorderrecorder",
    "engineer1234",
    "engineerengineer",
    "operator1234",
    "operatoroperator",
    "stagectl1234",
    "stagectlstagectl",
]


def check(password: Secret, name: str) -> None:
    """Refuse what is too short, too long, common, one sign over and over, or the name itself.

    Raises:
        RefusedError: code "password".
    """
    text = _plain(password)
    why = ""
    if len(text) < SHORTEST:
        why = f"A password has {SHORTEST} characters at least."
    elif len(text) > LONGEST:
        why = f"A password has {LONGEST} characters at most."
    elif text.casefold() in COMMON or len(set(text)) < 4:
        why = "This password is one of those that are tried first."
    elif name and text.casefold().replace(name.casefold(), "") == "":
        why = "This password is the name itself."
    if why:
        raise RefusedError(why, remedy="Take four words that do not belong together.", code="password")


def hashed(password: Secret, salt: bytes) -> str:
    """The text that is kept: "scrypt$n$r$p$salt$hash", base 64. Takes 0.4 s: call it through the world's offload."""
    made = _scrypt(password, salt, N, R, P)
    return f"scrypt${N}${R}${P}${_text(salt)}${_text(made)}"


def matches(password: Secret, kept: str) -> bool:
    """Is it the password of that text? Takes as long as `hashed`; a text that can't be read is never matched."""
    try:
        word, n, r, p, salt, wanted = kept.split("$")
        if word != "scrypt" or not (1 < int(n) <= N and 0 < int(r) <= R and 0 < int(p) <= 4):
            return False
        made = _scrypt(password, base64.b64decode(salt), int(n), int(r), int(p))
        return hmac.compare_digest(made, base64.b64decode(wanted))
    except ValueError:
        return False


def _scrypt(password: Secret, salt: bytes, n: int, r: int, p: int) -> bytes:
    return hashlib.scrypt(_plain(password).encode(), salt=salt, n=n, r=r, p=p, maxmem=MAX_MEMORY, dklen=32)


def _plain(password: Secret) -> str:
    """The same signs however a keyboard composes them."""
    return unicodedata.normalize("NFKC", password.reveal())


def _text(data: bytes) -> str:
    return base64.b64encode(data).decode("ascii")
