"""The HTTP client for the weather services; nothing else uses the network.

One deadline limits each request as a whole. Every failure becomes one plain error, which says
whether another try may help.
"""

from __future__ import annotations

import random
import threading
import time
import zlib
from collections.abc import Callable, Mapping
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime
from importlib.metadata import PackageNotFoundError, version
from typing import Any, ClassVar
from urllib.parse import urljoin, urlsplit

import requests

from controller.clock import Clock
from controller.weather.online.answers import reason_in
from controller.weather.online.cache import CLOCKS_AGREE, CachedAnswer, Fetched, Request
from controller.weather.online.limits import Bounds, RetryPolicy, TooMuch, TryFailed, bind, refusal

MOST_REASON_BYTES = 2_000
PIECE_BYTES = 16_384
_REDIRECTS = {301, 302, 303, 307, 308}
# We send Last-Modified back only if it is younger than this, and not later than the answer itself:
# our choice. The US service has dated answers weeks ahead, and would then report for weeks that
# nothing is new.
OLDEST_MARK = timedelta(days=1)
# We do not believe a service that has nothing new for longer than this: our choice.
LONGEST_GOOD_S = 24 * 3600.0
# We wait for a try so long after its deadline, and so many tries may hang at once: a name look-up
# cannot be stopped, nor can connecting to one address after another. Our choice.
GRACE_S = 1.0
MOST_HANGING = 4
# A read of the body raises this: urllib3's root error, which requests exports.
_BROKEN_OFF = requests.exceptions.BaseHTTPError  # type: ignore[attr-defined]


class _Adapter(requests.adapters.HTTPAdapter):
    """An adapter whose connections keep to the deadline, direct ones and those through a proxy."""

    def __init__(self, bounds: Bounds) -> None:
        self._bounds = bounds
        super().__init__()

    def init_poolmanager(self, *args: Any, **kwargs: Any) -> None:
        """The usual one, with our limits."""
        super().init_poolmanager(*args, **kwargs)
        bind(self.poolmanager, self._bounds)

    def proxy_manager_for(self, proxy: str, **kwargs: Any) -> Any:
        """The usual one, with our limits; SOCKS has its own connections."""
        manager = super().proxy_manager_for(proxy, **kwargs)
        if not proxy.lower().startswith("socks"):
            bind(manager, self._bounds)
        return manager


