"""Is what a site says of copying off read as it is written, and what is wrong told with place and remedy?

Source of all rows: own construction.
"""

from datetime import time
from pathlib import Path
from typing import Final

import pytest

from stagectl.filetree import FileError, FileErrors
from stagectl.site import CopyEntry, Site, StoreEntry, TargetEntry, read_site
from stagectl.site.schema import SiteShape
from stagectl.yamlfile import parse
from tests.site.kinds_for_tests import KINDS, PARTS

HEAD: Final = """\
site: Hall
devices:
  iso-1: {box: text-deck, at: 10.0.5.11, clip store: 10.0.5.11}
  hall: {box: block-router, at: 10.0.5.21}
"""


def read(text: str, head: str = HEAD) -> Site:
    return read_site(parse(head + text, "/etc/hall/site.yaml"), Path("/etc/hall/site.yaml"), KINDS, PARTS)


def store(text: str) -> StoreEntry | None:
    return read(f"  iso-2: {{box: text-deck, at: 10.0.5.12, clip store: {text}}}\n").devices["iso-2"].store


def test_a_site_that_says_nothing_of_it_copies_nothing() -> None:
    assert read("").copy == CopyEntry()
    assert read("").devices["hall"].store is None


def test_a_clip_store_is_an_address_or_more_of_it() -> None:
    assert store("10.0.5.12:2121") == StoreEntry("10.0.5.12", 2121, line=5)
    assert store("{}") == StoreEntry("10.0.5.12", 21, line=5)
    whole = "{at: 10.0.9.12, login: rec.login, folders: {1: /usb/, 2: sd1}, sessions: 2, read while recording: yes}"
    assert store(whole) == StoreEntry(
        host="10.0.9.12",
        port=21,
        login=Path("/etc/hall/rec.login"),
        folders={1: "usb", 2: "sd1"},
        sessions=2,
        while_recording=True,
        line=5,
    )


def test_every_word_of_copy_is_read_in_its_unit() -> None:
    site = read(
        """\
copy:
  to:
    shuttle: {folder: /mnt/shuttle, mounted: yes, keep free: 50 GB}
    vault: {s3: "https://10.0.5.9:9000/", bucket: takes, folder: /hall/, region: here, key: vault.key}
  layout: "{day}/{recorder}/{clip}"
  order: good takes first,  oldest day first
  rate: 80 MB/s
  double read: yes
  at: "02:00"
  after wrap: 45 min
"""
    )
    assert site.copy == CopyEntry(
        targets=(
            TargetEntry("shuttle", "folder", "/mnt/shuttle", 50_000_000_000, mounted=True, line=7),
            TargetEntry(
                "vault",
                "s3",
                "hall",
                url="https://10.0.5.9:9000",
                bucket="takes",
                region="here",
                key=Path("/etc/hall/vault.key"),
                line=8,
            ),
        ),
        layout="{day}/{recorder}/{clip}",
        order=("good takes first", "oldest day first"),
        rate_bps=80e6,
        double_read=True,
        at=time(2, 0),
        after_wrap_s=2700.0,
        line=6,
    )


def test_a_host_that_speaks_sftp_is_known_by_its_key() -> None:
    site = read("copy: {to: {nas: {sftp: copy@nas.local, folder: /takes, key: /etc/k, known hosts: nas.known}}}\n")
    assert site.copy.targets == (
        TargetEntry(
            "nas",
            "sftp",
            "/takes",
            host="nas.local",
            port=22,
            user="copy",
            key=Path("/etc/k"),
            known_hosts=Path("/etc/hall/nas.known"),
            line=5,
        ),
    )


