"""The buying and selling sheet from a record, and the record without other people's data."""

import re
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest

from ownship.aeroplane.reading import read_airframe
from ownship.ownership import sale
from ownship.ownership.entries import (
    AeroplaneRevision,
    Cost,
    Defect,
    Entry,
    EquipmentChange,
    Flight,
    HandOver,
    InstrumentReplaced,
    Interval,
    MaintenanceDone,
    MaintenanceItem,
    Money,
    Pilot,
    PilotEvent,
    Setting,
    Weighing,
)
from ownship.provenance import package_text
from ownship.store.codec import body_text
from ownship.units import to_si

REG, ON = "N0160T", date(2026, 7, 1)
START = datetime(2024, 1, 5, 12, tzinfo=UTC)
DEMO = package_text("demo", "camas160.toml")


def record(*bodies):
    """Entries a day apart; a (moment, body) pair has its own moment."""
    pairs = [b if isinstance(b, tuple) else (START + timedelta(days=i), b) for i, b in enumerate(bodies)]
    return tuple(Entry(i + 1, f"u{i}", REG, moment, moment, body) for i, (moment, body) in enumerate(pairs))


def usd(amount):
    return Money(Decimal(str(amount)), "USD")


def flown(day, from_h=None, to_h=None, hours=1.0, **more):
    off = START + timedelta(days=day)
    return off, Flight(off, off + timedelta(hours=hours), "KBOI", "KU79", tachometer_from_h=from_h, tachometer_to_h=to_h, **more)


# ---- gaps in the log


def test_a_jump_of_the_tachometer_between_two_flights_is_a_gap():
    spans = sale.log_spans(record(flown(1, 100.0, 101.0), flown(2, 101.1, 102.0), flown(9, 104.5, 105.0), flown(10, 104.0, 105.5)), REG)
    assert [(g.after.day, g.before.day, round(g.missing_h, 6)) for g in spans.gaps] == [(7, 14, 2.5), (14, 15, -1.0)]
    assert (spans.read, spans.unread, spans.known) == (4, 0, True)


def test_flights_without_readings_explain_as_much_as_their_flight_time():
    spans = sale.log_spans(record(flown(1, 100.0, 101.0), flown(2, hours=2.0), flown(3, 102.9, 104.0)), REG)
    assert spans.gaps == () and spans.unread == 1
    (gap,) = sale.log_spans(record(flown(1, 100.0, 101.0), flown(2, hours=2.0), flown(3, 106.0, 107.0)), REG).gaps
    assert gap.missing_h == pytest.approx(3.0)


def test_a_replaced_tachometer_is_no_gap_and_what_ran_before_it_is():
    new = (START + timedelta(days=2), InstrumentReplaced("tachometer", 101.0, 0.0))
    assert sale.log_spans(record(flown(1, 100.0, 101.0), new, flown(3, 0.0, 1.0)), REG).gaps == ()
    late = (new[0], InstrumentReplaced("tachometer", 103.0, 0.0))
    (gap,) = sale.log_spans(record(flown(1, 100.0, 101.0), late, flown(3, 0.5, 1.0)), REG).gaps
    assert gap.missing_h == pytest.approx(2.5)
    other = (new[0], InstrumentReplaced("hour meter", 101.0, 0.0))
    assert len(sale.log_spans(record(flown(1, 100.0, 101.0), other, flown(3, 0.0, 1.0)), REG).gaps) == 1


def test_without_readings_gaps_are_not_known():
    assert not sale.log_spans(record(flown(1), flown(2)), REG).known
    assert any("Missing spans of the log not known" in w for w in sale.sheet(record(flown(1)), REG, ON, 50.0).not_known)


# ---- useful load and full tanks


def test_useful_load_is_that_of_the_last_weighing_and_what_changed_since_and_full_tanks_take_their_fuel():
    demo = read_airframe(DEMO, "demo")
    pound = float(to_si(1, "lb"))
    scales = (datetime(2025, 3, 1, 12, tzinfo=UTC), Weighing(date(2025, 3, 1), True, 1500 * pound, 2.3))
    radio = (datetime(2025, 9, 1, 12, tzinfo=UTC), EquipmentChange(date(2025, 9, 1), "radio", 10 * pound, 1.5))
    s = sale.sheet(record(AeroplaneRevision(date(2024, 1, 1), DEMO), scales, radio), REG, ON, 50.0)
    assert s.useful_load_kg == pytest.approx(demo.weights.take_off_max_kg - 1510 * pound)
    fuel = sum(t.usable_m3 for t in demo.tanks) * demo.fuel.density_kg_m3
    assert s.full_tanks_kg == pytest.approx(s.useful_load_kg - fuel)
    assert (s.weighed_on, s.weighed_days) == (date(2025, 3, 1), 487)


