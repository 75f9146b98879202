"""Asking a weather server politely: in time, whole, usable, and kept only then.

Every fault becomes one sentence (ArchiveFaultError). What is stored before stays: an answer is
written only after it was read whole, within the deadline, with status 200, and found usable.
"""

from __future__ import annotations

import contextlib
import socket
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from email.utils import parsedate_to_datetime
from typing import Any, Literal
from urllib.parse import urlsplit

import requests
import urllib3
from requests.adapters import HTTPAdapter
from requests_cache import NEVER_EXPIRE, CachedSession

from offgrid_sim import __version__
from offgrid_sim.errors import WeatherUnavailable
from offgrid_sim.weather.archive.store import AnswerFiles, ArchiveCache

TIMEOUT_S = 30.0
WAITS_S = (1.0, 2.0, 4.0)
"""Pauses before the second, third and fourth try."""
TRIES_AFTER_TIMEOUT = 2
LONGEST_WAIT_S = 60.0
"""A server that asks for a longer pause (Retry-After) is left alone."""
PAUSE_BETWEEN_S = 0.1
"""At most ten requests a second; PVGIS allows 30."""
MOST_BYTES = 50_000_000
TRY_AGAIN = (429, 500, 502, 503, 504, 529)

Kind = Literal["gone", "ailing", "refused"]


class ArchiveFaultError(WeatherUnavailable):
    """Why a year could not be had. ``reason`` is a clause without a full stop.

    ``kind`` is "gone" (no use in asking on), "ailing" (this answer failed, the next may not) or
    "refused" (this place and year are not to be had here).
    """

    def __init__(self, kind: Kind, reason: str):
        super().__init__(f"{reason}; run the same command again later.")
        self.kind = kind
        self.reason = reason


class _Again(Exception):  # noqa: N818
    """This try failed with ``fault``; another may succeed, not before ``wait_s`` has passed."""

    def __init__(self, fault: ArchiveFaultError, wait_s: float = 0.0, tries: int = 99):
        super().__init__(str(fault))
        self.fault, self.wait_s, self.tries = fault, wait_s, tries


@dataclass(frozen=True)
class Question:
    """One request: ``usable`` raises ArchiveFaultError or ValueError (not JSON) for its body.

    ``stored`` is called once a new answer lies in the cache.
    """

    key: str
    called: str
    url: str
    params: Mapping[str, str]
    usable: Callable[[str], None]
    refusal: Callable[[str], str]
    stored: Callable[[AnswerFiles], None] = lambda files: None


class _WholeAnswers(HTTPAdapter):
    """Reads each body whole within one deadline, so that a trickle cannot hold the user up."""

    deadline_s = TIMEOUT_S
    question: Question | None = None

    def send(self, request: Any, *args: Any, **kwargs: Any) -> requests.Response:
        """The response with its body read; requests.Timeout when it takes too long."""
        until = time.monotonic() + self.deadline_s
        answer = super().send(request, *args, **kwargs)
        try:
            body = _body(answer, until)
        except BaseException:
            answer.close()
            raise
        answer._content = body
        answer.headers.pop("Vary", None)  # one question, one answer, whatever else may vary
        if answer.status_code == 200 and self.question is not None:
            _check(self.question, answer)
        return answer


class Web:
    """A requests-cache session over the archive's cache. Use it in a ``with`` block."""

    def __init__(
        self,
        cache: ArchiveCache,
        timeout_s: float = TIMEOUT_S,
        sleep: Callable[[float], None] = time.sleep,
    ):
        self._timeout_s = timeout_s
        self._sleep = sleep
        self._files = cache.files
        self._adapter = _WholeAnswers()
        self._adapter.deadline_s = timeout_s
        self._session = CachedSession(
            backend=cache,
            key_fn=self._key,
            allowable_codes=(200,),
            allowable_methods=("GET",),
            expire_after=NEVER_EXPIRE,
        )
        self._session.headers["User-Agent"] = f"offgrid-sim/{__version__}"
        for scheme in ("http://", "https://"):
            self._session.mount(scheme, self._adapter)

    def __enter__(self) -> Web:
        """Nothing is opened before the first question."""
        return self

    def __exit__(self, *_: object) -> None:
        """Close all connections."""
        self._session.close()

    def _key(self, **_: Any) -> str:
        assert self._adapter.question is not None
        return self._adapter.question.key

    def ask(self, question: Question, refresh: bool = False) -> bool:
        """Bring one answer into the cache; True if the server was asked, False if it was there.

        Raises ArchiveFaultError after the last try.
        """
        self._adapter.question = question
        tries = 0
        while True:
            tries += 1
            try:
                return self._once(question, refresh)
            except _Again as again:
                if tries > len(WAITS_S) or tries >= again.tries:
                    raise again.fault from None
                self._sleep(max(WAITS_S[tries - 1], again.wait_s))

    def _once(self, question: Question, refresh: bool) -> bool:
        host = _host(question.url)
        try:
            answer = self._session.get(
                question.url,
                params=dict(question.params),
                timeout=self._timeout_s,
                force_refresh=refresh,
            )
        except requests.exceptions.RequestException as error:
            raise _of_connection(error, host, self._timeout_s) from None
        if answer.status_code != 200:
            raise _of_status(answer, question)
        fresh = not getattr(answer, "from_cache", False)
        if fresh:
            question.stored(self._files)
            self._sleep(PAUSE_BETWEEN_S)
        return fresh


