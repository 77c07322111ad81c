"""The kneeboard paper: what stands on it is what `check --json` says; two pages; same input, same bytes."""

import json
import re
import zlib
from dataclasses import replace
from datetime import datetime

import pytest

from ownship.errors import BadInput
from ownship.flight.assessment import assess
from ownship.flight.extras import with_extras
from ownship.papers import kneeboard
from ownship.papers.exchange import to_json
from ownship.papers.kneeboard import SHEETS, kneeboard_data, kneeboard_pages, kneeboard_pdf, sheet_of
from ownship.questions.check import demo_aeroplane, demo_flight, situation, situation_of
from ownship.units import from_si, parse
from ownship.words.figures import number_text


@pytest.fixture(scope="module")
def demo():
    s = situation_of("demo")
    return s, with_extras(s, assess(s))


def streams(pdf):
    """Object number, content of each stream of a PDF, unpacked."""
    for found in re.finditer(rb"(\d+) 0 obj\s*<<((?:(?!endobj).)*?)>>\s*stream\r?\n", pdf, re.S):
        raw = pdf[found.end():found.end() + int(re.search(rb"/Length (\d+)", found[2])[1])]
        yield int(found[1]), zlib.decompress(raw) if b"FlateDecode" in found[2] else raw


def unicode_map(cmap):
    """Glyph code to text of one ToUnicode map."""
    assert b"beginbfrange" not in cmap
    found = {}
    for block in re.findall(rb"beginbfchar(.*?)endbfchar", cmap, re.S):
        for code, text in re.findall(rb"<([0-9A-Fa-f]+)>\s*<([0-9A-Fa-f]+)>", block):
            found[int(code, 16)] = bytes.fromhex(text.decode()).decode("utf-16-be")
    return found


ESCAPES = {b"n": b"\n", b"r": b"\r", b"t": b"\t", b"b": b"\b", b"f": b"\f"}
TOKENS = re.compile(rb"\\([0-7]{1,3}|.)|([()])|<([0-9A-Fa-f]+)>|.", re.S)


def shown_bytes(block):
    """The bytes of all strings of a text block (ISO 32000-1, 7.3.4): literal ones, in which parentheses nest, and hex ones."""
    found, depth = b"", 0
    for m in TOKENS.finditer(block):
        if depth == 0:
            depth = int(m[2] == b"(")
            found += bytes.fromhex(m[3].decode()) if m[3] else b""
        elif m[1]:
            found += bytes([int(m[1], 8)]) if m[1].isdigit() else ESCAPES.get(m[1], m[1])
        elif m[2]:
            depth += 1 if m[2] == b"(" else -1
            found += m[2] if depth else b""
        else:
            found += m[0]
    return found


def pdf_text(pdf):
    """All words of the pages in their order, read out of the file itself, without blanks (a line may break at any)."""
    contents = dict(streams(pdf))
    resources = set(re.findall(rb"/Font<<(.*?)>>", pdf))
    assert len(resources) == 1, "each page names its fonts alike"
    fonts = {}
    for name, number in re.findall(rb"/(\w+) (\d+) 0 R", resources.pop()):
        target = re.search(rb"(?:^|\n)" + number + rb" 0 obj(?:(?!endobj).)*?/ToUnicode (\d+) 0 R", pdf, re.S)[1]
        fonts[name] = unicode_map(contents[int(target)])
    words = []
    for content in (c for c in contents.values() if b"\nBT " in c):
        for block in re.findall(rb"\nBT (.*?)\nET", content, re.S):
            chosen = fonts[re.search(rb"/(\w+) [\d.]+ Tf", block)[1]]
            codes = shown_bytes(block)
            words.append("".join(chosen[int.from_bytes(codes[k:k + 2], "big")] for k in range(0, len(codes), 2)))
    return "".join("".join(words).split())


class Paper(str):
    """The text of a paper; `in` looks past blanks."""

    def __contains__(self, words):
        return str.__contains__(self, "".join(words.split()))


def paper_text(s, a):
    return Paper(pdf_text(kneeboard_pdf(s, a)))