def test_an_empty_record_is_a_sheet_of_not_known():
    s = sale.sheet((), REG, ON, None)
    assert (s.useful_load_kg, s.full_tanks_kg, s.weighed_on, s.coming, s.sums) == (None, None, None, (), ())
    words = " ".join(s.not_known)
    for lacking in ("Empty weight", "Missing spans", "Directives", "No hours"):
        assert lacking in words


def test_tanks_that_the_record_lacks_leave_the_load_with_full_tanks_not_known():
    bare = read_airframe(DEMO, "demo")
    assert sale.full_tanks_kg(replace(bare, tanks=()), 300.0)[0] is None
    assert sale.full_tanks_kg(replace(bare, fuel=None), 300.0)[0] is None
    assert sale.full_tanks_kg(bare, None) == (None, ())


# ---- what is coming


def item(name, interval, **more):
    return MaintenanceItem(name, more.pop("title", name), interval, **more)


def done(name, day, hours=None):
    return datetime(day.year, day.month, day.day, 12, tzinfo=UTC), MaintenanceDone(name, day, hours)


def coming(*bodies, yearly_h=50.0):
    return {x.what: x for x in sale.sheet(record(*bodies), REG, ON, yearly_h).coming}


def test_an_annual_falls_due_twice_in_24_months_and_costs_twice():
    annual = item("annual", Interval("12 calendar months"), expected_cost=usd(1500))
    found = coming(annual, done("annual", date(2026, 3, 5)))["annual"]
    assert (found.first, found.times, found.total) == (date(2027, 3, 31), 2, usd(3000))


def test_hours_fall_due_at_the_pace_flown_and_the_first_of_both_counts():
    oil = item("oil", Interval("4 months", 50.0), expected_cost=usd(90))
    found = coming(oil, done("oil", date(2026, 6, 1), 1000.0), yearly_h=300.0)["oil"]
    assert found.first == date(2026, 8, 30) and found.times == 12  # 60.9 days apart by hours; 4 months would be 6 times
    slow = coming(oil, done("oil", date(2026, 6, 1), 1000.0), yearly_h=10.0)["oil"]
    assert slow.first == date(2026, 10, 1) and slow.times == 6
    only_hours = (item("mags", Interval("", 500.0)), done("mags", date(2026, 6, 1), 1000.0))
    assert coming(*only_hours, yearly_h=50.0) == {} and coming(*only_hours, yearly_h=None)["mags"].first is None
    unknown = coming(oil, done("oil", date(2026, 6, 1), 1000.0), yearly_h=None)["oil"]
    assert unknown.times == 6 and "by hours not known" in unknown.words


def test_overdue_is_due_now_and_never_noted_counts_once():
    late = item("hoses", Interval("60 months"), expected_cost=usd(800))
    found = coming(late, done("hoses", date(2020, 1, 1)))["hoses"]
    assert (found.first, found.times) == (ON, 1)
    never = coming(late)["hoses"]
    assert (never.first, never.times, never.total) == (None, 1, usd(800)) and "never noted" in never.words


def test_what_is_finished_or_later_than_24_months_is_not_coming():
    ended = (done("x", date(2025, 1, 1))[0], MaintenanceDone("x", date(2025, 1, 1), terminating=True))
    assert coming(item("x", Interval("12 months")), ended) == {}
    assert coming(item("y", Interval("120 months")), done("y", date(2025, 1, 1))) == {}


def test_a_life_that_ends_is_its_whole_cost_and_an_item_of_the_same_name_counts_once():
    engine = Cost("engine overhaul", "reserve", usd(36000), 12.0, 2000.0, 1950.0, since_day=date(2018, 1, 1))
    found = coming(engine, yearly_h=50.0)["engine overhaul"]
    assert (found.first, found.total) == (date(2027, 7, 1), usd(36000))  # 50 h left at 50 h a year
    assert coming(replace(engine, since_h=0.0, since_day=date(2026, 1, 1))) == {}
    no_pace = coming(replace(engine, since_h=0.0, since_day=date(2026, 1, 1)), yearly_h=None)["engine overhaul"]
    assert (no_pace.first, no_pace.total) == (None, usd(36000)) and "without hours a year" in no_pace.words
    unknown = coming(replace(engine, since_h=None, since_day=None))["engine overhaul"]
    assert unknown.first is None and "not known" in unknown.words
    half = coming(replace(engine, since_h=None, since_day=date(2026, 1, 1)))["engine overhaul"]
    assert half.first is None and "hours run are not known" in half.words
    both = coming(engine, item("engine", Interval("", 2000.0), title="Engine overhaul", expected_cost=usd(40000)))
    assert list(both) == ["Engine overhaul"]


def test_sums_are_by_currency_and_what_has_no_price_is_counted():
    s = sale.sheet(record(item("a", Interval("60 months"), expected_cost=usd(100)), item("b", Interval("60 months")),
                          item("c", Interval("60 months"), expected_cost=Money(Decimal(70), "CAD"))), REG, ON, 50.0)
    assert s.sums == (Money(Decimal(70), "CAD"), usd(100)) and s.unpriced == 1