def _body(answer: requests.Response, until: float) -> bytes:
    """The whole body, decoded; faults as requests names them.

    ``read1`` returns what has arrived, so that the clock is looked at between bytes.
    """
    body = bytearray()
    read = getattr(answer.raw, "read1", answer.raw.read)
    try:
        while part := read(65536, decode_content=True):
            body += part
            if time.monotonic() > until:
                raise requests.exceptions.ReadTimeout("deadline")
            if len(body) > MOST_BYTES:
                raise ArchiveFaultError("refused", f"{_host(answer.url)} sent far too much")
    except urllib3.exceptions.ReadTimeoutError as error:
        raise requests.exceptions.ReadTimeout(error) from error
    except urllib3.exceptions.DecodeError as error:
        raise requests.exceptions.ContentDecodingError(error) from error
    except urllib3.exceptions.HTTPError as error:
        raise requests.exceptions.ChunkedEncodingError(error) from error
    return bytes(body)


def _host(url: str | None) -> str:
    return urlsplit(url or "").netloc or "the server"


def _check(question: Question, answer: requests.Response) -> None:
    """Refuse a body that must not be kept."""
    host = _host(question.url)
    text = answer.content.decode("utf-8", errors="replace").lstrip("\ufeff \t\r\n")
    kind = answer.headers.get("Content-Type", "").lower()
    if text.startswith("<") or ("html" in kind and not text.startswith("{")):
        raise ArchiveFaultError(
            "gone",
            f"{host} answered with a web page instead of data (a network's sign-in page, perhaps)",
        )
    try:
        question.usable(text)
    except ValueError:
        broken = f"{host} sent an answer for {question.called} that is cut off or not JSON"
        raise _Again(ArchiveFaultError("ailing", broken)) from None


def _of_connection(
    error: requests.exceptions.RequestException, host: str, timeout_s: float
) -> Exception:
    """What a failed connection means."""
    causes = " ".join(f"{type(e).__name__} {e}" for e in _chain(error))
    if isinstance(error, requests.exceptions.Timeout) or "timed out" in causes:
        slow = f"{host} did not answer within {timeout_s:g} s (--timeout gives it longer)"
        return _Again(ArchiveFaultError("gone", slow), tries=TRIES_AFTER_TIMEOUT)
    if isinstance(error, requests.exceptions.SSLError):
        return ArchiveFaultError("gone", f"the certificate of {host} is not accepted")
    if any(isinstance(e, socket.gaierror) for e in _chain(error)) or "NameResolution" in causes:
        lost = f"{host} cannot be found: there is no network, or the name is wrong"
        return _Again(ArchiveFaultError("gone", lost), tries=TRIES_AFTER_TIMEOUT)
    broken_off = ("IncompleteRead", "ChunkedEncoding", "RemoteDisconnected", "ConnectionReset")
    if any(word in causes for word in broken_off):
        return _Again(ArchiveFaultError("ailing", f"{host} broke off in the middle of its answer"))
    if isinstance(error, requests.exceptions.ConnectionError):
        return _Again(ArchiveFaultError("gone", f"{host} cannot be reached; is there a network?"),
                      tries=3)  # fmt: skip
    if isinstance(error, requests.exceptions.ContentDecodingError):
        return _Again(ArchiveFaultError("ailing", f"{host} sent a damaged answer"))
    return ArchiveFaultError("gone", f"{host} cannot be asked ({type(error).__name__})")


def _of_status(answer: requests.Response, question: Question) -> Exception:
    """What a status other than 200 means."""
    host, status = _host(question.url), answer.status_code
    if status == 429:
        wait_s = _retry_after_s(answer)
        fault = ArchiveFaultError("gone", f"{host} asks for fewer requests (HTTP 429)")
        if wait_s > LONGEST_WAIT_S:
            return ArchiveFaultError(
                "gone", f"{host} asks to be left alone for {wait_s / 60:.0f} min (HTTP 429)"
            )
        return _Again(fault, wait_s)
    if status in TRY_AGAIN:
        wait_s = min(_retry_after_s(answer), LONGEST_WAIT_S)
        return _Again(ArchiveFaultError("ailing", f"{host} is in trouble (HTTP {status})"), wait_s)
    if status in (400, 422):
        said = question.refusal(answer.text)
        return ArchiveFaultError("refused", f"{host} refuses {question.called}{said}")
    return ArchiveFaultError("gone", f"{host} refuses to answer (HTTP {status})")


def _retry_after_s(answer: requests.Response) -> float:
    """Seconds of a Retry-After header, given as a number or as a date; 0 without one."""
    text = answer.headers.get("Retry-After", "").strip()
    if text.isdecimal():
        return float(text)
    with contextlib.suppress(ValueError, TypeError):
        return max(parsedate_to_datetime(text).timestamp() - time.time(), 0.0)
    return 0.0


def _chain(error: BaseException) -> list[BaseException]:
    """An exception with all it came from."""
    found: list[BaseException] = []
    todo: list[object] = [error]
    while todo:
        one = todo.pop()
        if isinstance(one, BaseException) and one not in found:
            found.append(one)
            todo += [one.__cause__, one.__context__, getattr(one, "reason", None), *one.args]
    return found
