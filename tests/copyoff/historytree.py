"""A tree of copies with a history, made and looked at through the same doors as the engine's."""

from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from stagectl.copyoff.digests import digest
from stagectl.copyoff.folder import Folder
from stagectl.copyoff.mhl import Sealing
from stagectl.copyoff.mhlhistory import Wrong
from stagectl.copyoff.mhlverify import Report, verify
from stagectl.copyoff.record import Published

MOMENT: Final = datetime(2026, 11, 25, 5, 13, 12, tzinfo=UTC)
SEALING: Final = Sealing(lambda: MOMENT, "hall", "0.1.0")
CLIPS: Final[Mapping[str, bytes]] = {
    "iso-1/CAM1_T001.mov": b"abcd",
    "iso-1/Säle & <Türen> [1];%.mov": b"one",
    "iso-2/CAM2_T001.mov": bytes(100_000),
    "iso-2/empty.mov": b"",
}


def hash_of(kind: str, data: bytes) -> str:
    made = digest(kind)
    made.update(data)
    return made.text()


def copy(path: str, data: bytes, kind: str = "xxh128") -> Published:
    """What the engine tells of a copy."""
    recorder, _, clip = path.partition("/")
    return Published(
        job="01KB0000000000000000000000",
        target="rushes",
        path=path,
        size=len(data),
        hash_kind=kind,
        digest=hash_of(kind, data),
        mtime=MOMENT,
        started=MOMENT,
        verified=MOMENT,
        published=MOMENT,
        recorder=recorder,
        called="Rec 1",
        slot=1,
        source=f"1/{clip}",
        take=1,
        slate="24B",
        good=True,
    )


def put(top: Path, clips: Mapping[str, bytes]) -> None:
    for path, data in clips.items():
        (top / path).parent.mkdir(parents=True, exist_ok=True)
        (top / path).write_bytes(data)


def sealed(top: Path, clips: Mapping[str, bytes], kind: str = "xxh128") -> str:
    """Lay clips down, and a generation of them."""
    put(top, clips)
    return SEALING(Folder("rushes", top), (copy(path, data, kind) for path, data in clips.items()))


def verified(top: Path) -> Report:
    return verify(Folder("rushes", top))


def told(report: Report) -> set[tuple[Wrong, str]]:
    return {(finding.what, finding.path) for finding in report.findings}