class Fetcher:
    """Asks a service, and tries again where that may help; it stores nothing.

    One deadline limits the whole request, from the name look-up to the last byte.
    """

    _hanging: ClassVar[list[threading.Thread]] = []

    def __init__(
        self,
        clock: Clock,
        session: requests.Session | None = None,
        *,
        policy: RetryPolicy | None = None,
        sleep: Callable[[float], None] | None = None,
        jitter: Callable[[], float] | None = None,
    ) -> None:
        self._clock = clock
        self._session = session if session is not None else requests.Session()
        self._policy = policy if policy is not None else RetryPolicy()
        self._sleep = sleep if sleep is not None else time.sleep
        self._jitter = jitter if jitter is not None else random.random
        self._bounds = Bounds()
        for prefix, adapter in tuple(self._session.adapters.items()):
            if type(adapter) is requests.adapters.HTTPAdapter:
                self._session.mount(prefix, _Adapter(self._bounds))

    def fetch(self, request: Request, cached: CachedAnswer | None = None) -> Fetched:
        """A good answer, if necessary after several tries within the deadline.

        With a `cached` answer the request is conditional: the service sends only a newer one.

        Raises
        ------
        TryFailed
            If no good answer came.
        """
        deadline_mono_s = self._clock.mono_s() + self._policy.overall_s
        bound_s = self._policy.first_wait_s
        tries_left = self._policy.tries
        while True:
            tries_left -= 1
            try:
                return self._try_within(request, cached, deadline_mono_s)
            except TryFailed as fault:
                if not fault.again or tries_left <= 0:
                    raise
                wait_s = self._jitter() * bound_s if fault.wait_s is None else fault.wait_s
                if self._clock.mono_s() + wait_s >= deadline_mono_s:
                    raise
                bound_s = min(self._policy.longest_wait_s, 2.0 * bound_s)
                self._sleep(wait_s)

    def _try_within(
        self, request: Request, cached: CachedAnswer | None, deadline_mono_s: float
    ) -> Fetched:
        """One try in its own thread; the thread is abandoned if it hangs beyond the deadline."""
        Fetcher._hanging[:] = [thread for thread in Fetcher._hanging if thread.is_alive()]
        if len(Fetcher._hanging) >= MOST_HANGING:
            raise TryFailed(
                f"the network holds up {len(Fetcher._hanging)} earlier questions: does it look up "
                "names?",
                again=False,
            )
        came: list[Fetched] = []
        failed: list[BaseException] = []

        def run() -> None:
            try:
                came.append(self._try_once(request, cached, deadline_mono_s))
            except BaseException as fault:  # noqa: BLE001 - raised again by who waits for it
                failed.append(fault)

        thread = threading.Thread(target=run, name="weather question", daemon=True)
        try:
            thread.start()
        except RuntimeError as fault:
            raise TryFailed("this board has no thread left to ask with", again=False) from fault
        thread.join(max(0.0, deadline_mono_s - self._clock.mono_s()) + GRACE_S)
        if came:
            return came[0]
        if failed:
            raise failed[0]
        Fetcher._hanging.append(thread)
        raise TryFailed(
            "the weather service took too long: its name is not looked up, or no address of it "
            "lets us connect",
            again=False,
        )

    def _try_once(
        self,
        request: Request,
        cached: CachedAnswer | None,
        deadline_mono_s: float,
        *,
        redirected_to: str | None = None,
    ) -> Fetched:
        """One try; one redirect within the same host is followed."""
        left_s = deadline_mono_s - self._clock.mono_s()
        if left_s <= 0.0:
            raise TryFailed("the weather service took too long", again=False)
        self._bounds.begin(
            lambda: deadline_mono_s - self._clock.mono_s(),
            read_s=self._policy.read_s,
            most_body_bytes=max(request.most_bytes, MOST_REASON_BYTES),
        )
        try:
            with self._session.get(
                redirected_to or request.url,
                headers=_headers(request, cached, self._clock.now_utc()),
                timeout=(
                    min(self._policy.connect_s, left_s),
                    min(self._policy.read_s, left_s),
                ),
                stream=True,
                allow_redirects=False,
            ) as response:
                to = None if redirected_to else _redirect(request.url, response)
                if to is None:
                    return self._fetched(request, cached, response, deadline_mono_s)
            return self._try_once(request, cached, deadline_mono_s, redirected_to=to)
        except requests.exceptions.SSLError as fault:
            raise TryFailed(
                "the weather service's certificate was not accepted; is this clock right, or does "
                "the network ask for a sign-in?",
                again=False,
            ) from fault
        except requests.Timeout as fault:
            raise self._too_late(deadline_mono_s) from fault
        except requests.ConnectionError as fault:
            if _is_endless(fault):
                raise TryFailed(_ENDLESS, again=False) from fault
            if self._clock.mono_s() >= deadline_mono_s:
                raise self._too_late(deadline_mono_s) from fault
            raise TryFailed("the weather service cannot be reached", again=True) from fault
        except requests.RequestException as fault:
            raise TryFailed(
                f"the weather service cannot be asked ({type(fault).__name__})", again=False
            ) from fault
        except _BROKEN_OFF as fault:
            if _is_endless(fault):
                raise TryFailed(_ENDLESS, again=False) from fault
            if self._clock.mono_s() >= deadline_mono_s:
                raise self._too_late(deadline_mono_s) from fault
            raise TryFailed("the weather service broke off its answer", again=True) from fault
        except ValueError as fault:  # requests parses the address of the redirect
            raise TryFailed(
                "we were sent on to another page, and its address does not read", again=False
            ) from fault

    def _too_late(self, deadline_mono_s: float) -> TryFailed:
        """The failure for a read timeout, or for the deadline of the whole request."""
        if self._clock.mono_s() >= deadline_mono_s:
            return TryFailed("the weather service took too long over its answer", again=False)
        return TryFailed("the weather service did not answer in time", again=True)

    def _fetched(
        self,
        request: Request,
        cached: CachedAnswer | None,
        response: requests.Response,
        deadline_mono_s: float,
    ) -> Fetched:
        headers, status = response.headers, response.status_code
        date_utc, now_utc = _date_utc(headers.get("Date")), self._clock.now_utc()
        if status == 304 and cached is not None:
            # It has no body; a validator that it leaves out is the one we sent.
            return Fetched(
                cached=CachedAnswer(
                    key=request.key,
                    body=cached.body,
                    fetched_utc=now_utc,
                    date_utc=date_utc,
                    good_for_s=_good_for_s(headers, date_utc),
                    etag=headers.get("ETag", cached.etag),
                    last_modified=headers.get("Last-Modified", cached.last_modified),
                )
            )
        if status not in (200, 203):
            raw = self._read(response, MOST_REASON_BYTES, deadline_mono_s)
            reason = reason_in(raw[:MOST_REASON_BYTES].decode("utf-8", errors="replace"))
            # Its dates are compared with its own clock: this one may be wrong.
            fault = refusal(status, reason, headers.get("Retry-After"), date_utc or now_utc)
            raise fault.with_(_clock_text(date_utc, now_utc))
        kind = headers.get("Content-Type", "").split(";")[0].strip().lower()
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
            cached=CachedAnswer(
                key=request.key,
                body=body,
                fetched_utc=now_utc,
                date_utc=date_utc,
                good_for_s=_good_for_s(headers, date_utc),
                etag=headers.get("ETag", ""),
                last_modified=headers.get("Last-Modified", ""),
            ),
            deprecated=status == 203,
        )

    def _read(self, response: requests.Response, most_bytes: int, deadline_mono_s: float) -> bytes:
        """The body, decompressed; a little more than `most_bytes` if it is larger than that.

        It is read in pieces as they arrive: a read of a fixed number of bytes would hang on a
        server that sends them slowly. It is decompressed here, so that its size stays limited.
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


_ENDLESS = "the weather service does not come to the end of its answer"


def _is_endless(fault: BaseException) -> bool:
    """Whether the cause is `TooMuch`, however deep the client library has wrapped it."""
    seen: BaseException | None = fault
    for _ in range(10):
        if seen is None:
            return False
        if isinstance(seen, TooMuch):
            return True
        seen = seen.__cause__ or seen.__context__
    return False


def _piece(response: requests.Response) -> bytes:
    """The next bytes that have arrived, as they were sent; empty at the end."""
    if hasattr(response.raw, "read1"):
        piece: bytes = response.raw.read1(PIECE_BYTES, decode_content=False)
    else:  # urllib3 before 2.1, as boards have it among their system packages
        piece = response.raw.read(1, decode_content=False)
    return piece


def user_agent(contact: str) -> str:
    """Our User-Agent header, with a contact if the service needs one."""
    try:
        own = version("rowgate")
    except PackageNotFoundError:
        own = "0"
    return f"Rowgate/{own} ({contact})" if contact else f"Rowgate/{own}"


def _redirect(url: str, response: requests.Response) -> str | None:
    """The address of a redirect to the same host over TLS; else None.

    Another host may be a network's sign-in page, or one that must not learn where the garden is.
    """
    if response.status_code not in _REDIRECTS:
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


def _headers(request: Request, cached: CachedAnswer | None, now_utc: datetime) -> dict[str, str]:
    headers = {
        "User-Agent": user_agent(request.contact),
        "Accept": ", ".join(request.accept),
        "Accept-Encoding": "gzip",
    }
    if cached is not None and cached.etag:
        headers["If-None-Match"] = cached.etag
    if cached is not None and _is_sound_mark(cached, now_utc):
        headers["If-Modified-Since"] = cached.last_modified
    return headers


def _is_sound_mark(cached: CachedAnswer, now_utc: datetime) -> bool:
    """Whether an answer's Last-Modified is plausible, so that we send it back."""
    changed_utc = _date_utc(cached.last_modified) if cached.last_modified else None
    if changed_utc is None or changed_utc > cached.given_utc:
        return False
    return max(cached.given_utc, now_utc) - changed_utc <= OLDEST_MARK


