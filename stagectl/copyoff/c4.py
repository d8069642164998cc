"""How is a SHA-512 written as a C4 identifier, the hash by which a media hash list names its own files?

Source: ASC MHL specification 1.0, Appendix D: the 512 bits as one number in base 58, filled up on the left to 88
digits, after "c4". Formula checked against tests/vectors/mhl.py.
"""

import hashlib
from typing import Final

DIGITS: Final = "123456789ABCDEFGHJKLMNPQRSTUVWXYZabcdefghijkmnopqrstuvwxyz"
LENGTH: Final = 90  # with the two letters in front
Block = bytes | bytearray | memoryview


class C4:
    """Takes blocks like the hashes of hashlib."""

    def __init__(self) -> None:
        self._sha = hashlib.sha512()

    def update(self, data: Block, /) -> None:
        self._sha.update(data)

    def text(self) -> str:
        """The 90 characters."""
        return c4_text(self._sha.digest())


def c4_of(data: Block) -> str:
    """The identifier of bytes that are all here."""
    return c4_text(hashlib.sha512(data).digest())


def c4_text(digest: bytes) -> str:
    """Write the 64 bytes of a SHA-512."""
    number, text = int.from_bytes(digest, "big"), ""
    while number:
        number, digit = divmod(number, 58)
        text = DIGITS[digit] + text
    return "c4" + text.rjust(LENGTH - 2, DIGITS[0])


def c4_bytes(text: str) -> bytes:
    """Read the 64 bytes back.

    Raises:
        ValueError: no C4 identifier.
    """
    if len(text) != LENGTH or not text.startswith("c4"):
        raise ValueError("a C4 identifier has 90 characters, c4 in front")
    number = 0
    for letter in text[2:]:
        number = number * 58 + DIGITS.index(letter)
    try:
        return number.to_bytes(64, "big")
    except OverflowError as error:
        raise ValueError("this C4 identifier is larger than any SHA-512") from error
