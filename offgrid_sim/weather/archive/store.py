"""The cache on disk: one packed JSON file for each answer, under the user's cache folder.

A backend of requests-cache without a database: files appear whole (written aside, then renamed),
so two processes cannot lock each other out, and one damaged file spoils one year only. A file that
cannot be read is set aside in ``damaged/`` and remembered in ``set_aside``. Beside an answer may
lie a copy of what was made of it (finished.py): quicker to read, lost without harm. Nothing is
deleted but copies, and then the files longest not used, when all together exceed the limit.
"""

from __future__ import annotations

import contextlib
import gzip
import hashlib
import json
import os
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from cattrs.preconf.json import make_converter
from requests_cache import BaseCache, CachedResponse
from requests_cache.backends import BaseStorage
from requests_cache.serializers import CattrStage, SerializerPipeline, Stage

from offgrid_sim.errors import WeatherUnavailable
from offgrid_sim.user_cache import user_cache_folder
from offgrid_sim.whole_file import write_whole

LIMIT_MB = 500
"""Some 2,000 place-years of 150 kB with copies of 100 kB; OFFGRID_SIM_ARCHIVE_MB changes it."""
SUFFIX = ".json.gz"
COPY_SUFFIX = ".hours.npz"
_ABANDONED_AFTER_S = 86400.0


def default_folder() -> Path:
    """``archive`` under OFFGRID_SIM_CACHE or, without it, the user's cache folder."""
    return user_cache_folder() / "archive"


def default_limit_bytes() -> int:
    """The limit of all files together; a wrong OFFGRID_SIM_ARCHIVE_MB is said."""
    text = os.environ.get("OFFGRID_SIM_ARCHIVE_MB") or str(LIMIT_MB)
    if not text.isdecimal() or int(text) < 1:
        raise WeatherUnavailable(
            f"OFFGRID_SIM_ARCHIVE_MB is {text!r}, not a whole number of megabytes; "
            f"set it to {LIMIT_MB} or unset it."
        )
    return int(text) * 1_000_000


def _pack(plain: Any) -> bytes:
    return gzip.compress(json.dumps(plain, separators=(",", ":")).encode("utf-8"), 6, mtime=0)


def _unpack(packed: bytes) -> Any:
    return json.loads(gzip.decompress(packed).decode("utf-8"))


def packed_json() -> SerializerPipeline:
    """Responses as JSON, their body as the text it is, packed: quick to read, by anybody."""
    plain = CattrStage(make_converter)
    plain.converter.register_unstructure_hook(
        bytes, lambda body: (body or b"").decode("utf-8", "surrogateescape")
    )
    plain.converter.register_structure_hook(
        bytes, lambda text, _: (text or "").encode("utf-8", "surrogateescape")
    )
    return SerializerPipeline([plain, Stage(dumps=_pack, loads=_unpack)], "packed json", True)


