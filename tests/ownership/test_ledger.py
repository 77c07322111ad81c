"""The weight ledger: published examples as entries, what a correction moves, revisions by day, the amendment."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ownship.aeroplane.reading import read_airframe
from ownship.aeroplane.weighing import empty_weight, usual_errors
from ownship.errors import BadInput, NotPossible
from ownship.ownership.amendment import amendment, amendment_rules
from ownship.ownership.entries import AeroplaneRevision, Entry, EquipmentChange, Weighing
from ownship.ownership.ledger import ledger, moved, refuse_entry
from ownship.ownership.revisions import aeroplanes, read_revision, record_on, record_toml, revision_on
from ownship.questions.reading import demo_text
from ownship.units import from_si, to_si

REG = "N0160T"
DEMO = demo_text("camas160.toml")
DAY = date(2020, 1, 1)
ON = date(2026, 1, 1)


def lb(x):
    return float(to_si(x, "lb"))


def inch(x):
    return float(to_si(x, "in"))


def entries(*bodies, aeroplane=REG):
    """Bodies as entries 1, 2, ... in this order."""
    days = [getattr(b, "day", None) or b.effective for b in bodies]
    return tuple(Entry(i, f"u{i}", aeroplane, datetime(d.year, d.month, d.day, 12, tzinfo=UTC), datetime(2026, 1, 1, tzinfo=UTC), b)
                 for i, (b, d) in enumerate(zip(bodies, days, strict=True), 1))


def correction(kept, number, body, withdrawn=False):
    """The entries and one that corrects an earlier one."""
    old = next(e for e in kept if e.number == number)
    new = entries(body)[0]
    return (*kept, replace(new, number=len(kept) + 1, uid=f"u{len(kept) + 1}", corrects=number, withdrawn=withdrawn,
                           aeroplane=old.aeroplane))


def weighed(weight, arm, day=DAY, real=True, **more):
    return Weighing(day, real, lb(weight), inch(arm), **more)


def change(what, weight, arm, days=1):
    return EquipmentChange(DAY + timedelta(days=days), what, lb(weight), inch(arm))


def now(kept, on=ON):
    found = ledger(kept, REG, on).empty
    return from_si(found.weight_kg, "lb"), from_si(found.arm_m, "in")


# ---- published rows


def test_wb_19_140_lb_added_at_150_in():
    """PHAK sample, from memory: 6,680 lb at 80.0 in and 140 lb at 150 in: 81.4 in."""
    assert now(entries(weighed(6680, 80.0), change("crate", 140, 150))) == pytest.approx((6820, 81.4), abs=0.05)


def test_wb_20_a_move_is_two_entries():
    """A public teaching text: 2,450 lb, 100 lb moved 50 in forward: 2.04 in."""
    kept = entries(weighed(2450, 90.0), change("battery out", -100, 120), change("battery in", 100, 70))
    assert 90.0 - now(kept)[1] == pytest.approx(2.04, abs=0.005)


def test_wb_25_ballast_put_in():
    """FAA-H-8083-1B ch. 7, part from memory: 1,876 lb at 32.2 in, 7.7 lb of ballast at 228 in: 33.0 in."""
    assert now(entries(weighed(1876, 32.2), change("ballast", 7.7, 228)))[1] == pytest.approx(33.0, abs=0.005)


def test_wb_13_negligible_up_to_one_pound_and_less_than_a_twentieth_of_a_per_cent_mac():
    """AC 43.13-1B 10-2c. MAC 60 in: 0.03 in. Empty 1,500 lb at 85 in; 1 lb at 125 in moves it 0.0266 in, at 135 in 0.0333 in."""
    def verdicts(weight, arm):
        kept = entries(AeroplaneRevision(date(2019, 1, 1), DEMO), weighed(1500, 85.0, date(2025, 1, 1)),
                       replace(change("bracket", weight, arm), day=date(2025, 6, 1)))
        return {j.rule.place: j.verdict for j in amendment(kept, REG, ON).judged}

    assert verdicts(1.0, 125) == {"USA": "negligible", "Canada": "no threshold", "EASA": "negligible"}
    assert verdicts(1.0, 135)["USA"] == "not negligible"
    assert verdicts(1.1, 85)["USA"] == "not negligible"
    assert verdicts(11.7, 85)["EASA"] == "negligible"  # GM to NCO.POL.105: 0.5 % of 2,350 lb is 11.75 lb
    assert verdicts(11.8, 85)["EASA"] == "not negligible"


def test_without_chord_or_landing_weight_a_change_is_never_negligible():
    kept = entries(weighed(1500, 85), change("bracket", 0.2, 85))
    assert {j.rule.place: j.verdict for j in amendment(kept, REG, ON).judged} == {
        "Canada": "no threshold", "USA": "not known", "EASA": "not known"}


def test_every_rule_of_a_place_says_its_section_and_how_it_is_known():
    assert {r.place for r in amendment_rules()} == {"Canada", "USA", "EASA"}
    assert all(r.section and r.source.text and r.source.status for r in amendment_rules())


# ---- running values


def test_a_computed_paper_counts_but_is_no_real_weighing():
    kept = entries(weighed(1400, 85), change("radio", 5, 60, 30), weighed(1405, 84.91, date(2024, 1, 1), real=False))
    book = ledger(kept, REG, ON)
    assert book.last_real == DAY
    assert book.age_days == (ON - DAY).days
    assert [x.kind for x in book.lines] == ["weighing", "equipment", "computed paper"]
    assert book.empty.weight_sd_kg > usual_errors().computed_kg
    assert any("computed, not weighed" in w for w in book.warnings)


def test_scales_that_find_more_than_the_paper_say_how_much():
    book = ledger(entries(weighed(1400, 85), change("radio", 5, 60), weighed(1419, 85.2, date(2024, 1, 1))), REG, ON)
    assert from_si(book.lines[-1].found_kg, "lb") == pytest.approx(14)
    assert book.lines[1].held


def test_what_was_changed_on_the_day_of_a_weighing_is_held_by_it():
    assert now(entries(weighed(1400, 85), change("radio", 5, 60, 0)))[0] == pytest.approx(1400)


def test_before_the_first_weighing_the_empty_weight_is_not_known():
    book = ledger(entries(change("radio", 5, 60)), REG, ON)
    assert book.empty is None
    assert book.useful_load_kg is None
    assert "no weighing" in book.not_known[0]


def test_without_a_maximum_weight_the_useful_load_is_not_known():
    book = ledger(entries(weighed(1400, 85)), REG, ON)
    assert book.useful_load_kg is None
    assert "maximum take-off weight" in book.not_known[0]


def test_nothing_kept_gives_an_empty_ledger():
    book = ledger((), REG, ON)
    assert book.lines == ()
    assert book.empty is None


def test_more_taken_out_than_it_weighs_is_refused():
    with pytest.raises(NotPossible, match="More is taken away"):
        ledger(entries(weighed(1400, 85), change("all", -1500, 60)), REG, ON)


ITEMS = st.lists(st.tuples(st.floats(-20, 40), st.floats(-50, 200), st.integers(1, 900)), max_size=6)


@settings(max_examples=50, deadline=None)
@given(ITEMS, st.randoms())
def test_the_order_of_writing_changes_nothing(items, chance):
    bodies = [weighed(1400, 85), *(change(f"item {i}", w or 1.0, a, 1 + d) for i, (w, a, d) in enumerate(items))]
    mixed = list(bodies)
    chance.shuffle(mixed)
    assert now(entries(*mixed)) == pytest.approx(now(entries(*bodies)), rel=1e-12)


@settings(max_examples=50, deadline=None)
@given(ITEMS)
def test_weight_and_moment_after_are_those_before_and_of_the_items(items):
    kept = entries(weighed(1400, 85), *(change(f"item {i}", w or 1.0, a, d) for i, (w, a, d) in enumerate(items)))
    found = amendment(kept, REG, ON)
    if not items:
        assert found is None
        return
    weight = found.before.weight_kg + sum(x.weight_kg for x in found.items)
    moment = found.before.weight_kg * found.before.arm_m + sum(x.moment_kg_m for x in found.items)
    assert found.after.weight_kg == pytest.approx(weight)
    assert found.after.weight_kg * found.after.arm_m == pytest.approx(moment)


@settings(max_examples=40, deadline=None)
@given(st.floats(-15, 15).filter(lambda x: abs(x + 5) > 0.01), st.floats(0, 150))
def test_a_correction_moves_every_later_line_until_scales_stand_between(more, arm):
    kept = entries(weighed(1400, 85), change("radio", 5, 60, 10), change("beacon", 3, 178, 20),
                   weighed(1410, 85, DAY + timedelta(days=30)), change("seat", -9, 120, 40))
    after = correction(kept, 2, change("radio", 5 + more, arm, 10))
    found = moved(kept, after, REG, ON)
    assert {m.number for m in found} <= {6, 3}
    for m in found:
        assert from_si(m.after[0] - m.before[0], "lb") == pytest.approx(more, abs=1e-6)


def test_the_answer_says_that_today_moved_and_what_is_withdrawn_leaves_no_line():
    kept = entries(weighed(1400, 85), change("radio", 5, 60, 10), change("beacon", 3, 178, 20))
    after = correction(kept, 2, kept[1].body, withdrawn=True)
    found = moved(kept, after, REG, ON)
    assert [m.number for m in found] == [3, None]
    assert from_si(found[-1].after[0], "lb") == pytest.approx(1403)


def test_a_corrected_weighing_moves_all_after_it():
    kept = entries(weighed(1400, 85), change("radio", 5, 60, 10), change("beacon", 3, 178, 20))
    assert [m.number for m in moved(kept, correction(kept, 1, weighed(1390, 85)), REG, ON)] == [4, 2, 3, None]
    assert moved(kept, correction(kept, 1, kept[0].body), REG, ON) == ()


def test_two_equal_things_put_in_on_one_day_count_twice():
    assert now(entries(weighed(1400, 85), change("seat", 9, 120), change("seat", 9, 120)))[0] == pytest.approx(1418)


# ---- revisions


def revised():
    second = DEMO.replace('take_off_max = "2350 lb"', 'take_off_max = "2358 lb"')
    return entries(AeroplaneRevision(date(2019, 1, 1), DEMO), AeroplaneRevision(date(2023, 5, 1), second),
                   EquipmentChange(date(2025, 2, 1), "engine monitor", lb(2), inch(50)))


def test_what_was_it_on_that_day_answers_with_that_days_revision():
    kept = revised()
    assert [round(from_si(record_on(kept, REG, d).weights.take_off_max_kg, "lb")) for d in (
        date(2023, 4, 30), date(2023, 5, 1))] == [2350, 2358]
    assert [c.what for c in record_on(kept, REG, date(2025, 1, 31)).equipment][-1].startswith("406 MHz")
    assert record_on(kept, REG, date(2025, 2, 1)).equipment[-1].what == "engine monitor"


def test_before_the_first_revision_there_is_no_record():
    assert revision_on(revised(), REG, date(2018, 1, 1)) is None
    with pytest.raises(BadInput, match="first is effective from 2019-01-01"):
        record_on(revised(), REG, date(2018, 1, 1))
    with pytest.raises(BadInput, match="none is kept"):
        record_on((), REG, ON)


def test_aeroplanes_are_kept_apart():
    other = tuple(replace(e, number=e.number + 10, aeroplane="N0161T") for e in entries(weighed(1500, 80)))
    kept = (*entries(weighed(1400, 85)), *other)
    assert aeroplanes(kept) == (REG, "N0161T")
    assert now(kept)[0] == pytest.approx(1400)


def test_the_ledger_of_a_record_alone_is_that_of_its_file():
    kept = entries(AeroplaneRevision(date(2019, 1, 1), DEMO))
    book, by_file = ledger(kept, REG, ON), empty_weight(read_airframe(DEMO, "demo"), ON)
    assert book.empty == by_file
    assert from_si(book.useful_load_kg, "lb") == pytest.approx(2350 - from_si(by_file.weight_kg, "lb"))
    assert [x.number for x in book.lines] == [None] * 4


def test_what_stands_in_file_and_ledger_counts_once_and_it_is_said():
    kept = entries(AeroplaneRevision(date(2019, 1, 1), DEMO))
    beacon = EquipmentChange(date(2024, 5, 20), "beacon", lb(3.2), inch(178.0))
    twice = (*kept, replace(entries(beacon)[0], number=2))
    assert now(twice) == pytest.approx(now(kept))
    assert any("count once" in w for w in ledger(twice, REG, ON).warnings)
    assert now((*twice, replace(entries(beacon)[0], number=3)))[0] == pytest.approx(now(kept)[0] + 3.2)


@settings(max_examples=20, deadline=None)
@given(ITEMS, st.booleans())
def test_a_record_written_as_toml_reads_back_the_same(items, in_line):
    text = DEMO
    if in_line:
        head, _, tail = DEMO.partition("[[equipment]]")
        text = head + "[[stations]]" + tail.partition("[[stations]]")[2]
        text = 'equipment = [{date = 2021-09-03, what = "pump", weight = "-9.8 lb", arm = "48 in", source = "x"}]\n' + text
    kept = entries(AeroplaneRevision(date(2019, 1, 1), text), weighed(1410.3, 85, date(2022, 1, 1), fuel="usable full",
                                                                      density_kg_m3=719.0),
                   *(change(f"item {i}", w or 1.0, a, 800 + d) for i, (w, a, d) in enumerate(items)))
    for day in (date(2020, 6, 1), ON):
        record, back = record_on(kept, REG, day), read_airframe(record_toml(kept, REG, day), "back")
        assert sorted((w.date, w.weight_kg, w.arm_m, w.fuel) for w in back.weighings) == sorted(
            (w.date, w.weight_kg, w.arm_m, w.fuel) for w in record.weighings)
        assert sorted((c.date, c.what, c.weight_kg, c.arm_m) for c in back.equipment) == sorted(
            (c.date, c.what, c.weight_kg, c.arm_m) for c in record.equipment)
        assert replace(back, weighings=(), equipment=(), text_digest="") == replace(record, weighings=(), equipment=(),
                                                                                    text_digest="")


def test_a_record_of_another_aeroplane_or_of_none_is_refused():
    with pytest.raises(BadInput, match="not of N1"):
        read_revision(DEMO, DAY, "N1")
    with pytest.raises(BadInput, match="names no aeroplane"):
        read_revision(DEMO.replace('registration = "N0160T"', ""), DAY, "")
    assert read_revision(DEMO, DAY, "")[1].identity.registration == REG


# ---- refusals


@pytest.mark.parametrize(("body", "words"), [
    (EquipmentChange(DAY, "radio", 2.0, float("nan")), "has no arm"),
    (EquipmentChange(DAY, "radio", 2.0, None), "has no arm"),
    (weighed(1400, float("nan")), "has no arm"),
    (EquipmentChange(DAY, "radio", 0.0, 1.0), "other than 0"),
    (EquipmentChange(DAY, " ", 1.0, 1.0), "does not say what"),
    (EquipmentChange(DAY, "radio", 1.0, 40.0), "not believable"),
    (EquipmentChange(date(2030, 1, 1), "radio", 1.0, 1.0), "a day to come"),
    (weighed(14, 85), "not believable"),
    (weighed(1400, 85, oil="some"), "no state"),
    (weighed(1400, 85, fuel="usable full"), "density"),
    (weighed(1400, 85, fuel="usable full", density_kg_m3=7.2), "not believable")])
def test_what_cannot_be_true_is_refused_in_a_sentence(body, words):
    with pytest.raises(BadInput, match=words):
        refuse_entry(body, ON)


def test_an_amendment_across_a_weighing_or_without_one_is_refused_and_none_is_needed_without_changes():
    kept = entries(weighed(1400, 85), change("radio", 5, 60, 10), weighed(1410, 85, DAY + timedelta(days=30)))
    with pytest.raises(BadInput, match="amend from 2020-01-31"):
        amendment(kept, REG, ON, DAY)
    assert amendment(kept, REG, ON) is None
    with pytest.raises(BadInput, match="no empty weight to amend"):
        amendment(entries(change("radio", 5, 60)), REG, ON)


# ---- the day of a weighing


def test_a_change_on_the_day_of_a_weighing_counts_once_before_it_or_after_it():
    """Mechanics: 1,000 lb at 80 in weighed with or without 10 lb at 120 in; 10 lb later are 1,010 lb at 80,000 + 1,200 = 80.396 in."""
    scales, radio = weighed(1000, 80.0), change("radio", 10, 120, days=0)
    assert now(entries(scales, radio)) == pytest.approx((1000, 80.0))
    assert now(entries(radio, scales)) == pytest.approx((1000, 80.0))
    for order in ((scales, replace(radio, after_weighing=True)), (replace(radio, after_weighing=True), scales)):
        assert now(entries(*order)) == pytest.approx((1010, (80_000 + 1_200) / 1010))
        lines = ledger(entries(*order), REG, ON).lines
        assert [(x.kind, x.held, x.after) for x in lines] == [("weighing", False, False), ("equipment", False, True)]
    later = entries(scales, replace(radio, after_weighing=True), weighed(1012, 80.5, DAY + timedelta(days=9)))
    assert now(later) == pytest.approx((1012, 80.5))


def test_what_came_after_the_weighing_of_its_day_is_in_the_amendment_and_in_the_toml():
    kept = entries(AeroplaneRevision(date(2019, 1, 1), DEMO), weighed(1400, 84.0),
                   replace(change("radio", 10, 120, days=0), after_weighing=True), change("clock", 1, 60, days=0))
    found = amendment(kept, REG, DAY)
    assert [x.what for x in found.items] == ["radio"]
    assert from_si(found.weight_change_kg, "lb") == pytest.approx(10)
    again = read_airframe(record_toml(kept, REG, ON), "again")
    assert empty_weight(again, ON).weight_kg == pytest.approx(ledger(kept, REG, ON).empty.weight_kg)
    assert "after_weighing = true" in record_toml(kept, REG, ON)


@given(st.lists(st.tuples(st.floats(1, 50), st.floats(40, 140), st.booleans()), max_size=6))
@settings(max_examples=40, deadline=None)
def test_every_change_of_a_weighing_day_counts_once_or_is_held(changes):
    bodies = [EquipmentChange(DAY, f"x{i}", lb(w), inch(a), after_weighing=after) for i, (w, a, after) in enumerate(changes)]
    expected = 1400 + sum(w for w, _, after in changes if after)
    assert now(entries(weighed(1400, 84.0), *bodies))[0] == pytest.approx(expected)
