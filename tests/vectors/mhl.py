"""Hashes of media hash lists, as they were reckoned by programs that are not ours.

xxHash: Debian's `xxhsum` 0.8.1 for `abcd` (-H1 xxh64, -H2 xxh128, -H3 xxh3), the library xxhash 4.1.0 for the others;
md5: `md5sum`; c4: as the reference tool ascmhl 1.2 writes it for its own manifests. Folders: ascmhl 1.2,
`ascmhl create -h xxh128`, and Appendix G of the ASC MHL specification 1.0 for the rule.
"""

from typing import Final

LINE: Final = b"stagectl\n"

HASHES: Final = [
    # kind, input, text
    ("xxh64", b"", "ef46db3751d8e999"),
    ("xxh3", b"", "2d06800538d394c2"),
    ("xxh128", b"", "99aa06d3014798d86001c324468d497f"),
    ("md5", b"", "d41d8cd98f00b204e9800998ecf8427e"),
    ("c4", b"", "c459dsjfscH38cYeXXYogktxf4Cd9ibshE3BHUo6a58hBXmRQdZrAkZzsWcbWtDg5oQstpDuni4Hirj75GEmTc1sFT"),
    ("xxh64", b"abcd", "de0327b0d25d92cc"),
    ("xxh3", b"abcd", "6497a96f53a89890"),
    ("xxh128", b"abcd", "8d6b60383dfa90c21be79eecd1b1353d"),
    ("md5", b"abcd", "e2fc714c4727ee9395f324cd2e7f331f"),
    ("sha1", b"abcd", "81fe8bfe87576c3ecb22426f8e57847382917acf"),
    ("c4", b"abcd", "c45KV7faX3SmdaS4RZ56zPtoim44W4L2uCXH4zFVkDr88XcStBSgTVxYZJa9bxCHwDbLJFctCKNfxJKFqA4fLuPanA"),
    ("xxh64", LINE, "7b91300cebc52f0b"),
    ("xxh3", LINE, "8d8b2846b1fa37b9"),
    ("xxh128", LINE, "1123b1039c286fb5f23eb802858d94eb"),
    ("md5", LINE, "a444ef45161f6d4892d2b4ed46741efb"),
    ("c4", LINE, "c421k7HBCmVLqKLBHwn4YCLU7VpnHiD8v1eJkdXcPRLeKEnXsGBUm3GpymKdUMFMD3HK1v71wijiP5ba8pDo9fqdZy"),
]
