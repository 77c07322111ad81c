"""The Modifications screen: picked or written, useful load first, three ways to compare; every refusal beside the form, nothing kept."""

import html
import re

import pytest
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ownship.questions import studying
from ownship.questions.airframe_record import airframe
from ownship.questions.weighing_ledger import keep, keep_text
from ownship.web.app import create_app

CLIENT = TestClient(create_app(), base_url="http://127.0.0.1", follow_redirects=False)
OWN = {"mod.name": "propeller of another maker", "mod.parts": "propeller", "mod.source": "the maker's sheet", "mod.status": "from memory",
       "mod.price": "3500 USD", "mod.hours": "4 h", "mod.alters.propeller_pitch": "-2 in", "mod.alters.weight": "12 lb", "mod.alters.arm": "40 in",
       "mod.uncertainty.blade_angle": "0.3 deg", "mod.approval.static_rpm": "2300 rpm to 2420 rpm"}


@pytest.fixture(autouse=True)
def data(tmp_path, monkeypatch):
    monkeypatch.setenv("OWNSHIP_DATA", str(tmp_path / "data"))
    return tmp_path / "data"


def get(**query):
    return CLIENT.get("/modifications", params=query)


def refusal(page):
    assert page.status_code == 422, page.status_code
    found = re.search(r'class="refusal".*?</span>(.*?)<', page.text, re.S)
    assert found and "Traceback" not in page.text
    return html.unescape(found[1].strip())


def studies(page):
    """Rows of every table by the caption, in words."""
    return {html.unescape(m[1]): re.sub(r"<[^>]+>", " ", m[2]) for m in re.finditer(r"<caption>(.*?)</caption>(.*?)</table>", page.text, re.S)}


def test_nothing_picked_says_what_to_do_and_that_a_licensed_person_is_needed(data):
    page = get()
    assert page.status_code == 200 and "Nothing is picked yet" in page.text
    assert "approved data and the signature of a licensed person" in page.text and "Approval comes first" in page.text
    assert all(f'value="{name}"' in page.text for name in studying.library())
    assert not data.exists()


def test_useful_load_comes_first_and_a_propeller_has_three_answers():
    page = get(pick="finer-propeller")
    tables = studies(page)
    assert next(iter(tables)).startswith("Useful load")
    for way in ("At equal rpm", "At equal power", "Full throttle", "rpm limit lifted"):
        assert way in tables["Speed: three ways to compare; bands 5 to 95 %"]
    assert "an approval of its own" in page.text and "300 to 700 USD" in page.text and "from memory" in page.text


def test_a_seat_taken_out_says_its_useful_load_in_pounds():
    page = get(pick="rear-seats-out")
    load = re.search(r"Useful load\s+([\d,]+) lb\s+([\d,]+) lb\s+\+(\d+) lb", re.sub(r"<[^>]+>", " ", page.text))
    assert load and int(load[2]) - int(load[1]) == pytest.approx(int(load[3]), abs=1)


def test_the_page_says_the_same_as_the_command():
    told = CLIENT.get("/modifications.json", params={"pick": "coarser-propeller", "claim": "6 mph"}).json()
    s = studying.modify("demo", ["coarser-propeller"])
    from ownship.studies.comparison import claim
    assert told["studies"] == [studying.to_json(s)[0] | {"claim": claim(s[0], "6 mph")}]
    assert told["cautions"] and told["schema"] == 1


def test_a_ceiling_beyond_what_the_model_is_checked_for_says_so():
    assert "above 16,000 ft the model is not checked" in get(pick="engine-180hp").text


def test_more_power_raises_no_weight():
    assert "More power does not raise the certificated weight." in get(pick="engine-180hp").text


def test_several_are_told_apart_or_together_with_their_conflicts():
    apart = get(pick=["coarser-propeller", "finer-propeller"])
    together = get(pick=["coarser-propeller", "finer-propeller"], together="1")
    assert apart.text.count('class="study"') == 2 and together.text.count('class="study"') == 1
    assert "Caution</span>" in together.text and "propeller" in together.text


def test_one_written_is_answered_kept_in_the_address_and_given_as_a_file(data):
    page = get(**OWN)
    assert page.status_code == 200 and "<h2 id=\"study-1\">Propeller of another maker</h2>" in page.text
    assert 'value="-2 in"' in page.text and "Useful load goes down by 12 lb" in page.text and "band of 2,300 to 2,420" in page.text
    link = html.unescape(re.search(r'href="(/modifications/written\.toml\?[^"]+)"', page.text)[1])
    made = studying.modification_of(CLIENT.get(link).text)
    assert made.name == OWN["mod.name"] and made.parts == ("propeller",) and made.approval.static_rev_s is not None
    assert not data.exists()


