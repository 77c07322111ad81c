"""The door to the network with a made-up transport: off, slow, 500, 429, half a body, wrong type, wrong station, stale, gone.

The documents are written by hand; their shape is from memory.
"""

import json
from datetime import UTC, date, datetime, timedelta

import httpx
import pytest

from ownship.errors import BadInput
from ownship.questions.fetching import AGES, LARGEST_BYTES, Network, _retry_after_s, age_words
from ownship.world import sources

NOON = datetime(2026, 7, 11, 12, tzinfo=UTC)
METAR = "KBOI 111153Z 31008KT 10SM CLR 16/07 A3002"
BODY = json.dumps([{"icaoId": "KBOI", "obsTime": 1783770780, "rawOb": METAR}])


class World:
    """A network that answers from a list, a clock that stands unless it is set, and a record of what was sent and waited."""

    def __init__(self, folder, *answers):
        self.answers, self.sent, self.waits, self.time, self.folder, self.seconds = list(answers), [], [], NOON, folder, 0.0

    def handle(self, request):
        self.sent.append(request)
        answer = self.answers.pop(0)
        if isinstance(answer, Exception):
            raise answer
        return answer

    def sleep(self, seconds):
        self.waits.append(seconds)

    def network(self, on=True):
        return Network(on, self.folder, httpx.MockTransport(self.handle), lambda: self.time, self.sleep, lambda: self.seconds)

    def metars(self, *stations, on=True):
        return sources.reports(self.network(on).fetch, "metar", stations or ("KBOI",))


@pytest.fixture
def world(tmp_path):
    def made(*answers):
        return World(tmp_path / "weather", *answers)
    return made


def good(body=BODY, **headers):
    return httpx.Response(200, content=body.encode() if isinstance(body, str) else body, headers=headers)


def bad(code, **headers):
    return httpx.Response(code, text="<html>trouble</html>", headers={k.replace("_", "-"): v for k, v in headers.items()})


def test_off_is_the_default_and_asks_and_keeps_nothing(world):
    w = world(good())
    assert Network().on is False
    found = w.metars(on=False)
    assert found.reports == () and "switched off" in found.note and "METAR of KBOI" in found.note
    assert w.sent == [] and not w.folder.exists()


def test_off_does_not_use_what_was_kept_either(world):
    w = world(good())
    w.metars()
    assert w.metars(on=False).reports == ()


def test_a_report_comes_through_and_nothing_else_is_sent(world):
    w = world(good())
    found = w.metars()
    assert [(r.station, r.text, r.fetched_at) for r in found.reports] == [("KBOI", METAR, NOON)]
    assert (found.missing, found.note) == ((), "")
    (request,) = w.sent
    assert str(request.url) == "https://aviationweather.gov/api/data/metar?ids=KBOI&format=json"
    assert request.method == "GET" and request.content == b""
    assert dict(request.headers) == {"host": "aviationweather.gov", "user-agent": "ownship", "accept": "application/json",
                                     "accept-encoding": "identity", "connection": "keep-alive"}


def test_a_forecast_sends_a_rounded_position_and_days(world):
    w = world(bad(400))
    answer = sources.forecast(w.network().fetch, 43.56789, -116.22222, date(2026, 7, 11), date(2026, 7, 12))
    assert answer.value is None and "forecast for 43.57, -116.22" in answer.note
    sent = w.sent[0].url.params
    assert w.sent[0].url.host == "api.open-meteo.com" and w.sent[0].url.scheme == "https"
    assert (sent["latitude"], sent["longitude"]) == ("43.57", "-116.22")
    assert set(sent) == {"latitude", "longitude", "hourly", "start_date", "end_date", "timezone", "timeformat", "temperature_unit",
                         "wind_speed_unit"}


@pytest.mark.parametrize("url", ["http://aviationweather.gov/api/data/metar", "https://example.org/", "file:///etc/hostname"])
def test_no_other_address_is_asked(world, url):
    w = world(good())
    with pytest.raises(BadInput, match="not one of the weather services"):
        w.network().fetch(sources.Ask("metar", "x", "y", url, ()), lambda text, at: text)
    assert w.sent == []


def test_a_young_answer_is_not_asked_for_twice_and_an_older_one_is(world):
    newer = BODY.replace("111153Z", "111253Z")
    w = world(good(), good(newer))
    w.metars()
    w.time += AGES["metar"][0]
    assert w.metars().reports[0].fetched_at == NOON and len(w.sent) == 1
    w.time += timedelta(seconds=1)
    assert "111253Z" in w.metars().reports[0].text and len(w.sent) == 2


