"""The one door to the network: weather, only when the owner has switched it on, kept in the cache folder.

A fetch never raises for what a network or a service does: it ends in an answer, or in a sentence that says what is
missing, what is kept instead and how old that is. Nothing goes out but the Ask itself, over https.
"""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from ownship.errors import BadInput, WeatherText
from ownship.provenance import digest
from ownship.questions.places import cache_folder, write_whole
from ownship.units import to_si
from ownship.world.sources import FORECAST_URL, REPORTS_URL, Answer, Ask

if TYPE_CHECKING:
    import httpx

T = TypeVar("T")

USER_AGENT = "ownship"
TRIES, BACK_OFF_S, LONGEST_WAIT_S = 3, 1.0, 10.0
CONNECT_S, READ_S, WHOLE_S = 5.0, 10.0, 20.0
LARGEST_BYTES = 1_000_000
MOST_KEPT_FILES = 200
LONGEST_SILENCE = timedelta(days=1)  # a service that asks for more quiet than this is asked again all the same
AHEAD = timedelta(minutes=5)  # a kept answer from further in the future than this is not believed

# kind -> (asked again when older than, not used at all when older than)
AGES: dict[str, tuple[timedelta, timedelta]] = {
    "metar": (timedelta(minutes=5), timedelta(hours=3)),
    "taf": (timedelta(minutes=20), timedelta(hours=24)),
    "forecast": (timedelta(hours=1), timedelta(hours=48)),
}


@dataclass(frozen=True)
class _Reply:
    """What one try brought: a text, or a trouble in words and whether (and from when) another try makes sense."""

    text: str | None
    trouble: str = ""
    again: bool = False
    wait_s: float = 0.0


@dataclass(frozen=True)
class _Kept:
    """An answer in the cache."""

    text: str
    fetched_at: datetime


def _utc_now() -> datetime:
    return datetime.now(UTC)