def test_directives_are_listed_until_a_terminating_action():
    bodies = (item("ad1", Interval("", 100.0), directive="2019-01-02", expected_cost=usd(400)),
              item("ad2", Interval(), directive="2020-03-04", terminated="replaced"))
    s = sale.sheet(record(*bodies), REG, ON, 50.0)
    assert [(d.item.directive, d.state) for d in s.directives] == [("2019-01-02", "not known")]
    assert [x.directive for x in s.coming] == ["2019-01-02"]
    assert any("Directives not known" in w for w in sale.sheet(record(item("x", Interval("12 months"))), REG, ON, 50.0).not_known)


def test_ages_of_lives_and_of_what_the_calendar_limits():
    s = sale.sheet(record(Cost("propeller", "reserve", usd(4000), 6.0, 2000.0, 300.0, since_day=date(2022, 7, 1)),
                          item("hoses", Interval("60 months")), done("hoses", date(2024, 7, 1))), REG, ON, 50.0)
    prop, hoses = s.ages
    assert (prop.what, prop.run_h, round(prop.years, 2)) == ("propeller", 300.0, 4.0)
    assert (hoses.since, round(hoses.years, 2)) == (date(2024, 7, 1), 2.0)


# ---- without other people's data


def whole():
    return record(
        flown(1, 1.0, 2.0, pilot="Ann Miller", crew=("Bob Stone",), remarks="With Ann and bob; Mr. Stone flew. Rough field."),
        HandOver("Bob Stone", "Ann Miller", keys="at Miller's desk", owed=usd(120)), Pilot("Ann Miller", date(1970, 1, 1)),
        PilotEvent("Ann Miller", "medical", date(2026, 1, 1)), Setting("insurer", "x"),
        Defect("radio", "found", "BOB STONE heard hum, Eve Long too", by="Fitter"), AeroplaneRevision(date(2024, 1, 1), DEMO),
        MaintenanceDone("annual", date(2026, 1, 1), by="J. Wrench, licence 77"))


def test_no_partner_or_pilot_is_named_anywhere_and_persons_stay_apart():
    kept = sale.without_others(whole(), record(Pilot("Eve Long")))
    text = " ".join(body_text(e.body) + e.source + e.note for e in kept if not isinstance(e.body, AeroplaneRevision)).casefold()
    for name in ("ann", "miller", "bob", "stone", "120", "eve", "fitter"):
        assert not re.search(rf"\b{name}\b", text), name
    flight = kept[0].body
    assert (flight.pilot, flight.crew) == ("person 1", ("person 2",)) and "Rough field" in flight.remarks
    assert (kept[1].body.to, kept[1].body.by, kept[1].body.owed) == ("person 2", "person 1", None)
    assert {e.body.KIND for e in kept} == {"flight", "hand-over", "defect", "aeroplane", "maintenance done"}


def test_the_aeroplane_its_work_and_who_signed_it_stay():
    kept = {e.body.KIND: e.body for e in sale.without_others(whole())}
    assert kept["aeroplane"].toml == DEMO and kept["maintenance done"].by == "J. Wrench, licence 77"


def test_a_name_in_small_letters_is_left_in_texts_and_not_in_its_own_field():
    (e,) = sale.without_others(record(flown(1, pilot="fuel", remarks="fuel smell")))
    assert e.body.pilot == "person 1" and e.body.remarks == "fuel smell"


def test_the_text_of_a_file_keeps_its_keys_whatever_a_pilot_is_called():
    _, e = sale.without_others(record(flown(1, pilot="Fuel Weights"), AeroplaneRevision(date(2024, 1, 1), DEMO)))
    assert read_airframe(e.body.toml, "demo").fuel == read_airframe(DEMO, "demo").fuel


def test_corrections_stay_and_name_only_what_is_there():
    first, second = record(flown(1, 1.0, 2.0, pilot="Ann"), flown(1, 1.0, 2.5, pilot="Ann"))
    kept = sale.without_others((first, replace(second, corrects=1)))
    assert [e.corrects for e in kept] == [None, 1]
    assert sale.without_others((replace(second, corrects=1),))[0].corrects is None


def test_what_only_landings_bring_is_counted_once_and_at_the_price_last_paid():
    """An item of 300 landings with 200 left is in the next 24 months or not: nobody forecasts landings, so it is counted once."""
    item = MaintenanceItem("bolts", "bolts", Interval(landings=300))
    kept = record(item, MaintenanceDone("bolts", date(2026, 1, 10), 1000.0, 5000, cost=Money(Decimal("250"), "USD")),
                  MaintenanceDone("total time", date(2026, 6, 1), 1050.0, 5100))
    (found,) = sale.sheet(kept, REG, ON, 50.0).coming
    assert (found.first, found.times, found.each) == (None, 1, Money(Decimal("250"), "USD"))
    assert "landings are not forecast" in found.words and "as paid on 2026-01-10" in found.words
