"""How do copies stand in a bucket of S3-compatible storage?

Needs obstore, the extra "s3". A bucket has no parts that could be read, and no renaming: a copy is uploaded in pieces
and stands when the upload is completed, create-only. An upload that is under way is lost with the process.
Source: Amazon S3 API reference, CompleteMultipartUpload and PutObject: `If-None-Match: *` is answered by 412 where the
key is taken; at most 10,000 pieces an upload.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from importlib import import_module
from typing import Any, Final
from urllib.parse import urlsplit

from stagectl.copyoff.errors import CopyError, Reason
from stagectl.copyoff.target import Standing, is_part
from stagectl.model.secret import Secret

PIECE: Final = 64 << 20  # bytes of an upload's pieces: 10,000 of them hold 625 GiB, three hours at the highest rate
AT_ONCE: Final = 2  # pieces on the way: with the one that fills, the memory of an upload
RANGE: Final = 16 << 20  # bytes asked for at once when reading back
SMALL_MOST: Final = 64 << 20  # bytes of an object that is read whole
CALL_S: Final = 120  # for one answer, or for one piece to go over
_ONLY_NEW: Final = {"If-None-Match": "*"}


@dataclass(frozen=True, slots=True)
class Bucket:
    """Where to go.

    Attributes:
        url: of the store: "https://10.0.5.9:9000".
        name: of the bucket.
        folder: what stands before every key; empty: nothing.
        region: empty: the store has none.
    """

    url: str
    name: str
    folder: str
    region: str


class Uploads:
    """Uploads under way to one place, by path and job.

    The thread that fetches begins one and the thread that publishes ends it: they share this, and never one upload.

    Attributes:
        create_only: the store has not yet said that it knows no such condition.
    """

    def __init__(self) -> None:
        self._going: dict[tuple[str, str], Any] = {}
        self.create_only = True

    def begin(self, path: str, job: str, writer: Any) -> None:
        self._going[path, job] = writer

    def of(self, path: str, job: str) -> Any:
        return self._going.get((path, job))

    def end(self, path: str, job: str) -> Any:
        """Take one out, for who completes it or lets it go; None: there is none."""
        return self._going.pop((path, job), None)


class S3:
    """A bucket, or what stands below a folder of it, as a target.

    Args:
        name: what the site file calls it.
        bucket: where.
        key: id of our access key, and its secret.
        uploads: one object for all targets of the place.

    Raises:
        CopyError: TARGET, the library is absent, or the store does not answer, does not take our key, or has no such
            bucket.
    """

    parts_readable = False

    def __init__(self, name: str, bucket: Bucket, key: tuple[str, Secret], uploads: Uploads) -> None:
        self.name = name
        self.medium = f"s3 {urlsplit(bucket.url).netloc}/{bucket.name}"
        self._uploads = uploads
        try:
            self._obs: Any = import_module("obstore")
            stores: Any = import_module("obstore.store")
            self._errors: Any = import_module("obstore.exceptions")
        except ImportError as error:
            why = f"{name}: copying to S3 needs a library. Install it: pip install 'stagectl[s3]'"
            raise CopyError(Reason.TARGET, why) from error

        def store(**headers: str) -> Any:
            return stores.S3Store(
                bucket.name,
                endpoint=bucket.url,
                prefix=bucket.folder or None,
                region=bucket.region or "us-east-1",  # what stores without regions are signed for
                access_key_id=key[0],
                secret_access_key=key[1].reveal(),
                virtual_hosted_style_request=False,
                client_options={
                    "allow_http": bucket.url.startswith("http://"),
                    "connect_timeout": timedelta(seconds=10),
                    "timeout": timedelta(seconds=CALL_S),
                    "default_headers": headers,
                },
                retry_config={"max_retries": 2, "retry_timeout": timedelta(seconds=CALL_S)},
            )

        with self.telling(f"can't use the bucket {bucket.name}"):
            self._store = store()
            self._creating = store(**_ONLY_NEW)
            self._obs.list_with_delimiter(self._store, "stagectl-is-it-there")

    def free(self) -> int | None:
        return None

    def at(self, path: str) -> Standing | None:
        with self.telling(f"can't look at {path}"):
            try:
                return Standing(path, int(self._obs.head(self._store, path)["size"]))
            except FileNotFoundError:
                return None

    def open_part(self, path: str, job: str) -> "Upload":
        self._uploads.end(path, job)  # an earlier try's: it can't be gone on with
        return Upload(self, path, job)

    def read_part(self, path: str, job: str) -> Iterator[bytes]:
        raise CopyError(Reason.TARGET, f"{self.name}: what is uploaded of {path} can't be read before it stands.")

    def read_back(self, path: str) -> Iterator[bytes]:
        found = self.at(path)
        if found is None:
            raise CopyError(Reason.GONE, f"{self.name}: {path} is not there.")
        for start in range(0, found.size, RANGE):
            with self.telling(f"can't read {path}"):
                block = self._obs.get_range(self._store, path, start=start, length=min(RANGE, found.size - start))
            yield bytes(block)

    def publish(self, path: str, job: str, mtime: datetime | None) -> None:
        writer = self._uploads.end(path, job)
        if writer is None:
            why = f"{self.name}: the upload of {path} was lost with the program. It is copied anew."
            raise CopyError(Reason.SHORT, why)
        if self.at(path) is not None:  # a store may know no create-only completion
            self._uploads.begin(path, job, writer)
            raise self._occupied(path)
        # An answer that was lost is asked for again, and then the key is taken, by this very copy. So what says no here
        # is worth another look, and only what reads back differently is somebody else's.
        with self.telling(f"can't complete {path}"):
            writer.close()

    def discard(self, path: str, job: str) -> None:
        self._uploads.end(path, job)

    def withdraw(self, path: str, job: str) -> None:
        with self.telling(f"can't remove {path}"):
            self._obs.delete(self._store, path)

    def read_small(self, path: str) -> bytes | None:
        found = self.at(path)
        if found is None:
            return None
        if found.size > SMALL_MOST:
            raise CopyError(Reason.TARGET, f"{self.name} can't read {path}: it is over {SMALL_MOST >> 20} MiB.")
        return b"".join(self.read_back(path))

    def write_small(self, path: str, data: bytes, *, replace: bool) -> None:
        with self.telling(f"can't write {path}"):
            try:
                mode = "overwrite" if replace else "create"
                self._obs.put(self._store, path, data, mode=mode, use_multipart=False)
            except (self._errors.PreconditionError, self._errors.AlreadyExistsError) as error:
                raise CopyError(Reason.OCCUPIED, f"{self.name}: {path} is there already.") from error

    def tree(self, under: str = "") -> Iterator[Standing]:
        with self.telling(f"can't list {under or 'its top'}"):
            for some in self._obs.list(self._store, under or None):
                yield from (Standing(one["path"], int(one["size"])) for one in some if not is_part(one["path"]))

    def close(self) -> None:
        """Nothing is held open but uploads, and those belong to the place."""

    def upload(self, path: str, job: str) -> Any:
        """The upload of a job, begun if there is none."""
        writer = self._uploads.of(path, job)
        if writer is None:
            store = self._creating if self._uploads.create_only else self._store
            writer = self._obs.open_writer(store, path, buffer_size=PIECE, max_concurrency=AT_ONCE)
            self._uploads.begin(path, job, writer)
        return writer

    @contextmanager
    def telling(self, what: str) -> Iterator[None]:
        try:
            yield
        except (self._errors.BaseError, OSError, ValueError) as error:
            raise CopyError(Reason.TARGET, f"{self.name} {what}: {self._why(error)}") from error

    def _why(self, error: Exception) -> str:
        """The library's words hold addresses and several lines: they stay in the cause."""
        match error:
            case self._errors.UnauthenticatedError() | self._errors.PermissionDeniedError():
                return "the store does not take our key for this. Look at the key, and at what it may do."
            case _ if "<Code>NoSuchBucket</Code>" in str(error):
                return "the store has no such bucket."
            case _ if "<Code>NotImplemented</Code>" in str(error):
                # the word of Amazon's API for a header whose meaning a store does not know
                self._uploads.create_only = False
                return "the store knows no create-only uploads. The copy begins anew, and is only looked for before."
            case FileNotFoundError():
                return "there is no such object."
            case ValueError():
                return "the store has no such name. Look at the site file."
            case _:
                return "the store did not answer as it should. Look at the network and at the store."

    def _occupied(self, path: str) -> CopyError:
        say = "Nothing was overwritten. Move that one away, or copy to another folder."
        return CopyError(Reason.OCCUPIED, f"{self.name}: another {path} stands there. {say}")


class Upload:
    """A copy that is going up; it can't be gone on with after the process, and nothing of it can be read."""

    def __init__(self, target: S3, path: str, job: str) -> None:
        self._target, self._path, self._job = target, path, job
        self.size = 0

    def read(self, most: int) -> Iterator[bytes]:
        if most:
            raise CopyError(Reason.TARGET, f"{self._target.name}: what is uploaded of {self._path} can't be read.")
        return iter(())

    def cut(self, size: int) -> None:
        if size:
            raise CopyError(Reason.TARGET, f"{self._target.name}: an upload can only begin anew.")
        self._target.discard(self._path, self._job)
        self.size = 0

    def write(self, data: memoryview) -> None:
        with self._target.telling(f"can't upload {self._path}"):
            self._target.upload(self._path, self._job).write(bytes(data))
        self.size += len(data)

    def sync(self) -> None:
        """The store keeps what it has taken; the rest goes when the copy is published, and is read back after it."""
        self._target.upload(self._path, self._job)  # an empty file has one too

    def close(self) -> None:
        """The upload goes on: whoever publishes the copy completes it."""