@dataclass(frozen=True)
class Network:
    """The network as the owner set it: `on` is his setting, off unless he says so. The rest is handed in by tests.

    `folder` None: `weather` in the cache folder. `now` aware; `sleep` and `clock` in seconds.
    """

    on: bool = False
    folder: Path | None = None
    transport: httpx.BaseTransport | None = None
    now: Callable[[], datetime] = _utc_now
    sleep: Callable[[float], None] = time.sleep
    clock: Callable[[], float] = time.monotonic

    def fetch(self, ask: Ask, read: Callable[[str, datetime], T]) -> Answer[T]:
        """Ask a service, or the cache where that is young enough, and read what came (world.sources.Fetch).

        Off: nothing is asked or read. Trouble: the kept answer where it is not too old, with a note that names it and
        its age; else no value and a note. An answer that `read` refuses is trouble, and is not kept.
        """
        if not self.on:
            return Answer(None, None, f"The network is switched off: no {ask.what} was asked for. Switch it on, or type the "
                                      "weather in.")
        now = self.now()
        kept = self._kept(ask)
        fresh_for, usable_for = AGES[ask.kind]
        if kept is not None and now - kept.fetched_at <= fresh_for and (held := _read(kept, read)) is not None:
            return held
        reply = self._ask(ask, now)
        trouble = reply.trouble
        if reply.text is not None:
            try:
                return Answer(read(reply.text, now), now, self._keep(ask, reply.text, now))
            except WeatherText as refusal:
                trouble = str(refusal)
        return _instead(ask, trouble, kept, now, usable_for, read)

    def _ask(self, ask: Ask, now: datetime) -> _Reply:
        """At most three tries, each after a longer wait; a service that asked for quiet is left in peace until then."""
        import httpx

        if not ask.url.startswith((REPORTS_URL, FORECAST_URL)):
            raise BadInput(f"{ask.url[:60]!r} is not one of the weather services; only {REPORTS_URL} and {FORECAST_URL} are asked.")
        if (until := self._quiet_until(ask)) is not None and now < until <= now + LONGEST_SILENCE:
            return _Reply(None, f"The service {ask.service} asked not to be called again before {until:%d %b %H:%M}Z.")
        limits = httpx.Timeout(READ_S, connect=CONNECT_S)
        headers = {"User-Agent": USER_AGENT, "Accept": "application/json", "Accept-Encoding": "identity"}
        try:
            client = httpx.Client(transport=self.transport, timeout=limits, headers=headers, follow_redirects=False)
        except (ValueError, ImportError, OSError):
            return _Reply(None, "The network cannot be used with this computer's proxy or certificate settings.")
        with client:
            return self._tries(client, ask, now)

    def _tries(self, client: httpx.Client, ask: Ask, now: datetime) -> _Reply:
        for count in range(TRIES):
            client.cookies.clear()
            reply = self._try(client, ask)
            wait_s = max(reply.wait_s, BACK_OFF_S * 2**count)
            if wait_s > LONGEST_WAIT_S:
                self._be_quiet(ask, now + timedelta(seconds=min(wait_s, LONGEST_SILENCE.total_seconds())))
            if not reply.again or wait_s > LONGEST_WAIT_S or count == TRIES - 1:
                return reply
            self.sleep(wait_s)
        raise AssertionError("a try always ends in a reply")

    def _try(self, client: httpx.Client, ask: Ask) -> _Reply:
        """One try: a text, or the trouble in words."""
        import httpx

        service = f"The service {ask.service}"
        try:
            with client.stream("GET", ask.url, params=dict(ask.params)) as response:
                if response.status_code not in (200, 204):
                    return self._refused(response, service)
                if response.headers.get("content-encoding", "identity") != "identity":
                    return _Reply(None, f"{service} sent a packed answer, which was not asked for.")
                return self._body(response, service)
        except httpx.TimeoutException:
            return _Reply(None, f"{service} did not answer in time.", again=True)
        except httpx.RemoteProtocolError:
            return _Reply(None, f"{service} broke off in the middle of its answer.", again=True)
        except httpx.HTTPError:
            return _Reply(None, f"{service} cannot be reached.", again=True)

    def _body(self, response: httpx.Response, service: str) -> _Reply:
        """The text of an answer within its limits of size and time, in UTF-8."""
        started, body = self.clock(), bytearray()
        for piece in response.iter_bytes():
            body += piece
            if len(body) > LARGEST_BYTES:
                return _Reply(None, f"{service} sent more than {LARGEST_BYTES / 1e6:.0f} MB, which no answer needs.")
            if self.clock() - started > WHOLE_S:
                return _Reply(None, f"{service} did not finish its answer in time.", again=True)
        try:
            return _Reply(body.decode("utf-8"))
        except UnicodeDecodeError:
            return _Reply(None, f"{service} sent something that is no text.")

    def _refused(self, response: httpx.Response, service: str) -> _Reply:
        """An answer that is none: too many questions or an error of theirs (again), a redirection or an error of ours (not)."""
        code = response.status_code
        wait_s = _retry_after_s(response.headers.get("retry-after"), self.now())
        if code == 429:
            return _Reply(None, f"{service} is asked too often (answer 429).", True, wait_s)
        if code >= 500:
            return _Reply(None, f"{service} has an error of its own (answer {code}).", True, wait_s)
        if 300 <= code < 400:
            return _Reply(None, f"{service} points to another address (answer {code}), which is not followed.")
        return _Reply(None, f"{service} did not take the question (answer {code}).")

    # -- the cache -----------------------------------------------------------------
    def _folder(self) -> Path:
        folder = self.folder if self.folder is not None else cache_folder() / "weather"
        folder.mkdir(parents=True, exist_ok=True)
        return folder

    def _file(self, ask: Ask) -> Path:
        return self._folder() / f"{ask.kind}-{digest(ask.url, *(f'{k}={v}' for k, v in ask.params))}.json"

    def _kept(self, ask: Ask) -> _Kept | None:
        """The kept answer; None where there is none, it is damaged, or it is from the future."""
        try:
            path = self._file(ask)
            if path.stat().st_size > 3 * LARGEST_BYTES:
                return None
            record = json.loads(path.read_text(encoding="utf-8"))
            kept = _Kept(record["text"], datetime.fromisoformat(record["fetched_at"]))
            return kept if isinstance(kept.text, str) and kept.fetched_at <= self.now() + AHEAD else None
        except (BadInput, OSError, ValueError, KeyError, TypeError, RecursionError):
            return None

    def _keep(self, ask: Ask, text: str, at: datetime) -> str:
        """Keep an answer whole or not at all, and drop the oldest of too many; a sentence where that was not possible."""
        try:
            path = self._file(ask)
            write_whole(path, json.dumps({"fetched_at": at.isoformat(), "text": text}).encode())
            files = sorted((p for p in path.parent.glob("*.json") if p != path), key=lambda p: p.stat().st_mtime)
            for old in files[:max(0, len(files) + 1 - MOST_KEPT_FILES)]:
                old.unlink(missing_ok=True)
        except (BadInput, OSError):
            return f"The {ask.what} could not be kept for later; look at the cache folder."
        return ""

    def _silence(self, ask: Ask) -> Path:
        return self._folder() / f"quiet-{digest(ask.service)}.txt"

    def _quiet_until(self, ask: Ask) -> datetime | None:
        """Until when a service asked not to be called; None where it did not."""
        try:
            until = datetime.fromisoformat(self._silence(ask).read_text(encoding="utf-8").strip())
        except (BadInput, OSError, ValueError):
            return None
        return until if until.tzinfo is not None else None

    def _be_quiet(self, ask: Ask, until: datetime) -> None:
        with suppress(BadInput, OSError):
            write_whole(self._silence(ask), until.isoformat().encode())


