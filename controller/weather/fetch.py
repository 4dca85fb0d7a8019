"""The one door to the network: asks a public service, politely, and never for long.

Every way an answer can fail becomes one plain error, which says whether asking again may help.
"""

from __future__ import annotations

import random
import time
import zlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime
from importlib.metadata import PackageNotFoundError, version
from urllib.parse import urljoin, urlsplit

import requests

from controller.clock import Clock
from controller.weather.answer import reason_in
from controller.weather.cache import CLOCKS_AGREE, Kept
from controller.weather.patience import Patience, TryFailed, refusal

Session = requests.Session  # for those who pass one through
MOST_REASON_BYTES = 2_000
PIECE_BYTES = 16_384
_SENDS_ON = {301, 302, 303, 307, 308}
# A mark of when an answer last changed is sent back only if it is younger than this, and no later
# than the answer itself: our choice. The US service has dated answers weeks ahead, and would then
# say for weeks that nothing is new.
OLDEST_MARK = timedelta(days=1)
# Nothing new for longer than this is not believed of any of these services: our choice.
LONGEST_GOOD_S = 24 * 3600.0
# What a read of the body raises: urllib3's root error, which requests brings along.
_BROKEN_OFF = requests.exceptions.BaseHTTPError  # type: ignore[attr-defined]


@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """A question as it is sent. `key` names it where the address changes with the day."""

    url: str
    key: str
    accept: tuple[str, ...] = ("application/json",)
    contact: str = ""
    most_bytes: int = 64_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Fetched:
    """The answer to keep, and whether its form of asking is on the way out."""

    kept: Kept
    on_its_way_out: bool = False


