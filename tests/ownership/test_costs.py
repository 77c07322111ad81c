"""What owning costs: the worked numbers of the rules sheet's section 8, then what must hold for any numbers."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from itertools import count

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ownship.errors import BadInput
from ownship.ownership import costs as c
from ownship.ownership import spending as s
from ownship.ownership.entries import (
    Cost,
    Entry,
    Flight,
    FuelAdded,
    FuelSeen,
    MaintenanceDone,
    Money,
    OilAdded,
)
from ownship.schema import read_toml
from ownship.units import from_si, to_si

ON = date(2026, 7, 1)
START = datetime(2026, 1, 5, 12, tzinfo=UTC)
REG = "N0160T"


def usd(amount):
    return Money(Decimal(str(amount)), "USD")


def record(*bodies, at=START, step=timedelta(days=1), aeroplane=REG):
    """Entries in order, a day apart; a (moment, body) pair has its own moment."""
    found = []
    for i, b in enumerate(bodies):
        moment, body = b if isinstance(b, tuple) else (at + i * step, b)
        found.append(Entry(i + 1, f"u{i}", aeroplane, moment, moment, body))
    return tuple(found)


def flight(hours, off=START):
    return off, Flight(off, off + timedelta(hours=hours + 0.2), "KBOI", "KU79", off + timedelta(hours=0.1),
                       off + timedelta(hours=hours + 0.1))


def gallons(n):
    return float(to_si(n, "usgal"))


def table(*costs):
    (found,) = c.costs(record(*costs), REG, ON, 0.5).tables
    return found


HANGAR = Cost("hangar", "fixed", usd(2400))
ENGINE = Cost("engine overhaul", "reserve", usd(36000), 12.0, 2000.0)
OIL_CHANGE = Cost("oil change", "hourly", usd(100), per_hours_h=50.0)

# ---- published: rules.md section 8 (categories and formulas read second-hand; the numbers below follow from them)


def test_sixty_hours_a_year_with_twelve_years_are_720_hours_not_2000():
    assert c.effective_hours_h(2000.0, 60.0, 12.0) == 720.0  # the worked number of section 8
    assert c.effective_hours_h(2000.0, 200.0, 12.0) == 2000.0
    assert c.effective_hours_h(2000.0, 60.0, None) == 2000.0


def test_a_reserve_is_the_cost_over_effective_hours():
    (rate,) = table(ENGINE).rates
    assert rate.reserve_an_hour(60.0) == 50  # 36,000 / 720
    assert rate.reserve_an_hour(200.0) == 18  # 36,000 / 2,000
    assert (rate.fixed(60.0), rate.hourly(60.0)) == (3000, 0)  # limited by its years: 36,000 / 12 a year, whatever is flown
    assert (rate.fixed(200.0), rate.hourly(200.0)) == (0, 18)


def test_a_year_is_f_plus_v_h_and_an_hour_f_over_h_plus_v():
    t = table(HANGAR, OIL_CHANGE, ENGINE, Cost("paint", "calendar", usd(9000), 15.0))
    assert (t.fixed(100.0), t.hourly(100.0)) == (2400 + 600 + 3000, 2)  # 100 h x 12 y < 2,000 h
    assert t.year(100.0) == 6200 and t.hour(100.0) == 62
    assert t.hour(0.0) is None and t.year(0.0) == 6000


def test_break_even_is_f_over_r_less_v():
    t = table(HANGAR, Cost("routine", "hourly", usd(85)))
    assert c.break_even_h(t, usd(185)) == pytest.approx(24.0)  # 2,400 / (185 - 85)
    assert c.break_even_h(t, usd(85)) is None and c.break_even_h(t, usd(50)) is None
    with pytest.raises(BadInput, match=r"rental rate is in EUR and the costs in USD"):
        c.break_even_h(t, Money(Decimal(185), "EUR"))


def test_catch_up_is_cost_less_fund_over_the_hours_left():
    entries = record(replace(ENGINE, since_h=1200.0, per_years=None, fund=usd(20000)), flight(2.0, START + timedelta(days=1)))
    (a,) = c.accrued(entries, REG, ON, 60.0)
    assert a.run_h == pytest.approx(1202.0) and a.left_h == pytest.approx(798.0)
    assert float(a.catch_up) == pytest.approx(16000 / 798)
    assert float(a.owed) == pytest.approx(36000 / 2000 * 1202)  # rate x hours run
    assert a.words == ""


def test_years_bind_where_they_use_more_of_the_life_than_hours():
    entries = record(replace(ENGINE, since_h=300.0, since_day=date(2020, 7, 1), fund=usd(0)))
    (a,) = c.accrued(entries, REG, ON, 50.0)
    assert a.share_1 == pytest.approx(0.5, abs=1e-3)  # 6 of 12 years against 300 of 2,000 h
    assert a.left_h == pytest.approx(300.0, abs=0.5)  # 6 years x 50 h, fewer than 1,700


def test_a_life_that_is_over_says_so_and_what_is_not_known_is_not_guessed():
    over, half, none = (c.accrued(record(x), REG, ON, 60.0)[0] for x in (
        replace(ENGINE, since_h=2100.0, since_day=date(2020, 1, 1), fund=usd(0)), replace(ENGINE, since_h=1000.0), ENGINE))
    assert over.share_1 == pytest.approx(1.05) and over.catch_up is None and "beyond its life" in over.words
    assert half.owed == 18000 and half.left_h is None and half.catch_up is None and "years run are not known: at least" in half.words
    assert none.owed is None and none.share_1 is None and "hours run are not known: say since when" in none.words


def test_payback_is_the_cost_over_what_a_year_saves_with_the_useful_load_beside_it():
    p = s.payback(usd(3000), (usd(5), usd("-1"), usd(2)), 100.0, -4.5)
    assert (p.years, p.saved_a_year, p.useful_load_change_kg) == (5.0, 600, -4.5)
    assert s.payback(usd(3000), (usd("-1"),), 100.0, 0.0).years is None
    with pytest.raises(BadInput, match="in one currency"):
        s.payback(usd(3000), (Money(Decimal(1), "CAD"),), 100.0, 0.0)


def test_routine_maintenance_starts_at_half_of_hourly_fuel_and_oil_and_gives_way_to_a_stated_cost():
    assert s.routine_maintenance_1() == 0.5  # section 8, read second-hand
    bought = (flight(10.0), FuelAdded("left", gallons(80), price=usd(480)), OilAdded(float(to_si(4, "qt")), price=usd(40)))
    entries = record(*bought)
    found = c.costs(entries, REG, ON, s.routine_maintenance_1())
    rates = {r.what: r for r in found.tables[0].rates}
    assert float(rates["fuel"].an_hour) == pytest.approx(48.0) and float(rates["oil"].an_hour) == pytest.approx(4.0)
    assert float(rates["routine maintenance"].an_hour) == pytest.approx(26.0)
    assert rates["routine maintenance"].kind == "estimate" and "starting rule" in rates["routine maintenance"].words
    stated = c.costs(record(*bought, OIL_CHANGE), REG, ON, 0.5)
    assert "routine maintenance" not in {r.what for r in stated.tables[0].rates}


# ---- fuel and oil as bought


def test_the_mean_price_is_by_volume_and_the_trend_by_month():
    entries = record((START, FuelAdded("left", gallons(30), price=usd(150))), (START, FuelAdded("right", gallons(10), price=usd(90))),
                     (START + timedelta(days=40), FuelAdded("left", gallons(20), price=usd(140))),
                     (START, FuelAdded("left", gallons(7))), (START, FuelAdded("left", gallons(5), price=Money(Decimal(40), "CAD"))))
    cad, us = s.bought(entries, REG, date(2025, 12, 31), ON)
    assert float(us.price_m3) * gallons(1) == pytest.approx(380 / 60)
    assert [(m, round(float(from_si(v, "usgal"))), p) for m, v, p in us.months] == [("2026-01", 40, 240), ("2026-02", 20, 140)]
    assert (cad.currency, cad.paid) == ("CAD", 40)


def test_fuel_by_the_hour_counts_what_has_no_price_at_the_mean_price():
    entries = record(flight(5.0), FuelAdded("left", gallons(30), price=usd(180)), FuelAdded("left", gallons(10)))
    (fuel,) = [r for r in c.costs(entries, REG, ON, 0.5).tables[0].rates if r.what == "fuel"]
    assert float(fuel.an_hour) == pytest.approx(6 * 40 / 5) and "no price noted" in fuel.words
    (given_flow,) = [r for r in c.costs(entries, REG, ON, 0.5, gallons(9) / 3600).tables[0].rates if r.what == "fuel"]
    assert float(given_flow.an_hour) == pytest.approx(54.0)


def test_without_hours_or_prices_fuel_is_missing_and_said():
    assert any("told by the hour" in w for w in c.costs(record(FuelAdded("left", 0.1, price=usd(90))), REG, ON, 0.5).missing)
    empty = c.costs((), REG, ON, 0.5)
    assert empty.tables == () and empty.flown_h is None and len(empty.missing) == 5


# ---- the record


def test_a_later_cost_of_the_same_name_replaces_and_an_amount_of_nought_ends():
    assert table(HANGAR, Cost("Hangar", "fixed", usd(3000))).fixed(10.0) == 3000
    assert c.costs(record(HANGAR, Cost("hangar", "fixed", usd(0))), REG, ON, 0.5).tables == ()


def test_costs_of_another_aeroplane_and_of_later_days_do_not_count():
    assert c.costs(record(HANGAR, aeroplane="N0200T"), REG, ON, 0.5).tables == ()
    assert c.costs(record(HANGAR), REG, date(2026, 1, 4), 0.5).tables == ()
    assert c.costs(record(HANGAR, aeroplane=""), REG, ON, 0.5).tables[0].fixed(1.0) == 2400


def test_what_happened_counts_for_twelve_months_fees_by_the_hour_flown():
    fee, tyre = Cost("landing fee", "variable", usd(60), shareable=True), Cost("tyre", "variable", usd(210))
    t = c.costs(record(flight(30.0), fee, tyre), REG, ON, 0.5).tables[0]
    assert (t.fixed(100.0), t.hourly(100.0)) == (210, 2)
    assert c.costs(record(fee, tyre), REG, ON, 0.5).tables[0].fixed(100.0) == 270, "without hours all of it is the year's"
    assert c.costs(record(tyre), REG, date(2027, 2, 1), 0.5).tables == ()


def test_a_stated_cost_that_cannot_be_is_left_out_and_said():
    found = c.costs(record(Cost("engine", "reserve", usd(1))), REG, ON, 0.5)
    assert found.tables == () and any("Left out of every figure: engine: a reserve needs" in w for w in found.missing)


@pytest.mark.parametrize(("cost", "said"), [
    (Cost(" ", "fixed", usd(1)), "is no name of a cost"),
    (Cost("a\nb", "fixed", usd(1)), "is no name of a cost"), (Cost("x" * 81, "fixed", usd(1)), "1 to 80 characters"), (Cost("x", "monthly", usd(1)), "'monthly' is no kind of cost"),
    (Cost("x", "reserve", usd(1)), "hours or the years"), (Cost("x", "calendar", usd(1)), "years between two"),
    (Cost("x", "hourly", usd(1), per_hours_h=0.0), "hours of 0 are not believable"),
    (Cost("x", "fixed", usd(1), per_years=float("nan")), "years of nan"), (replace(ENGINE, since_h=-1.0), "-1 hours since"),
    (replace(ENGINE, fund=Money(Decimal(1), "EUR")), "fund is in EUR"), (replace(HANGAR, shareable=True), "cannot be shared")])
def test_a_cost_that_cannot_be_is_one_sentence(cost, said):
    with pytest.raises(BadInput, match=said):
        c.checked(cost)


@pytest.mark.parametrize(("text", "amount", "currency"), [
    ("1,250.50 USD", "1250.50", "USD"), ("eur80", "80", "EUR"), (" .5 CAD ", "0.5", "CAD"), ("0 USD", "0", "USD")])
def test_money_is_an_amount_with_its_currency(text, amount, currency):
    assert c.read_money(text) == Money(Decimal(amount), currency)


@pytest.mark.parametrize("text", ["", "12", "USD", "-5 USD", "12 dollars", "$12", "1e5 USD", "nan USD", "2000000000 USD", "١٢ USD", "1.2.3 USD", "12,50 EUR",
                                  "0,89 EUR", "1,2345 USD", "1,,250 USD", "1250,000 USD"])
def test_money_without_currency_or_beyond_belief_is_refused(text):
    with pytest.raises(BadInput):
        c.read_money(text)


def test_a_price_has_its_unit():
    assert float(c.read_price("6.20 USD/usgal").amount) * gallons(1) == pytest.approx(6.2)
    assert float(c.read_price("2 EUR/l").amount) == pytest.approx(2000)
    for wrong in ("6.20 USD", "6.20/usgal", "6.20 USD/gal", "6.20 USD/h"):
        with pytest.raises(BadInput):
            c.read_price(wrong)


# ---- a year as spent


def test_a_year_by_month_and_kind_with_a_running_total():
    entries = record(
        (START, HANGAR), (START, FuelAdded("left", gallons(30), price=usd(180))), (START, FuelAdded("left", gallons(5))),
        (START + timedelta(days=30), OilAdded(0.001, price=usd(10))), (START + timedelta(days=60), MaintenanceDone(
            "annual", date(2026, 3, 6), cost=usd(1500))), (START + timedelta(days=60), Cost("tyre", "variable", usd(200))),
        (START, ENGINE), (START, OIL_CHANGE))
    (year,) = s.years(entries, REG, 2026, date(2026, 4, 2))
    assert [m.month for m in year.months] == ["2026-01", "2026-02", "2026-03", "2026-04"]
    assert [m.spent for m in year.months] == [(180, 0, 0, 200, 0), (0, 10, 0, 200, 0), (0, 0, 1500, 200, 200), (0, 0, 0, 200, 0)]
    assert [m.running for m in year.months] == [380, 590, 2490, 2690] and year.total == 2690
    assert year.words == ("1 entry of fuel and oil of the year has no price noted and is in no figure.",)
    assert s.years(entries, REG, 2025, ON) == () and s.years(entries, REG, 2027, ON) == ()


def test_a_year_in_two_currencies_is_two_values():
    entries = record(HANGAR, Cost("tie-down", "variable", Money(Decimal(50), "CAD")))
    assert [(y.currency, y.total) for y in s.years(entries, REG, 2026, date(2026, 1, 20))] == [("CAD", 50), ("USD", 200)]


# ---- a planned flight and sharing


def planned(*fees):
    bodies = (HANGAR, ENGINE, OIL_CHANGE, Cost("handling", "hourly", usd(3), shareable=True), flight(10.0),
              OilAdded(float(to_si(2, "qt")), price=usd(20)))
    tables = c.costs(record(*bodies), REG, ON, 0.5).tables
    burn = s.Burn(gallons(10), gallons(9), gallons(12), 2.0)
    return s.flight_costs(tables, burn, 60.0, c.read_price("6 USD/usgal"), fees)


def test_a_flight_is_burn_times_price_its_time_and_its_fees():
    (cost,) = planned(usd(15))
    lines = {line.what: float(line.amount) for line in cost.lines}
    assert lines == pytest.approx({"fuel": 60, "engine overhaul": 100, "oil change": 4, "handling": 6, "oil": 4, "fees": 15})
    fuel = cost.lines[0]
    assert (float(fuel.low), float(fuel.high)) == pytest.approx((54, 72)) and float(cost.total) == pytest.approx(189)


def test_fees_in_another_currency_stay_there():
    assert [(x.currency, round(float(x.total), 6)) for x in planned(Money(Decimal(30), "CAD"))] == [("CAD", 30.0), ("USD", 174.0)]


@pytest.mark.parametrize(("place", "section", "words"), [
    ("Canada", "CAR 401.28(2)", "incidental"),  # read
    ("USA", "14 CFR 61.113(c)", "from memory: check it"), ("EASA", "965/2012, Article 6(4a)", "from memory: check it")])
def test_shareable_are_fuel_oil_and_fees_with_the_rule_and_how_it_is_known(place, section, words):
    (cost,) = planned(usd(15))
    found = s.share(cost, place, 4, ON)
    assert float(found.shareable) == pytest.approx(60 + 4 + 6 + 15) and found.each * 4 == pytest.approx(found.shareable)
    assert section in found.words and words in found.words
    assert ("at least the equal share" in found.words) == (place == "USA")


def test_six_persons_at_most_by_the_european_rule_and_no_rule_no_share():
    (cost,) = planned()
    assert s.share(cost, "EASA", 6, ON).persons == 6
    for place, persons, said in (("EASA", 7, "allows 6"), ("Atlantis", 2, "no rule of sharing"), ("USA", 0, "not believable")):
        with pytest.raises(BadInput, match=said):
            s.share(cost, place, persons, ON)


def test_a_past_flight_is_judged_by_the_text_of_its_day_and_one_before_the_first_is_not_known():
    (cost,) = planned()
    for rule in s.sharing_rules():
        assert s.share(cost, rule.place, 2, rule.effective_from).words.startswith(rule.section)
        with pytest.raises(BadInput, match=f"no text on sharing is kept for a flight of .*{rule.effective_from} on.*is not known"):
            s.share(cost, rule.place, 2, rule.effective_from - timedelta(days=1))


SHARING = """
[[place]]
place = "Here"
section = "1"
effective_from = 2000-01-01
effective_to = 2009-12-31
shares = ["fuel"]
words = "old"
source = "old text"
status = "read"
[[place]]
place = "Here"
section = "2"
effective_from = 2010-01-01
shares = ["oil"]
words = "new"
source = "new text"
status = "read"
"""


def test_rules_of_sharing_have_their_days_and_never_two_on_one(monkeypatch):
    rules = s.read_sharing(read_toml(SHARING, "x"))
    monkeypatch.setattr(s, "sharing_rules", lambda: rules)
    assert [s.sharing_rule("Here", date(y, m, d)).section for y, m, d in (
        (2000, 1, 1), (2009, 12, 31), (2010, 1, 1), (2030, 1, 1))] == ["1", "1", "2", "2"]
    for old, new, said in (("effective_to = 2009-12-31", "", "two texts"), ("2009-12-31", "1999-12-31", "is before effective_from"),
                           ("2010-01-01", '"soon"', "should be a date"), ("effective_from = 2010-01-01", "", "lacks 'effective_from'")):
        with pytest.raises(BadInput, match=said):
            s.read_sharing(read_toml(SHARING.replace(old, new), "x"))


# ---- properties

AMOUNTS = st.decimals(min_value=0, max_value=100000, places=2)
CURRENCIES = st.sampled_from(("USD", "CAD", "EUR"))
HOURS, YEARS = st.floats(1, 5000), st.floats(0.1, 40)


@st.composite
def any_cost(draw):
    kind = draw(st.sampled_from(("fixed", "hourly", "reserve", "calendar", "variable")))
    per_years = draw(YEARS) if kind == "calendar" else draw(st.none() | YEARS)
    hours = draw(HOURS) if kind == "reserve" and per_years is None else draw(st.none() | HOURS)
    return kind, Money(draw(AMOUNTS), draw(CURRENCIES)), per_years, hours


def made(drawn):
    number = count()
    return record(*(Cost(f"{kind} {next(number)}", kind, price, years, hours) for kind, price, years, hours in drawn),
                  step=timedelta(hours=1))


@settings(deadline=None)
@given(st.lists(any_cost(), max_size=8), st.floats(0.5, 400), st.floats(1, 3))
def test_more_hours_never_raise_the_fixed_cost_per_hour_nor_the_cost_of_an_hour(drawn, hours, more):
    for t in c.costs(made(drawn), REG, ON, 0.5).tables:
        few, many = hours, hours * more
        slack = Decimal("1.000001")
        assert t.fixed(many) / c.decimal(many) <= t.fixed(few) / c.decimal(few) * slack + Decimal("1e-9")
        assert t.hour(many) <= t.hour(few) * slack + Decimal("1e-9")
        assert t.year(many) >= t.year(few) / slack - Decimal("1e-9")


@settings(deadline=None)
@given(st.lists(any_cost(), max_size=8), st.floats(0.5, 400))
def test_currencies_never_mix(drawn, hours):
    every = {t.currency: t for t in c.costs(made(drawn), REG, ON, 0.5).tables}
    for currency in ("USD", "CAD", "EUR"):
        alone = c.costs(made([d for d in drawn if d[1].currency == currency]), REG, ON, 0.5).tables
        assert len(alone) == (currency in every)
        for t in alone:
            assert t.year(hours) == pytest.approx(every[currency].year(hours), rel=Decimal("1e-12"))


@settings(deadline=None)
@given(st.lists(any_cost(), min_size=1, max_size=8), st.decimals(min_value=1, max_value=500, places=2))
def test_at_break_even_owning_costs_what_renting_does_and_beyond_it_less(drawn, rate):
    for t in c.costs(made(drawn), REG, ON, 0.5).tables:
        hours = c.break_even_h(t, Money(rate, t.currency))
        if hours is None:
            assert all(t.hour(h) >= rate * Decimal("0.999999") for h in (1.0, 100.0, 10000.0))
        elif hours > 1e-3:
            assert float(t.hour(hours)) == pytest.approx(float(rate), rel=1e-6)
            assert t.hour(hours * 2) <= rate * Decimal("1.000001") and t.hour(hours / 2) >= rate * Decimal("0.999999")


@settings(deadline=None)
@given(st.lists(st.tuples(AMOUNTS, CURRENCIES), max_size=12))
def test_sums_keep_every_cent_of_every_currency(amounts):
    found = {m.currency: m.amount for m in c.sums(Money(a, u) for a, u in amounts)}
    assert found == {u: sum(a for a, v in amounts if v == u) for u in {u for _, u in amounts}}


def test_fuel_seen_costs_nothing():
    assert s.years(record(FuelSeen("left", 0.05, "dipstick")), REG, 2026, ON) == ()


# ---- nothing dropped in silence


@pytest.mark.parametrize(("kind", "more", "option"), [
    ("hourly", {"per_years": 3.0}, "--years"), ("fixed", {"per_hours_h": 50.0}, "--hours"), ("calendar", {"per_hours_h": 50.0}, "--hours"),
    ("variable", {"per_years": 3.0}, "--years"), ("hourly", {"since_h": 10.0}, "--since-hours"),
    ("fixed", {"fund": usd(10)}, "--fund"), ("variable", {"since_day": date(2024, 1, 1)}, "--since-day")])
def test_what_a_kind_does_not_use_is_refused(kind, more, option):
    with pytest.raises(BadInput, match=f"{option}: the figures of a {kind} cost do not use it"):
        c.refuse_unused(Cost("x", kind, usd(10), **more))


def test_what_a_kind_uses_is_kept():
    for cost in (Cost("x", "hourly", usd(10), per_hours_h=50.0), Cost("x", "fixed", usd(10), 3.0), Cost("x", "variable", usd(10)),
                 Cost("x", "calendar", usd(10), 3.0, since_day=date(2024, 1, 1), fund=usd(1)),
                 Cost("x", "reserve", usd(10), 12.0, 2000.0, 5.0, since_day=date(2024, 1, 1), fund=usd(1))):
        c.refuse_unused(cost)


def test_an_aeroplanes_own_cost_goes_before_the_one_for_any_whichever_was_written_first():
    general, own = Cost("insurance", "fixed", usd(900)), Cost("insurance", "fixed", usd(1000))
    at = datetime(2024, 1, 5, 12, tzinfo=UTC)

    def acting(*pairs):
        made = [Entry(i, f"u{i}", name, at + timedelta(days=i), at, b) for i, (name, b) in enumerate(pairs, 1)]
        return [cost.price.amount for _, cost in c.stated_costs(made)]

    assert acting(("", general), ("N0160T", own)) == acting(("N0160T", own), ("", general)) == [1000]
    ended = Cost("Insurance", "fixed", usd(0))
    assert acting(("", general), ("N0160T", own), ("N0160T", ended)) == [900]
    assert acting(("", general), ("", ended)) == []