class AnswerFiles(BaseStorage):
    """Key to response, each in its own gzip-packed JSON file (gzip's CRC finds any damage)."""

    def __init__(self, folder: Path, limit_bytes: int):
        super().__init__(serializer=packed_json(), decode_content=False)
        self.folder = folder
        self.limit_bytes = limit_bytes
        self.set_aside: list[str] = []
        self.dropped: list[str] = []

    def path(self, key: str) -> Path:
        """Where the answer of a key lies."""
        return self.folder / f"{key}{SUFFIX}"

    def __getitem__(self, key: str) -> CachedResponse:
        """The stored answer; KeyError if there is none or it was damaged."""
        path = self.path(key)
        try:
            packed = path.read_bytes()
        except (FileNotFoundError, NotADirectoryError):
            raise KeyError(key) from None
        except OSError as error:
            raise WeatherUnavailable(
                f"{path}: this file of the weather cache cannot be read "
                f"({(error.strerror or str(error)).lower()}); close what holds it or mend its "
                "rights, then run it again."
            ) from error
        try:
            answer: CachedResponse = self.serializer.loads(packed)
            if answer.status_code != 200 or not answer.content:
                raise ValueError("not an answer of ours")
        except Exception:  # damage can take any form
            self._put_aside(path)
            raise KeyError(key) from None
        answer.cache_key = key
        with contextlib.suppress(OSError):
            os.utime(path)
        return answer

    def __setitem__(self, key: str, answer: CachedResponse) -> None:
        """Keep an answer; the file appears whole or not at all."""
        packed = self.serializer.dumps(answer)
        try:
            write_whole(self.path(key), packed)
        except OSError as error:
            raise WeatherUnavailable(
                f"{self.folder}: the weather cache cannot be written "
                f"({(error.strerror or str(error)).lower()}); free space, mend its rights or set "
                "OFFGRID_SIM_CACHE to another folder."
            ) from error
        self._drop_oldest(keep=self.path(key))

    def checksum(self, key: str) -> str | None:
        """SHA-256 of an answer's file, sound or not; None if there is none that can be read."""
        try:
            return hashlib.sha256(self.path(key).read_bytes()).hexdigest()
        except OSError:
            return None

    def used(self, key: str) -> None:
        """Remember that an answer was used just now, by itself or by its copy."""
        for path in (self.path(key), self.copy_path(key)):
            with contextlib.suppress(OSError):
                os.utime(path)

    def copy_path(self, key: str) -> Path:
        """Where the quick copy of an answer's content lies."""
        return self.folder / f"{key}{COPY_SUFFIX}"

    def copy(self, key: str) -> bytes | None:
        """The quick copy of an answer's content, sound or not; None if there is none."""
        try:
            return self.copy_path(key).read_bytes()
        except OSError:
            return None

    def keep_copy(self, key: str, content: bytes) -> None:
        """Keep a quick copy if the limit leaves room for it; without one all works, but slower."""
        if self.size_bytes() + len(content) <= self.limit_bytes:
            with contextlib.suppress(OSError):
                write_whole(self.copy_path(key), content)

    def __delitem__(self, key: str) -> None:
        """Forget an answer and its copy."""
        self._drop_copy(key)
        try:
            self.path(key).unlink()
        except OSError:
            raise KeyError(key) from None

    def __contains__(self, key: object) -> bool:
        """Whether a file of that key is there, sound or not."""
        return self.path(str(key)).is_file()

    def __iter__(self) -> Iterator[str]:
        """Keys of all stored answers, in order."""
        return iter(sorted(p.name.removesuffix(SUFFIX) for p in self._stored()))

    def __len__(self) -> int:
        """How many answers are stored."""
        return len(self._stored())

    def size_bytes(self) -> int:
        """Bytes of all files, those set aside included."""
        return sum(size for _, size, _ in self._all_files())

    def _stored(self) -> list[Path]:
        try:
            return [p for p in self.folder.glob(f"*{SUFFIX}") if not p.name.startswith(".")]
        except OSError:
            return []

    def _put_aside(self, path: Path) -> None:
        """Move a damaged file out of the way without losing it."""
        self._drop_copy(path.name.removesuffix(SUFFIX))
        aside = path.parent / "damaged" / path.name
        with contextlib.suppress(OSError):
            aside.parent.mkdir(exist_ok=True)
            os.replace(path, aside)
        self.set_aside.append(path.name.removesuffix(SUFFIX))

    def _drop_copy(self, key: str) -> None:
        with contextlib.suppress(OSError):
            self.copy_path(key).unlink()

    def _all_files(self) -> list[tuple[float, int, Path]]:
        """(last use, bytes, path) of every file; one that just vanished is not an error."""
        found = []
        for path in [*self.folder.glob("*"), *self.folder.glob("damaged/*")]:
            with contextlib.suppress(OSError):
                if path.is_file():
                    stat = path.stat()
                    found.append((stat.st_mtime, stat.st_size, path))
        return found

    def _drop_oldest(self, keep: Path) -> None:
        """Remove what was longest not used until the limit holds, and abandoned scratch files.

        Copies go before answers: they can be made again without a network.
        """
        files = sorted(self._all_files(), key=lambda file: (file[2].name.endswith(SUFFIX), file))
        excess = sum(size for _, size, _ in files) - self.limit_bytes
        for used, size, path in files:
            abandoned = path.name.startswith(".") and used < time.time() - _ABANDONED_AFTER_S
            ours = path.name.endswith((SUFFIX, COPY_SUFFIX))
            if path == keep or not (abandoned or (excess > 0 and ours)):
                continue
            with contextlib.suppress(OSError):
                path.unlink()
                excess -= size
                if path.name.endswith(SUFFIX):
                    self.dropped.append(path.name.removesuffix(SUFFIX))


class ArchiveCache(BaseCache):
    """What requests-cache keeps its answers in; redirects live in memory only."""

    def __init__(self, folder: Path | None = None, limit_bytes: int | None = None):
        super().__init__(cache_name="archive")
        self.files = AnswerFiles(
            default_folder() if folder is None else folder,
            default_limit_bytes() if limit_bytes is None else limit_bytes,
        )
        self.responses = self.files

    def text(self, key: str) -> str | None:
        """The stored answer's body, without any network; None if there is none (any more)."""
        try:
            return str(self.files[key].content, "utf-8")
        except (KeyError, UnicodeDecodeError):
            return None