def _read(kept: _Kept, read: Callable[[str, datetime], T]) -> Answer[T] | None:
    """A kept answer as a value; None where it is no longer readable."""
    try:
        return Answer(read(kept.text, kept.fetched_at), kept.fetched_at)
    except WeatherText:
        return None


def _instead(ask: Ask, trouble: str, kept: _Kept | None, now: datetime, usable_for: timedelta,
             read: Callable[[str, datetime], T]) -> Answer[T]:
    """The kept answer with its age said, where there is one that may still be used; else none, said likewise."""
    if kept is None or (held := _read(kept, read)) is None:
        return Answer(None, None, f"{trouble} There is no {ask.what}; type the weather in.")
    age = age_words(now - kept.fetched_at)
    if now - kept.fetched_at > usable_for:
        return Answer(None, None, f"{trouble} The {ask.what} that is kept is {age} old, too old to use; type the weather in.")
    return Answer(held.value, kept.fetched_at, f"{trouble} The {ask.what} used is stale: fetched {age} ago.")


def age_words(age: timedelta) -> str:
    """An age in words: "12 min", "3 h 20 min", "2 d 4 h"."""
    minutes = max(0, round(age / timedelta(minutes=1)))
    hours, days = minutes // 60, minutes // 1440
    if hours == 0:
        return f"{minutes} min"
    return f"{hours} h {minutes % 60} min" if days == 0 else f"{days} d {hours % 24} h"


def _retry_after_s(text: str | None, now: datetime) -> float:
    """Seconds a service asks to wait: Retry-After as seconds or as a date; 0 where it says nothing that can be read."""
    if text is None:
        return 0.0
    if text.strip().isascii() and text.strip().isdigit():
        return min(float(text.strip()[:9]), float(to_si(365, "d")))
    try:
        moment = parsedate_to_datetime(text)
    except (ValueError, TypeError, IndexError):
        return 0.0
    aware = moment if moment.tzinfo is not None else moment.replace(tzinfo=UTC)
    return max(0.0, (aware - now).total_seconds())