@pytest.mark.parametrize("sheet", SHEETS)
def test_two_pages_of_the_right_size_and_the_same_bytes_again(demo, sheet):
    pdf = kneeboard_pdf(*demo, sheet)
    assert pdf.startswith(b"%PDF-") and kneeboard_pdf(*demo, sheet) == pdf
    boxes = re.findall(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)\s*\]", pdf)
    assert len(boxes) == 2 and len(kneeboard_pages(*demo, sheet)) == 2
    for box, side in zip(boxes[0], SHEETS[sheet], strict=True):
        assert float(box) == pytest.approx(from_si(parse(side, "length"), "in") * 72, abs=0.1)


def test_it_is_dated_by_the_departure_and_not_by_the_clock(demo):
    assert re.findall(rb"/CreationDate\s*\(D:(\d{8})", kneeboard_pdf(*demo)) == [b"20260711"]
    assert b"/ToUnicode" in kneeboard_pdf(*demo)  # its text can be searched and read out


def words_of(quantity, digits=None):
    shown = f"{number_text(quantity['value'], digits)} {quantity['unit']}"
    return shown if quantity.get("low") is None else \
        f"{shown} ({number_text(quantity['low'], digits)} to {number_text(quantity['high'], digits)})"


def test_the_paper_says_what_the_json_says(demo):
    s, a = demo
    said, text = json.loads(json.dumps(to_json(a))), paper_text(s, a)
    assert said["sentence"] in text and f"■ {said['verdict'].upper()}" in text
    for m in [m for i, m in enumerate(said["margins"]) if i < 10 or m["verdict"] != "within limits"]:
        name = m["name"][:1].upper() + m["name"][1:] + (f", {m['place']}" if m["place"] else "")
        room = f"{number_text(m['margin']['value'])} {m['margin']['unit']}"
        assert f"{m['verdict']} {name} {words_of(m['available'])} {words_of(m['required'])} {room} {m['kind']}" in text
    for row in said["timeline"]:
        clock = [f"{datetime.fromisoformat(row[k]):%H:%M}" for k in ("time", "latest")]
        figures = [number_text(row["altitude"]["value"], 0), *(number_text(row[k]["value"], 1) for k in ("fuel_left", "minimum_fuel"))]
        assert " ".join([*clock, *figures]) in text, row["moment"]
    for t in said["tanks"]:
        ends = [f"{datetime.fromisoformat(t[k]):%H:%M}" for k in ("from", "to")]
        assert f"{' '.join(ends)} {t['tank']} {words_of(t['burn'])} {t['where']}" in text
    for r in said["runways"]:
        assert f"{r['title']} {' '.join(words_of(r[k], 0) for k in ('available', 'unfactored', 'covered', 'doubly'))}" in text
    for key in ("on_board", "to_order", "left_at_landing"):
        assert words_of(said["fuel"][key]) in text
    for sentence in (*said["cautions"], *said["not_checked"], *said["extras_words"]):
        assert sentence in text


def test_last_points_frequencies_and_card_stand_on_it(demo):
    s, a = demo
    said, text = to_json(a), paper_text(s, a)
    for p in said["last_points"]:
        assert p["name"] in text and (p["words"] in text)
        if p["moment"]:
            assert f"{datetime.fromisoformat(p['moment']):%H:%M} {datetime.fromisoformat(p['earliest']):%H:%M}" in text
    assert "U88 Garden Valley Airport" in text and "no frequency in the data" in text
    assert "CTAF 122.900" in text and "TWR 118.100" in text and "29.87" not in text  # KU79 and KBOI in the open data
    card = said["cards"]["take_off"]
    for key in ("static_rpm", "lift_off_distance", "climb_gradient", "stop_point"):
        assert words_of(card[key]) in text