TO: Final = "to: {a: {folder: /mnt/a}}"
AGAIN: Final = "these words contradict or repeat each other. Write it like good takes first, oldest day first."
WRONG: Final = [
    # what stands below HEAD, what is said of it
    (
        "copy: {to: {}}",
        "5:12 copy.to: there is no place to copy to. Write one: `shuttle: {folder: /mnt/shuttle}`.",
    ),
    ("copy: {double read: yes}", "5:7 copy.to: this is missing. Add it."),
    ("copy: {to: {a: {}}}", "5:16 copy.to.a.folder: this is missing. Add it."),
    (
        "copy: {to: {a: {folder: /mnt}, b: {folder: /mnt/}}}",
        "5:35 copy.to.b: this is the same place as a. Two copies in one place are one copy.",
    ),
    (
        "copy: {to: {a: {folder: /a}, b: {folder: /b}, c: {folder: /c}}}",
        "5:47 copy.to.c: these are more than 2 places. Copy on from one of them.",
    ),
    (
        "copy: {to: {a: {folder: ../a}}}",
        "5:25 copy.to.a.folder: a way out of the folder stands here. Write the place itself, without `..`.",
    ),
    (
        "copy: {to: {a: {folder: a, mounted: yes}}}",
        "5:37 copy.to.a.mounted: a folder in the data folder is no mount. Take it out.",
    ),
    (
        'copy: {to: {a: {s3: "https://a", bucket: b, key: k, keep free: 1 GB}}}',
        "5:53 copy.to.a.keep free: a place that speaks s3 has none. Take it out.",
    ),
    (
        "copy: {to: {a: {folder: /a, keep free: 5 %}}}",
        '5:40 copy.to.a.keep free: "5 %" can\'t be read. Write it like 2 GB.',
    ),
    (
        f"copy: {{{TO}, order: good first}}",
        '5:42 copy.order: "good first" is no order. Perhaps you mean good takes first.',
    ),
    (
        f'copy: {{{TO}, order: "newest day first, oldest day first"}}',
        f"5:42 copy.order: {AGAIN}",
    ),
    (
        f'copy: {{{TO}, order: "good takes first, good takes first"}}',
        f"5:42 copy.order: {AGAIN}",
    ),
    (
        "copy: {to: {a: {folder: /a, bucket: b}}}",
        "5:29 copy.to.a.bucket: a place that is a folder has none. Take it out.",
    ),
    (
        "copy: {to: {a: {sftp: nas.local, folder: /a, key: k, known hosts: h}}}",
        '5:23 copy.to.a.sftp: "nas.local" names nobody to come in as. Write it like copy@10.0.5.9:22.',
    ),
    (
        "copy: {to: {a: {sftp: copy@nas.local, folder: /a, key: k}}}",
        "5:16 copy.to.a.known hosts: this is missing. Add it.",
    ),
    (
        "copy: {to: {a: {s3: nas.local, bucket: b, key: k}}}",
        '5:21 copy.to.a.s3: "nas.local" is no address of a store. Write it like https://10.0.5.9:9000.',
    ),
    (
        f'copy: {{{TO}, layout: "{{reel}}/{{clip}}"}}',
        (
            '5:43 copy.layout: "{reel}" stands for nothing. Write it like {day}/{recorder}/{clip}. '
            "There is {recorder}, {clip}, {stem}, {ext}, {slot}, {day}, {slate}, {take}."
        ),
    ),
    (
        f'copy: {{{TO}, layout: "{{clip}}"}}',
        "5:43 copy.layout: clips of two recorders could have one name here. Write {recorder} and {clip} in it.",
    ),
    (
        f'copy: {{{TO}, layout: "/{{recorder}}/{{clip}}"}}',
        '5:43 copy.layout: "/{recorder}/{clip}" is no path within a place. Write it like {day}/{recorder}/{clip}.',
    ),
    (
        f'copy: {{{TO}, layout: "{{recorder/{{clip}}"}}',
        '5:43 copy.layout: "{recorder/{clip}" has a brace too many or too few. Write it like {day}/{recorder}/{clip}.',
    ),
    (f"copy: {{{TO}, rate: fast}}", '5:41 copy.rate: "fast" can\'t be read. Write it like 80 MB/s.'),
    (f'copy: {{{TO}, at: "25:00"}}', '5:39 copy.at: "25:00" is no time of day. Write it like "02:00".'),
    (
        f"copy: {{{TO}, after wrap: soon}}",
        '5:47 copy.after wrap: "soon" can\'t be read. Write it like 45 min, 90 s or 2 h.',
    ),
]


@pytest.mark.parametrize(("text", "said"), WRONG)
def test_a_mistake_is_told_with_its_place_and_remedy(text: str, said: str) -> None:
    with pytest.raises((FileError, FileErrors)) as caught:
        read(text)
    assert str(caught.value) == f"/etc/hall/site.yaml:{said}"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("{at: 10.0.5.300}", 'devices.x.clip store.at: "10.0.5.300" is no address. Write it like 10.0.5.11, or'),
        ("{folders: {0: a}}", 'devices.x.clip store.folders.0: "0" is out of range. Count from 1, to 8 at most.'),
        ("{sessions: 9}", 'devices.x.clip store.sessions: "9" is out of range. Count from 1, to 4 at most.'),
        ("{loggin: a}", "devices.x.clip store.loggin: nobody reads this. Say login."),
    ],
)
def test_a_mistake_in_a_clip_store_is_told_with_its_place_and_remedy(text: str, said: str) -> None:
    with pytest.raises((FileError, FileErrors)) as caught:
        read(f"  x: {{box: text-deck, at: 10.0.5.12, clip store: {text}}}\n")
    assert said in str(caught.value)
    assert str(caught.value).startswith("/etc/hall/site.yaml:5:")


def test_only_a_recorder_has_clips() -> None:
    with pytest.raises(FileError, match="this is a router, and has no clips"):
        read("  x: {box: block-router, at: 10.0.5.12, clip store: 10.0.5.12}\n")


def test_a_site_without_a_clip_store_has_nothing_to_copy() -> None:
    with pytest.raises(FileError, match="no recorder has a clip store") as caught:
        read(f"copy: {{{TO}}}\n", HEAD.replace(", clip store: 10.0.5.11", ""))
    assert "Add `clip store:` to a recorder." in str(caught.value)


def test_editors_know_the_same_words() -> None:
    root = parse(HEAD + f"copy: {{{TO}, after wrap: 45 min, double read: yes}}\n", "site.yaml")
    SiteShape.model_validate(root.plain())