class Fetcher:
    """Asks, waits, and asks again; keeps nothing."""

    def __init__(
        self,
        clock: Clock,
        session: requests.Session | None = None,
        *,
        patience: Patience | None = None,
        sleep: Callable[[float], None] | None = None,
        jitter: Callable[[], float] | None = None,
    ) -> None:
        self._clock = clock
        self._session = session if session is not None else requests.Session()
        self._patience = patience if patience is not None else Patience()
        self._sleep = sleep if sleep is not None else time.sleep
        self._jitter = jitter if jitter is not None else random.random

    def fetch(self, request: Request, kept: Kept | None = None) -> Fetched:
        """A good answer; tries again where that may help, within the time allowed.

        With an answer `kept`, the service is asked only for a newer one.

        Raises
        ------
        TryFailed
            If no good answer came.
        """
        deadline_mono_s = self._clock.mono_s() + self._patience.overall_s
        bound_s = self._patience.first_wait_s
        tries_left = self._patience.tries
        while True:
            tries_left -= 1
            try:
                return self._try_once(request, kept, deadline_mono_s)
            except TryFailed as fault:
                if not fault.again or tries_left <= 0:
                    raise
                wait_s = self._jitter() * bound_s if fault.wait_s is None else fault.wait_s
                if self._clock.mono_s() + wait_s >= deadline_mono_s:
                    raise
                bound_s = min(self._patience.longest_wait_s, 2.0 * bound_s)
                self._sleep(wait_s)

    def _try_once(
        self,
        request: Request,
        kept: Kept | None,
        deadline_mono_s: float,
        *,
        sent_on_to: str | None = None,
    ) -> Fetched:
        """One try; an answer that sends us on within the same host is followed, once."""
        left_s = deadline_mono_s - self._clock.mono_s()
        if left_s <= 0.0:
            raise TryFailed("the weather service took too long", again=False)
        try:
            with self._session.get(
                sent_on_to or request.url,
                headers=_headers(request, kept, self._clock.now_utc()),
                timeout=(
                    min(self._patience.connect_s, left_s),
                    min(self._patience.read_s, left_s),
                ),
                stream=True,
                allow_redirects=False,
            ) as response:
                to = None if sent_on_to else _sent_on_to(request.url, response)
                if to is None:
                    return self._fetched(request, kept, response, deadline_mono_s)
            return self._try_once(request, kept, deadline_mono_s, sent_on_to=to)
        except requests.exceptions.SSLError as fault:
            raise TryFailed(
                "the weather service's certificate was not accepted; is this clock right, or does "
                "the network ask for a sign-in?",
                again=False,
            ) from fault
        except requests.Timeout as fault:
            raise TryFailed("the weather service did not answer in time", again=True) from fault
        except requests.ConnectionError as fault:
            raise TryFailed("the weather service cannot be reached", again=True) from fault
        except requests.RequestException as fault:
            raise TryFailed(
                f"the weather service cannot be asked ({type(fault).__name__})", again=False
            ) from fault
        except _BROKEN_OFF as fault:
            raise TryFailed("the weather service broke off its answer", again=True) from fault
        except ValueError as fault:  # requests reads the address we are sent on to
            raise TryFailed(
                "we were sent on to another page, and its address does not read", again=False
            ) from fault

    def _fetched(
        self,
        request: Request,
        kept: Kept | None,
        response: requests.Response,
        deadline_mono_s: float,
    ) -> Fetched:
        said, status = response.headers, response.status_code
        date_utc, now_utc = _date_utc(said.get("Date")), self._clock.now_utc()
        if status == 304 and kept is not None:
            # It has no body; a mark it leaves out is the one we sent.
            return Fetched(
                kept=Kept(
                    key=request.key,
                    body=kept.body,
                    fetched_utc=now_utc,
                    date_utc=date_utc,
                    good_for_s=_good_for_s(said, date_utc),
                    etag=said.get("ETag", kept.etag),
                    last_modified=said.get("Last-Modified", kept.last_modified),
                )
            )
        if status not in (200, 203):
            told = self._read(response, MOST_REASON_BYTES, deadline_mono_s)
            reason = reason_in(told[:MOST_REASON_BYTES].decode("utf-8", errors="replace"))
            # A date it names is held against its own clock: this one may be wrong.
            fault = refusal(status, reason, said.get("Retry-After"), date_utc or now_utc)
            raise fault.with_(_clock_words(date_utc, now_utc))
        kind = said.get("Content-Type", "").split(";")[0].strip().lower()
        if kind not in request.accept:
            raise TryFailed(
                f"the answer is {kind or 'of no kind'}, not weather; does the network ask for a "
                "sign-in?",
                again=False,
            )
        raw = self._read(response, request.most_bytes, deadline_mono_s)
        if len(raw) > request.most_bytes:
            raise TryFailed(
                f"the weather service's answer is larger than {request.most_bytes // 1000} kB",
                again=False,
            )
        try:
            body = raw.decode("utf-8")
        except UnicodeDecodeError as fault:
            raise TryFailed("the weather service's answer is garbled", again=False) from fault
        return Fetched(
            kept=Kept(
                key=request.key,
                body=body,
                fetched_utc=now_utc,
                date_utc=date_utc,
                good_for_s=_good_for_s(said, date_utc),
                etag=said.get("ETag", ""),
                last_modified=said.get("Last-Modified", ""),
            ),
            on_its_way_out=status == 203,
        )

    def _read(self, response: requests.Response, most_bytes: int, deadline_mono_s: float) -> bytes:
        """The body, unpacked; a piece more than `most_bytes` where it is larger than that.

        Taken as it comes over the line: a read that waits for so many bytes would be held by a
        server that trickles past any deadline. Unpacked here, so that what is packed cannot swell.
        """
        packed = response.headers.get("Content-Encoding", "").lower() in ("gzip", "x-gzip")
        unpacker = zlib.decompressobj(31) if packed else None  # 31: with the gzip header
        gathered = bytearray()
        while piece := _piece(response):
            if unpacker is not None:
                try:
                    piece = unpacker.decompress(piece, most_bytes + 1)
                except zlib.error as fault:
                    raise TryFailed(
                        "the weather service's answer is garbled", again=False
                    ) from fault
            gathered += piece
            if len(gathered) > most_bytes:
                return bytes(gathered)
            if self._clock.mono_s() > deadline_mono_s:
                raise TryFailed("the weather service took too long over its answer", again=False)
        if unpacker is not None and not unpacker.eof:
            raise TryFailed("the weather service broke off its answer", again=True)
        return bytes(gathered)


