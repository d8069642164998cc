"""How is a password kept? As scrypt of it, with a salt of its own; and which ones are not taken?

Numbers: scrypt with n = 2**17, r = 8, p = 1 (128 MiB, some 0.4 s of one core), as common guidance for passwords asks.
"""

import base64
import hashlib
import hmac
import re
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

# What people build a password of when twelve signs are asked for: words of public lists (from memory), and the trade's.
WORDS: Final = frozenset(
    """
    a abc abcd abcdef abcdefgh abcdefghijkl access account admin administrator angel apple asdf asdfgh asdfghjkl august
    autumn baby baseball basketball batman beautiful blink buster butterfly camera change changeme charlie cheese
    chocolate computer cookie correct batteryhorse daniel december default demo desk dragon engine engineer facebook
    family february flower football forever friend friends ginger google guest hall hannah harley hello hockey house
    hunter iceman internet iloveyou january jennifer jessica jesus jordan joshua july june killer letmein liverpool
    login london love lovely loveyou manager march master matrix matthew merlin michael michelle midnight mixer monday
    monkey mother mustang my myself nicole ninja now november october operator orange pass passphrase password peanut
    pepper phoenix please pokemon princess purple qazwsx qwer qwert qwerty qwertyui qwertyuiop recorder remember robert
    roll root samantha samsung secret september shadow silver snoopy soccer sophie spring stage stagectl starwars
    station studio summer sunday sunshine superman support sweet system take taylor temp test the thomas thunder tigger
    trustno unknown user viewer welcome whatever william winter yellow you zaqwsx zxcvbn zxcvbnm
    correcthorsebatterystaple
    """.split()  # noqa: SIM905 - a list of quoted words would be three times as long
)
# Rows of keys and the like, read forwards and backwards.
WALKS: Final = (
    *("qwertyuiop", "asdfghjkl", "zxcvbnm", "1234567890", "abcdefghijklmnopqrstuvwxyz"),
    *("1qaz2wsx3edc4rfv5tgb6yhn", "qazwsxedcrfvtgbyhnujm", "1q2w3e4r5t6y7u8i9o0p"),
)
_LOOKS: Final = str.maketrans("@4310$57!", "aaeiosstl")
_ROUND: Final = "0123456789!?.,;:-_#*+$%&/()=@ "


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
    elif _is_tried_first(text):
        why = "This password is one of those that are tried first."
    elif name and text.casefold().replace(name.casefold(), "") == "":
        why = "This password is the name itself."
    if why:
        raise RefusedError(why, remedy="Take four words that do not belong together.", code="password")


def _is_tried_first(text: str) -> bool:
    """Is it made of few signs, of a row of keys, or of one or two common words with figures round them?

    A rule in place of a list: whoever guesses builds them by the same rule, and no list of twelve signs is long enough.
    """
    low = text.casefold()
    if len(set(low)) < 5 or _walked(low) or low.isdigit():
        return True
    for core in {low.strip(_ROUND), low.translate(_LOOKS).strip(_ROUND), low.strip(_ROUND).translate(_LOOKS)}:
        once = _once(core)
        if once in WORDS or _walked(once):
            return True
        parts = [part for part in re.split(r"[^a-z]+", core) if part]
        if len(parts) <= 2 and all(part in WORDS for part in parts):
            return True
        if any(once[:cut] in WORDS and once[cut:] in WORDS for cut in range(1, len(once))):
            return True
    return False


def _once(text: str) -> str:
    """What is said over and over, once: "passpasspass" -> "pass"."""
    for size in range(1, len(text) // 2 + 1):
        if text[:size] * (len(text) // size) == text[: size * (len(text) // size)] and len(text) % size == 0:
            return text[:size]
    return text


def _walked(text: str) -> bool:
    """Is it nothing but pieces of three signs and more from rows of keys?"""
    left = text
    while left:
        size = next((size for size in range(len(left), 2, -1) if _in_a_row(left[:size])), 0)
        if not size:
            return False
        left = left[size:]
    return bool(text)


def _in_a_row(piece: str) -> bool:
    return any(piece in row * 2 or piece in (row * 2)[::-1] for row in WALKS)


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