def test_the_own_aeroplane_is_studied_by_its_own_measurements():
    from ownship.questions.measuring import add

    keep("demo", "2019-05-01")
    before = CLIENT.get("/modifications.json", params={"pick": "fairings", "aeroplane": "N0160T"}).json()
    add("N0160T", "static", {"rpm": "2310 rpm", "oat": "15 C", "pressure_altitude": "500 ft", "optical": True}, "owner")
    after = CLIENT.get("/modifications.json", params={"pick": "fairings", "aeroplane": "N0160T"}).json()
    rpm = [x["studies"][0]["static_rpm"]["before"]["value"] for x in (before, after)]
    assert rpm[1] < rpm[0] - 10 and not after["demo"]


def test_a_record_without_a_model_says_what_is_missing():
    keep_text('[record]\nsource = "papers"\n[identity]\nregistration = "N0500T"\n', airframe("demo").effective, "N0500T")
    page = get(aeroplane="N0500T", pick="fairings")
    assert page.status_code == 200 and "Not known: " in page.text and 'href="/airframe/N0500T"' in page.text


def test_one_that_does_not_fit_is_left_out_and_said():
    a = airframe("demo")
    keep_text(a.toml.replace('"rear"', '"aft"'), a.effective, "N0160T", a.rows_csv)
    page = get(aeroplane="N0160T", pick=["rear-seats-out", "fairings"])
    assert page.status_code == 200 and page.text.count('class="study"') == 1
    assert re.search(r"Left out</h2>.*rear", page.text, re.S)


@pytest.mark.parametrize(("more", "words", "field"), [
    ({"mod.source": ""}, "Source: nothing is given", "mod-source"), ({"mod.name": ""}, "Name of the modification: nothing is given", "mod-name"),
    ({"mod.alters.weight": "12"}, "Empty weight, change: '12' has no unit", "mod-alters-weight"),
    ({"mod.alters.arm": ""}, "at the arm: nothing is given", "mod-alters-arm"), ({"mod.alters.drag": "little"}, "is no number", "mod-alters-drag"),
    ({"mod.alters.drag": "nan"}, "Zero-lift drag coefficient, change: ", "mod-alters-drag"),
    ({"mod.approval.static_rpm": "2300 rpm"}, "Its own static rpm band: ", "mod-approval-static_rpm"),
    ({"mod.alters.power": "900 hp"}, "Power, change: '900 hp' is not believable", "mod-alters-power"),
    ({"claim": "six"}, "A seller's figure: 'six' is not a number with a unit", "claim")])
def test_a_refusal_is_beside_the_form_with_everything_typed(more, words, field):
    page = get(**(OWN | more))
    assert words in refusal(page) and f'href="#field-{field}"' in page.text and f'id="field-{field}"' in page.text
    assert 'value="propeller of another maker"' in page.text or "mod.name" in more
    assert CLIENT.get("/modifications.json", params=OWN | more).status_code == 422


@pytest.mark.parametrize("name", ["../../../etc/passwd", "/etc/passwd", "x.toml", "fairings.toml", "\x00", "<script>"])
def test_an_address_names_no_file(name):
    page = get(pick=name)
    assert "is no modification of the library" in refusal(page) and "root:" not in page.text and "<script>" not in page.text


NASTY = st.sampled_from(["", "0", "nan", "inf in", "-1e9 lb", "12 lb", "1 in", "5 %", "abc", "<b>", "\u202e", "\x00", "2300 rpm to", "9" * 400, '"""', "é"])


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(query=st.dictionaries(st.sampled_from([*OWN, "mod.alters.tank.id", "mod.alters.stations_removed", "claim", "pick", "together", "drawn"]),
                             NASTY, max_size=4))
def test_whatever_is_typed_is_an_answer_or_a_sentence(query):
    for path in ("/modifications", "/modifications.json"):
        page = CLIENT.get(path, params=OWN | query)
        assert page.status_code in (200, 422) and "Traceback" not in page.text and (path.endswith("json") or "<b>" not in page.text)


def test_the_drawings_are_a_part_of_the_page_with_their_words():
    part = CLIENT.get("/modifications/drawn", params={"pick": "coarser-propeller"})
    assert "<html" not in part.text and 'aria-label="Chart: same propeller re pitched 4 in coarser"' in part.text and "<svg" in part.text