def _piece(response: requests.Response) -> bytes:
    """What has come over the line, as it was sent; nothing at its end."""
    if hasattr(response.raw, "read1"):
        piece: bytes = response.raw.read1(PIECE_BYTES, decode_content=False)
    else:  # urllib3 before 2.1, as boards have it among their own packages
        piece = response.raw.read(1, decode_content=False)
    return piece


def user_agent(contact: str) -> str:
    """How we say who asks, with a contact where the service wants one."""
    try:
        own = version("rowgate")
    except PackageNotFoundError:
        own = "0"
    return f"Rowgate/{own} ({contact})" if contact else f"Rowgate/{own}"


def _sent_on_to(url: str, response: requests.Response) -> str | None:
    """Where an answer sends us on to, if that is the same host over TLS; else None.

    Any other host may be a network's sign-in page, or somebody we would not tell of the garden.
    """
    if response.status_code not in _SENDS_ON:
        return None
    try:
        to = urljoin(url, response.headers.get("Location", ""))
        asked, named = urlsplit(url), urlsplit(to)
        same_host = (asked.hostname, asked.port or 443) == (named.hostname, named.port or 443)
    except ValueError:
        return None
    is_tls = asked.scheme == named.scheme == "https"
    plain = named.username is None and named.password is None
    return to if same_host and is_tls and plain and to != url else None


def _headers(request: Request, kept: Kept | None, now_utc: datetime) -> dict[str, str]:
    headers = {
        "User-Agent": user_agent(request.contact),
        "Accept": ", ".join(request.accept),
        "Accept-Encoding": "gzip",
    }
    if kept is not None and kept.etag:
        headers["If-None-Match"] = kept.etag
    if kept is not None and _is_sound_mark(kept, now_utc):
        headers["If-Modified-Since"] = kept.last_modified
    return headers


def _is_sound_mark(kept: Kept, now_utc: datetime) -> bool:
    """Whether an answer's mark of its last change is worth sending back, word for word."""
    changed_utc = _date_utc(kept.last_modified) if kept.last_modified else None
    if changed_utc is None or changed_utc > kept.given_utc:
        return False
    return max(kept.given_utc, now_utc) - changed_utc <= OLDEST_MARK


def _good_for_s(said: Mapping[str, str], date_utc: datetime | None) -> float:
    """How long the service says that nothing new is to be had (RFC 9111, 4.2.1), capped.

    The end it names is held against its own date, not this clock, which may be wrong.
    """
    for part in said.get("Cache-Control", "").lower().split(","):
        name, _, value = part.strip().partition("=")
        if name == "max-age" and value.isascii() and value.isdigit():
            return min(float(value), LONGEST_GOOD_S)
    expires_utc = _date_utc(said.get("Expires"))
    if expires_utc is None or date_utc is None:
        return 0.0
    return min(max(0.0, (expires_utc - date_utc).total_seconds()), LONGEST_GOOD_S)


def _date_utc(header: str | None) -> datetime | None:
    """A date of HTTP; None where there is none, or it does not read."""
    if header is None:
        return None
    try:
        read = parsedate_to_datetime(header)
        return (read if read.tzinfo is not None else read.replace(tzinfo=UTC)).astimezone(UTC)
    except (ValueError, OverflowError):
        return None


def _clock_words(date_utc: datetime | None, now_utc: datetime) -> str:
    if date_utc is None or abs(date_utc - now_utc) <= CLOCKS_AGREE:
        return ""
    return (
        f"; its clock says {date_utc:%Y-%m-%d}, this one {now_utc:%Y-%m-%d}: is this clock right?"
    )