def _good_for_s(headers: Mapping[str, str], date_utc: datetime | None) -> float:
    """Freshness lifetime of an answer by its headers (RFC 9111, 4.2.1), with our limit. [s]

    Expires is compared with the service's own date, because this clock may be wrong.
    """
    for part in headers.get("Cache-Control", "").lower().split(","):
        name, _, value = part.strip().partition("=")
        if name == "max-age" and value.isascii() and value.isdigit():
            return min(float(value), LONGEST_GOOD_S)
    expires_utc = _date_utc(headers.get("Expires"))
    if expires_utc is None or date_utc is None:
        return 0.0
    return min(max(0.0, (expires_utc - date_utc).total_seconds()), LONGEST_GOOD_S)


def _date_utc(header: str | None) -> datetime | None:
    """An HTTP date; None if there is none, or it cannot be parsed."""
    if header is None:
        return None
    try:
        read = parsedate_to_datetime(header)
        return (read if read.tzinfo is not None else read.replace(tzinfo=UTC)).astimezone(UTC)
    except (ValueError, OverflowError):
        return None


def _clock_text(date_utc: datetime | None, now_utc: datetime) -> str:
    if date_utc is None or abs(date_utc - now_utc) <= CLOCKS_AGREE:
        return ""
    return (
        f"; its clock says {date_utc:%Y-%m-%d}, this one {now_utc:%Y-%m-%d}: is this clock right?"
    )
