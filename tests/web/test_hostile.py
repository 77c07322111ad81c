"""Whatever stands in the address: 200 or 422, one sentence, no traceback, no tag of the visitor's in the page."""

import html
import re
import tomllib

import pytest
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ownship.web.app import create_app
from ownship.web.flying import ask
from ownship.web.forms import write_toml

CLIENT = TestClient(create_app(), base_url="http://127.0.0.1")
NAMES = sorted({*ask({"to": ""}).form.by_name, *ask({}).form.by_name, "theme", "before", "aeroplane", "load15", "load99", "weather_X_wind",
                "weather_<b>_wind", "runway_KBOI_end", "remedies_"})
NASTY = st.sampled_from(["", " ", "0 lb", "-1 lb", "1e400 lb", "nan lb", "inf kt", "9" * 400, "\x00", "\x7f", "\\", '"', "'''", '"""\n[x]', "{{7*7}}",
                         "{% raw %}", "<script>alert(1)</script>", '"><img src=x onerror=alert(1)>', "../../etc/passwd", "٣ lb", "😀", "\u202eabc",
                         "KBOI", "KU79", "90,0", "-90,180", "43.6,-116.2", "0,0", "KBOI KBOI KBOI", "2026-07-11T15:00", "0001-01-01T00:00+00:00",
                         "9999-12-31T23:59-12:00", "2026-02-30T00:00-06:00", "500 ft", "20000 ft", "-1500 ft", "100 %", "20 %", "1000 rpm",
                         "4000 rpm", "0 usgal", "full", "tab", "360/99G99", "calm", "VRB05", "IFR", "stay", "front", "baggage", "1", "999 lb",
                         "-60 C", "60 C", "850 hPa", "1100 hPa", "0 m", "soft", "9000 ft 280/99; 9000 ft 100/10", "1 ft calm 5 C", "METAR"])
QUERY = st.dictionaries(st.sampled_from(NAMES), NASTY | st.text(max_size=40), min_size=1, max_size=4)


def tags(text):
    return {m[1].lower() for m in re.finditer(r"<([a-zA-Z][a-zA-Z0-9]*)[\s>/]", text)}


KNOWN = tags(CLIENT.get("/", params={"levels": "1"}).text) | tags(CLIENT.get("/", params={"from": "x"}).text) | {"h4", "h5"}


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(QUERY)
def test_any_address_is_answered_or_refused_in_a_sentence(query):
    page = CLIENT.get("/", params=query)
    assert page.status_code in (200, 422)
    assert "Traceback" not in page.text and tags(page.text) <= KNOWN | {"polygon", "pre", "code"}
    if page.status_code == 422:
        found = re.search(r'<p class="refusal" role="alert"><span aria-hidden="true">&#9632;</span> (.*?)</p>', page.text, re.S)
        assert found and html.unescape(found[1]).strip()


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(QUERY)
def test_page_and_data_agree(query):
    asked, data = ask(dict(query)), CLIENT.get("/flight.json", params=query)
    assert (data.status_code == 200) == (asked.answer is not None)
    if asked.answer is not None:
        assert data.json()["sentence"] == asked.answer.sentence
    else:
        assert data.json()["refused"]


@pytest.mark.parametrize("name", ["load0_what", "load6_what", "from", "weather_KBOI_metar", "fuel_left_on_board", "before", "theme", "aeroplane"])
@pytest.mark.parametrize("text", ['"><script>alert(1)</script>', "<b>pilot</b>", "' onfocus='x", "{{7*7}}"])
def test_names_come_back_as_text(name, text):
    page = CLIENT.get("/", params={name: text, "load6": "10 lb", "load6_station": "baggage"})
    assert page.status_code in (200, 422)
    assert "<script>" not in page.text and "<b>" not in page.text and "' onfocus='" not in page.text and ">49<" not in page.text


def test_a_name_stands_escaped_in_drawings_too():
    page = CLIENT.get("/", params={"load0_what": "Anne & <Bob>"}).text
    assert "Anne &amp; &lt;Bob&gt;" in page and "<Bob>" not in page


@given(st.dictionaries(st.text(min_size=1, max_size=8), st.text() | st.booleans() | st.integers(-9, 9) | st.lists(st.text(), max_size=3), max_size=5))
def test_what_is_written_is_read_back(data):
    assert tomllib.loads(write_toml(data)) == data