def test_the_beam_balances_where_its_blocks_say(demo):
    """Lever law: weights times arms, over the weights, is the arm of the ramp row (both ends of the sliding seats)."""
    s, a = demo
    things = kneeboard._weights(s, a)
    total = sum(kg for _, kg, _ in things)
    assert from_si(total, "lb") == pytest.approx(a.loading[0].weight.value, abs=0.05)
    for end, shown in ((0, a.loading[0].arm_forward), (1, a.loading[0].arm_aft)):
        arm = sum(kg * arm[end] for _, kg, arm in things) / total
        assert from_si(arm, "in") == pytest.approx(shown.value, abs=0.02)


def test_blocks_are_to_scale_and_do_not_overlap(demo):
    s, a = demo
    beam = kneeboard_data(s, a)["beam"]
    weights = {str(i): kg for i, (_, kg, _) in enumerate(kneeboard._weights(s, a), 1)}
    ratios = [b["side"] ** 2 / weights[b["number"]] for b in beam["blocks"] if b["side"] > 0.0121]
    assert max(ratios) == pytest.approx(min(ratios))
    for i, p in enumerate(beam["blocks"]):
        assert p["left"] >= 0 and p["left"] + p["side"] <= 1
        for q in beam["blocks"][:i]:
            apart = p["left"] >= q["left"] + q["side"] or q["left"] >= p["left"] + p["side"]
            assert apart or p["bottom"] >= q["bottom"] + q["side"] or q["bottom"] >= p["bottom"] + p["side"]
    assert beam["zone"][0] < beam["balance"][0] <= beam["balance"][1] < beam["zone"][1]


def test_what_is_not_known_says_so_and_is_never_a_pass():
    bare = ('schema = 1\n[record]\nsource = "x"\n[identity]\nregistration = "N0160T"\ntype_name = "Camas 160"\n'
            '[weights]\ntake_off_max = "2350 lb"\n[[stations]]\nid = "front"\nname = "front"\nkind = "seat"\nseats = 2\narm = "85 in"\n'
            '[[stations]]\nid = "rear"\nname = "rear"\nkind = "seat"\nseats = 2\narm = "118 in"\n'
            '[[stations]]\nid = "baggage"\nname = "baggage"\nkind = "baggage"\narm = "141 in"\n')
    s = situation(bare, re.sub(r"\[fuel\.\w+\]\n(?:\w.*\n)+", "", demo_flight()))
    a = with_extras(s, assess(s))
    data, text = kneeboard_data(s, a), paper_text(s, a)
    assert data["beam"] is None and data["log"] == [] and data["verdict"] != "within limits"
    assert "The flight cannot be flown on paper" in text and text.count("notknown") > 5
    for line in a.not_known:
        assert line in text
    assert kneeboard_pdf(s, a).startswith(b"%PDF-")


def test_every_margin_that_is_not_within_stands_on_it(demo):
    s, a = demo
    tight = tuple(replace(m, verdict="tight") for m in a.margins)
    data = kneeboard_data(s, replace(a, margins=tight))
    assert len(data["margins"]) == len(a.margins) and data["rest"] == ""


def test_words_of_the_pilot_are_words_and_no_markup(demo):
    s, a = demo
    trick = '#panic("no") $x$ *b* <a> @c [d] "e" \\ //f'
    loads = (replace(s.request.loads[0], what=trick), *s.request.loads[1:])
    text = paper_text(replace(s, request=replace(s.request, loads=loads)), a)
    assert trick in text


def test_a_longer_flight_flows_on_and_loses_nothing():
    names = ["U88", "3U2", "U60", "KMYL"] * 4
    flight = demo_flight().replace('via = ["U88"]', f"via = {json.dumps(names)}")
    flight = re.sub(r"\[ground\]\nhighest = .*\n", "", flight)
    s = situation(demo_aeroplane(), flight)
    a = with_extras(s, assess(s))
    data = kneeboard_data(s, a)
    assert len(data["legs"]) == len(a.legs) and len(data["log"]) == len(a.timeline)
    assert kneeboard_pdf(s, a).startswith(b"%PDF-")


def test_a_sheet_that_is_not_known_is_refused():
    assert sheet_of("A5") == "a5"
    with pytest.raises(BadInput, match="a5 or half-letter"):
        sheet_of("a3")