@pytest.mark.parametrize("trouble", [lambda: bad(500), lambda: bad(503), lambda: bad(429), lambda: httpx.ReadTimeout("slow"),
                                     lambda: httpx.ConnectTimeout("slow"), lambda: httpx.ConnectError("gone"),
                                     lambda: httpx.RemoteProtocolError("half a body")])
def test_passing_trouble_is_tried_again_with_longer_waits(world, trouble):
    w = world(trouble(), trouble(), good())
    assert w.metars().reports[0].text == METAR
    assert w.waits == [1.0, 2.0] and len(w.sent) == 3


@pytest.mark.parametrize(("trouble", "said"), [
    (lambda: bad(500), "has an error of its own"), (lambda: bad(429), "asked too often"),
    (lambda: httpx.ReadTimeout("slow"), "did not answer in time"), (lambda: httpx.ConnectError("gone"), "cannot be reached"),
    (lambda: httpx.RemoteProtocolError("half"), "broke off")])
def test_after_three_tries_it_ends_in_a_sentence(world, trouble, said):
    w = world(*(trouble() for _ in range(5)))
    found = w.metars()
    assert found.reports == () and found.missing == ("KBOI",)
    assert said in found.note and "There is no METAR of KBOI; type the weather in." in found.note
    assert len(w.sent) == 3 and w.waits == [1.0, 2.0]


@pytest.mark.parametrize(("answer", "said"), [
    (lambda: bad(400), "did not take the question (answer 400)"), (lambda: bad(404), "answer 404"),
    (lambda: bad(302, location="https://example.org/"), "points to another address"),
    (lambda: good("<html>Sign in to the hotel</html>"), "is not JSON"), (lambda: good(BODY[:-9]), "is not JSON"),
    (lambda: good('{"a":1}'), "not a list"), (lambda: good(BODY.replace("KBOI", "KSUN")), "nobody asked for"),
    (lambda: good(b"\xff\xfe\x00"), "no text"), (lambda: good(b"[" + b" " * LARGEST_BYTES + b"]"), "more than 1 MB"),
    (lambda: httpx.Response(200, headers={"content-encoding": "gzip"}, stream=httpx.ByteStream(b"x")), "packed answer")])
def test_lasting_trouble_is_not_tried_again_and_not_kept(world, answer, said):
    w = world(answer())
    found = w.metars()
    assert found.reports == () and said in found.note and "type the weather in" in found.note
    assert len(w.sent) == 1 and w.waits == []
    assert not list(w.folder.glob("*.json"))


def test_a_station_without_report_is_said(world):
    w = world(httpx.Response(204))
    found = w.metars("KU79")
    assert found.missing == ("KU79",) and "has no METAR of KU79" in found.note


def test_an_answer_that_drips_is_given_up(world):
    w = world()

    class Drip(httpx.SyncByteStream):
        def __iter__(self):
            for _ in range(1000):
                w.seconds += 9.0
                yield b" "

    w.answers = [httpx.Response(200, stream=Drip()) for _ in range(3)]
    found = w.metars()
    assert "did not finish its answer in time" in found.note and len(w.sent) == 3
    assert w.seconds <= 3 * 3 * 9.0


def test_a_size_said_beforehand_is_no_way_round_the_limit(world):
    def pieces():
        for _ in range(100):
            yield b" " * 100_000

    w = world(httpx.Response(200, content=pieces(), headers={"content-length": "10"}))
    assert "more than 1 MB" in w.metars().note


def test_offline_the_kept_answer_is_used_and_its_age_said(world):
    w = world(good(), *(httpx.ConnectError("gone") for _ in range(3)))
    w.metars()
    w.time += timedelta(hours=1, minutes=20)
    found = w.metars()
    assert found.reports[0].fetched_at == NOON and found.missing == ()
    assert found.note == ("The service US Aviation Weather Center cannot be reached. The METAR of KBOI used is stale: "
                          "fetched 1 h 20 min ago.")


def test_a_kept_answer_that_is_too_old_is_named_and_not_used(world):
    w = world(good(), *(httpx.ConnectError("gone") for _ in range(3)))
    w.metars()
    w.time += AGES["metar"][1] + timedelta(minutes=1)
    found = w.metars()
    assert found.reports == () and "is 3 h 1 min old, too old to use" in found.note


def test_a_spoilt_answer_does_not_push_out_the_good_one(world):
    w = world(good(), good("<html>hotel</html>"))
    w.metars()
    w.time += timedelta(minutes=30)
    found = w.metars()
    assert found.reports[0].text == METAR and "is not JSON" in found.note and "30 min ago" in found.note


def test_each_question_has_its_own_kept_answer(world):
    two = json.dumps([{"icaoId": s, "obsTime": 1, "rawOb": METAR.replace("KBOI", s)} for s in ("KBOI", "KSUN")])
    w = world(good(), good(two))
    w.metars()
    assert len(w.metars("KBOI", "KSUN").reports) == 2 and len(w.sent) == 2


