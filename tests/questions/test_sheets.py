"""Papers of the record: the same words as the answer they print, the same bytes every time."""

import io
import json
from datetime import date

import pytest
from commands import run
from hypothesis import given
from hypothesis import strategies as st
from pypdf import PdfReader

from ownship.errors import BadInput
from ownship.papers.blank_cards import CARDS, blank_cards
from ownship.papers.sheets import Section, Sheet, sheet_pdf
from ownship.questions import sheets


def words_of(pdf):
    """The text of a PDF without white space: lines break where the column ends."""
    return "".join("".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages).split())


def bare(text):
    return "".join(str(text).split())


@pytest.fixture
def kept(tmp_path, monkeypatch, capsys):
    """The demo kept, an item due, a cost, a change of equipment."""
    monkeypatch.setenv("OWNSHIP_DATA", str(tmp_path / "data"))
    for words in (["weight", "keep", "demo"],
                  ["weight", "add", "radio", "--weight", "5.6 lb", "--arm", "56.5 in", "--day", "2026-03-01"],
                  ["maintenance", "add", "annual", "--title", "Annual inspection", "--every", "12 calendar months", "--first-due", "2026-12-31"],
                  ["costs", "add", "insurance", "--kind", "fixed", "--price", "1200 USD", "--day", "2026-02-01"]):
        code, _, err = run(capsys, *words)
        assert code == 0, err
    return tmp_path


def test_the_maintenance_list_says_what_the_command_says(kept, capsys):
    told = json.loads(run(capsys, "maintenance", "--json")[1])
    text = words_of(sheets.maintenance_list())
    for item in told["items"]:
        assert bare(item["title"]) in text and bare(item["state"]) in text and item["due"] in text
    assert all(bare(c) in text for c in told["cautions"])


def test_the_costs_say_what_the_command_says(kept, capsys):
    told = json.loads(run(capsys, "costs", "--json")[1])
    text = words_of(sheets.years_costs())
    for table in told["currencies"]:
        assert all(bare(f"{float(r['a_year']['amount']):,.2f} {table['currency']}") in text for r in table["rows"] if r["a_year"])
    assert all(bare(w) in text for w in told["words"])


def test_the_amendment_is_a_draft_to_sign_with_the_figures_of_the_command(kept, capsys):
    told = json.loads(run(capsys, "weight", "amendment", "--json")[1])
    text = words_of(sheets.amendment_draft())
    assert "DRAFT,UNSIGNED" in text and "Signature" in text and bare(told["sentence"]) in text
    assert f"{told['after']['weight']['value']:,.2f}" in text


def test_the_card_says_what_predict_says(capsys):
    code, out, _ = run(capsys, "predict", "demo", "--card")
    text = words_of(sheets.performance_paper())
    figures = [line.split("  ")[-1] for line in out.splitlines() if " to " in line and "(" in line and line.startswith("  ")]
    assert code == 0 and len(figures) > 20
    assert "Calculatedbythemodel" in text
    for line in out.splitlines():
        if line.startswith("  ") and "(" in line:
            value = line.rsplit("(", 1)[0].split()[-2]
            assert value in text, line


def test_blank_cards_have_every_kind_of_measurement_and_this_aeroplanes_tanks():
    text = words_of(sheets.cards_to_fill())
    assert all(bare(name) in text for name, *_ in CARDS) and "Whattomeasurenext" in text
    assert text.count(":level/added") == 2


def test_same_input_same_bytes():
    cards = blank_cards("N0160T", ("left", "right"), date(2026, 7, 4))
    assert sheet_pdf(cards) == sheet_pdf(cards) and sheet_pdf(cards, "a5") != sheet_pdf(cards)


@given(st.text(alphabet=st.characters(exclude_categories=("Cs", "Cc")), max_size=60))
def test_words_are_words_whatever_they_look_like(text):
    """Nothing that is typed becomes source of the paper."""
    sheet = Sheet("Title", "N0160T", date(2026, 7, 4), (Section("Part", (text,), ("a", "b"), ((text, "#panic()"),)),), status=text)
    assert sheet_pdf(sheet).startswith(b"%PDF")


def test_a_size_that_is_none_is_refused():
    with pytest.raises(BadInput, match="a4, letter"):
        sheet_pdf(blank_cards("N0160T", (), date(2026, 7, 4)), "napkin")


@pytest.mark.parametrize("words", [("predict", "demo", "--card", "--out"), ("calibrate", "demo", "--cards"), ("maintenance", "--paper"),
                                   ("costs", "--paper"), ("weight", "amendment", "--out")])
def test_every_paper_has_its_command(kept, capsys, words):
    place = kept / "paper.pdf"
    code, _, err = run(capsys, *words, str(place))
    assert code == 0, err
    assert place.read_bytes().startswith(b"%PDF")


def test_a_paper_of_nothing_is_a_sentence(tmp_path, monkeypatch):
    monkeypatch.setenv("OWNSHIP_DATA", str(tmp_path))
    for make in (sheets.maintenance_list, sheets.amendment_draft):
        with pytest.raises(BadInput, match="nothing to put on this paper"):
            make()