@pytest.mark.parametrize("spoil", ["", "{", "[]", '{"fetched_at": "x", "text": "y"}', '{"fetched_at": "2026-07-11T12:00:00", "text": "[]"}',
                                   '{"fetched_at": "2026-07-11T12:00:00+00:00", "text": 5}',
                                   '{"fetched_at": "2026-07-11T12:00:00+00:00", "text": "<html>"}',
                                   '{"fetched_at": "2027-07-11T12:00:00+00:00", "text": "[]"}'])
def test_a_damaged_cache_or_one_from_the_future_is_as_none(world, spoil):
    w = world(good(), good())
    w.metars()
    (path,) = w.folder.glob("*.json")
    path.write_text(spoil, encoding="utf-8")
    assert w.metars().reports[0].text == METAR and len(w.sent) == 2


def test_a_cache_that_cannot_be_written_does_not_lose_the_answer(world, tmp_path):
    (tmp_path / "weather").write_text("a file where the folder should be", encoding="utf-8")
    found = world(good()).metars()
    assert found.reports[0].text == METAR and "could not be kept" in found.note


def test_the_cache_does_not_grow_without_end(world, monkeypatch):
    monkeypatch.setattr("ownship.questions.fetching.MOST_KEPT_FILES", 3)
    idents = [f"KA0{i}" for i in range(6)]
    w = world(*(good(BODY.replace("KBOI", ident)) for ident in idents))
    for ident in idents:
        w.metars(ident)
    assert len(list(w.folder.glob("*.json"))) == 3
    assert w.metars("KA05").reports and len(w.sent) == 6


# -- Retry-After -------------------------------------------------------------------

def test_retry_after_within_reason_is_waited_for(world):
    w = world(bad(429, retry_after="7"), good())
    assert w.metars().reports and w.waits == [7.0]


def test_a_long_retry_after_is_obeyed_by_not_asking_at_all_until_then(world):
    w = world(bad(429, retry_after="600"), good())
    assert "asked too often" in w.metars().note and w.waits == [] and len(w.sent) == 1
    w.time += timedelta(seconds=599)
    later = w.metars()
    assert "asked not to be called again before 11 Jul 12:10Z" in later.note and len(w.sent) == 1
    w.time += timedelta(seconds=1)
    assert w.metars().reports and len(w.sent) == 2


def test_a_silence_asked_of_one_service_does_not_hold_for_the_other(world):
    w = world(bad(503, retry_after="600"), bad(400))
    w.metars()
    sources.forecast(w.network().fetch, 43.0, -116.0, date(2026, 7, 11), date(2026, 7, 11))
    assert len(w.sent) == 2


def test_a_silence_of_years_or_a_damaged_note_of_it_ends_after_a_day(world):
    w = world(bad(429, retry_after="999999999999999999"), good(), good())
    w.metars()
    w.time += timedelta(days=1)
    assert w.metars().reports
    (quiet,) = w.folder.glob("quiet-*")
    quiet.write_text("9999-12-31T00:00:00+00:00", encoding="utf-8")
    w.time += timedelta(hours=1)
    assert w.metars().note == "" and len(w.sent) == 3


@pytest.mark.parametrize(("text", "seconds"), [
    (None, 0.0), ("7", 7.0), (" 120 ", 120.0), ("Sat, 11 Jul 2026 12:00:30 GMT", 30.0), ("Sat, 11 Jul 2026 11:00:00 GMT", 0.0),
    ("soon", 0.0), ("", 0.0), ("-5", 0.0), ("²", 0.0), ("1e9", 0.0)])
def test_retry_after_reads_seconds_and_dates(text, seconds):
    assert _retry_after_s(text, NOON) == seconds


def test_no_cookie_goes_back(world):
    w = world(bad(500, set_cookie="who=you; Path=/"), good())
    w.metars()
    assert all("cookie" not in request.headers for request in w.sent)


@pytest.mark.parametrize(("age", "words"), [(timedelta(seconds=20), "0 min"), (timedelta(minutes=59), "59 min"),
                                            (timedelta(hours=3, minutes=20), "3 h 20 min"), (timedelta(days=2, hours=4), "2 d 4 h")])
def test_ages_read_as_words(age, words):
    assert age_words(age) == words


def test_proxy_settings_that_cannot_be_used_end_in_a_sentence(world, monkeypatch):
    monkeypatch.setenv("HTTPS_PROXY", "nonsense://nowhere")
    found = sources.reports(Network(True, world().folder, now=lambda: NOON).fetch, "metar", ["KBOI"])
    assert "proxy or certificate settings" in found.note and found.reports == ()
