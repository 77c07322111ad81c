"""`ownship costs`: asked, written down, a planned flight, payback, the sheet; every bad word is one sentence."""

import json
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from xml.etree import ElementTree

import pytest
from commands import run

from ownship.ownership import spending
from ownship.ownership.entries import AeroplaneRevision, Cost, Flight, FuelAdded, MaintenanceDone, Money, Pilot
from ownship.provenance import package_text
from ownship.questions import costing
from ownship.questions.record import open_record
from ownship.store.exchange import imported
from ownship.units import to_si

REG, ON = "N0160T", date(2024, 7, 1)
START = datetime(2024, 1, 5, 12, tzinfo=UTC)


@pytest.fixture
def kept(tmp_path, monkeypatch):
    """The record of an empty folder."""
    monkeypatch.setenv("OWNSHIP_DATA", str(tmp_path / "kept"))
    return tmp_path / "kept"


def keep(folder, *bodies, aeroplane=REG, at=START):
    records = open_record(folder)
    for i, b in enumerate(bodies):
        records.append(b, aeroplane, at + timedelta(days=i))
    records.close()


def usd(amount):
    return Money(Decimal(str(amount)), "USD")


def flight(off=START, hours=10.0, **more):
    return Flight(off, off + timedelta(hours=hours + 0.2), "KBOI", "KU79", off + timedelta(hours=0.1),
                  off + timedelta(hours=hours + 0.1), **more)


FUEL = FuelAdded("left", float(to_si(80, "usgal")), price=usd(480))
HANGAR, ENGINE = Cost("hangar", "fixed", usd(2400)), Cost("engine", "reserve", usd(36000), 12.0, 2000.0)


def asked(capsys, *words):
    code, out, err = run(capsys, *words, "--json")
    assert (code, err) == (0, "")
    return json.loads(out)


def one_sentence(found):
    code, out, err = found
    assert (code, out) == (2, "")
    assert err.count("\n") == 1 and err.endswith(".\n") and "Traceback" not in err
    return err


# ---- an empty record


@pytest.mark.parametrize("words", [("costs",), ("costs", "sheet")])
def test_an_empty_record_answers_and_says_what_to_do_next(kept, capsys, words):
    told = asked(capsys, *words)
    assert told["schema"] == 1 and told["aeroplane"] is None and any("costs add hangar" in w for w in told["words"])
    code, out, err = run(capsys, *words)
    assert (code, err) == (0, "") and "not known" in out + "not known" and "costs add hangar" in out
    assert not kept.exists(), "asking makes no record"


# ---- what it costs


def test_sixty_hours_a_year_with_twelve_years_are_fifty_dollars_an_hour_of_engine(kept, capsys):
    keep(kept, HANGAR, ENGINE)
    told = asked(capsys, "costs", "--flight-hours", "60,250", "--against", "185 USD")
    (t,) = told["currencies"]
    rates = {r["what"]: r for r in t["rates"]}
    assert rates["engine"]["reserve_an_hour"] == {"amount": "50.00", "currency": "USD"}  # 36,000 / 720, rules.md section 8
    assert rates["engine"]["by_calendar"] is True
    assert [(r["hours"], r["a_year"]["amount"], r["an_hour"]["amount"]) for r in t["rows"]] == [
        (60.0, "5400.00", "90.00"), (250.0, "6900.00", "27.60")]
    assert t["break_even"]["hours_a_year"] == pytest.approx(5400 / 185, abs=1e-3)
    assert t["break_even"]["at_least"] is True and "not before 29.2 h" in t["break_even"]["words"], "no fuel is kept"


def test_hours_flown_and_fuel_bought_stand_first(kept):
    keep(kept, HANGAR, ENGINE, flight(), FUEL)
    told = costing.costs(folder=kept, on=ON)
    assert told.data["flown_12_months_h"] == 10.0 and told.data["hours"][0] == 10.0
    fuel = next(r for r in told.data["currencies"][0]["rates"] if r["what"] == "fuel")
    assert fuel["an_hour"]["amount"] == "48.00"
    assert told.data["bought"][0]["mean_price"] == {"amount": "6.000", "currency": "USD"}
    assert any("mean 6.000 USD/US gal" in line for line in told.lines)


def test_currencies_stand_apart_and_no_sum_is_made(kept, capsys):
    keep(kept, HANGAR, Cost("tie-down", "fixed", Money(Decimal(120), "CAD")))
    told = asked(capsys, "costs", "--flight-hours", "60", "--against", "100 EUR")
    assert [t["currency"] for t in told["currencies"]] == ["CAD", "USD"]
    assert [t["rows"][0]["a_year"] for t in told["currencies"]] == [
        {"amount": "120.00", "currency": "CAD"}, {"amount": "2400.00", "currency": "USD"}]
    assert any("no sum over them" in w for w in told["words"]) and any("kept in EUR" in w for w in told["words"])
    assert "2,520" not in run(capsys, "costs", "--flight-hours", "60")[1]


def test_the_year_is_drawn_with_its_figures_in_words(kept, tmp_path, capsys):
    keep(kept, HANGAR, FUEL, MaintenanceDone("annual", date(2024, 1, 7), cost=usd(1500)), Cost("fee", "variable", Money(Decimal(9), "CAD")))
    told = costing.costs(year=2024, chart=str(tmp_path / "year.svg"), folder=kept, on=ON)
    svg = (tmp_path / "year.svg").read_text()
    label = ElementTree.fromstring(svg).get("aria-label")
    assert told.data["chart"] == str(tmp_path / "year.svg")
    assert "spent 9 CAD and, apart, 3,380 USD" in label
    assert "2024-01: fuel 480, maintenance 1,500, fixed 200, running total 2,180" in label
    assert "Reserves are set aside" in label
    again = tmp_path / "again.svg"
    costing.costs(year=2024, chart=str(again), folder=kept, on=ON)
    assert again.read_text() == svg


@pytest.mark.parametrize(("words", "said"), [
    (("--flight-hours", "0"), "--flight-hours: '0'"), (("--flight-hours", "60,"), "--flight-hours"),
    (("--flight-hours", "sixty"), "--flight-hours: 'sixty'"), (("--flight-hours", "9000"), "0.1 to 3,000"),
    (("--against", "185"), "--against: '185' is no amount"), (("--year", "2999"), "--year: 2999"), (("--year", "last"), "year"),
    (("--flow", "8.5"), "--flow"), (("--flow", "800 usgal/h"), "not believable"), (("--aeroplane", "?"), "--aeroplane"),
    (("--chart", "/nowhere/at/all.svg"), "--chart"), (("--cheap",), "--cheap")])
def test_a_wrong_word_is_one_sentence(kept, capsys, words, said):
    keep(kept, HANGAR)
    assert said in one_sentence(run(capsys, "costs", *words))


def test_a_chart_of_nothing_is_refused_and_nothing_is_written(kept, tmp_path, capsys):
    assert "no spending to draw" in one_sentence(run(capsys, "costs", "--chart", str(tmp_path / "x.svg")))
    assert not (tmp_path / "x.svg").exists()


def test_two_aeroplanes_want_one_named(kept, capsys):
    keep(kept, HANGAR)
    keep(kept, HANGAR, aeroplane="N0200T")
    assert "N0160T, N0200T; say which" in one_sentence(run(capsys, "costs"))
    assert asked(capsys, "costs", "--aeroplane", "n0200t")["aeroplane"] == "N0200T"


# ---- writing down


def test_a_cost_is_written_and_read_back(kept, capsys):
    told = asked(capsys, "costs", "add", "engine overhaul", "--kind", "reserve", "--price", "36,000 usd", "--years", "12", "--hours",
                 "2000", "--since-hours", "900", "--since-day", "2019-05-01", "--fund", "9000 USD", "--day", "2024-01-05",
                 "--aeroplane", REG)
    assert told["entry"] == 1 and told["sentence"].startswith("Noted as entry 1: engine overhaul, reserve, 36,000 USD, 2024-01-05")
    (e,) = open_record(kept).standing()
    assert e.body == Cost("engine overhaul", "reserve", usd(36000), 12.0, 2000.0, 900.0, since_day=date(2019, 5, 1), fund=usd(9000))
    assert (e.aeroplane, e.moment) == (REG, datetime(2024, 1, 5, 12, tzinfo=UTC))
    run(capsys, "costs", "add", "medical", "--kind", "fixed", "--price", "90 USD", "--aeroplane", "any")
    assert open_record(kept).standing()[-1].aeroplane == ""
    (reserve,) = asked(capsys, "costs")["reserves"]
    assert reserve["what"] == "engine overhaul" and reserve["rest"]["amount"] == "27000.00"


@pytest.mark.parametrize(("words", "said"), [
    (("x", "--kind", "reserve", "--price", "5 USD"), "needs the hours or the years"), (("x", "--kind", "rent", "--price", "5 USD"), "'rent'"),
    (("x", "--kind", "fixed", "--price", "5"), "--price: '5'"), (("x", "--kind", "fixed"), "price"),
    (("x", "--kind", "fixed", "--price", "5 USD", "--years", "1e9"), "--years"),
    (("x", "--kind", "fixed", "--price", "5 USD", "--years", "0"), "years of 0"),
    (("x", "--kind", "fixed", "--price", "5 USD", "--day", "2024-02-30"), "--day"),
    (("x", "--kind", "fixed", "--price", "5 USD", "--day", "2199-02-03"), "not over yet"),
    (("x", "--kind", "fixed", "--price", "5 USD", "--shareable"), "cannot be shared"),
    (("x", "--kind", "reserve", "--price", "5 USD", "--years", "2", "--fund", "1 EUR"), "fund is in EUR")])
def test_a_cost_that_cannot_be_is_refused_and_nothing_is_written(kept, capsys, words, said):
    assert said in one_sentence(run(capsys, "costs", "add", *words))
    assert not kept.exists()


# ---- a planned flight


def test_the_demo_flight_costs_its_burn_its_reserve_and_its_fees_and_says_who_may_share(kept, capsys):
    keep(kept, ENGINE)
    told = asked(capsys, "costs", "flight", "demo", "--price", "6 USD/usgal", "--fees", "15 USD", "--persons", "4", "--flight-hours", "60")
    (cost,) = told["currencies"]
    parts = {p["what"]: float(p["amount"]["amount"]) for p in cost["parts"]}
    assert parts["fuel"] == pytest.approx(6 * told["fuel"]["value"], abs=0.01)
    assert parts["engine"] == pytest.approx(50 * told["time"]["value"], abs=0.05)
    fuel = cost["parts"][0]
    assert float(fuel["low"]["amount"]) < parts["fuel"] < float(fuel["high"]["amount"])
    sharing = {s["place"]: s for s in cost["sharing"]}
    assert set(sharing) == {"Canada", "USA", "EASA"}
    for s in sharing.values():
        assert float(s["shareable"]["amount"]) == pytest.approx(parts["fuel"] + 15, abs=0.011)
        assert float(s["each"]["amount"]) == pytest.approx((parts["fuel"] + 15) / 4, abs=0.011)
    assert "from memory" in sharing["USA"]["words"] and "from memory" not in sharing["Canada"]["words"]
    seven = asked(capsys, "costs", "flight", "demo", "--price", "6 USD/usgal", "--persons", "7", "--place", "easa")
    (s,) = seven["currencies"][0]["sharing"]
    assert s["shareable"] is None and "allows 6" in s["words"]
    assert any("reserve of engine" in w for w in seven["missing"]), "without hours a year the low-use rule has no rate"


def test_sharing_is_judged_by_the_text_of_the_flight_s_day(kept, capsys, monkeypatch):
    later = tuple(replace(r, effective_from=date(2026, 7, 12)) for r in spending.sharing_rules())  # the demo flies the day before
    monkeypatch.setattr(spending, "sharing_rules", lambda: later)
    told = asked(capsys, "costs", "flight", "demo", "--price", "6 USD/usgal", "--persons", "4")
    for s in told["currencies"][0]["sharing"]:
        assert s["shareable"] is None and "no text on sharing is kept for a flight of 2026-07-11" in s["words"]
    assert run(capsys, "costs", "flight", "demo", "--price", "6 USD/usgal")[0] == 0


@pytest.mark.parametrize(("words", "said"), [
    (("demo",), "give a price"), (("demo", "--price", "6 USD"), "no price"), (("demo", "--price", "6 USD/usgal", "--place", "Mars"), "Mars"),
    (("demo", "--price", "6 USD/usgal", "--persons", "0"), "--persons"), (("demo", "--price", "6 USD/usgal", "--fees", "x"), "--fees"),
    (("nowhere.toml", "demo", "--price", "6 USD/usgal"), "nowhere.toml")])
def test_a_flight_that_cannot_be_priced_is_one_sentence(kept, capsys, words, said):
    assert said in one_sentence(run(capsys, "costs", "flight", *words))


# ---- a modification


def test_payback_is_price_over_a_year_s_saving_beside_the_useful_load(kept, capsys):
    told = asked(capsys, "costs", "payback", "--price", "3000 USD", "--flight-hours", "100", "--fuel", "0.5 usgal/h", "--fuel-price",
                 "6 USD/usgal", "--saves", "4 USD", "--dearer", "1 USD", "--useful-load=-12 lb")
    assert (told["saved_a_year"]["amount"], told["years"]) == ("600.00", 5.0)
    assert told["useful_load_change"] == {"value": -12.0, "unit": "lb"}
    never = run(capsys, "costs", "payback", "--price", "3000 USD", "--flight-hours", "100", "--dearer", "1 USD")[1]
    assert never == "It pays for itself never: an hour is not the cheaper for it; useful load: no change.\n"
    assert "Nothing that an hour saves" in one_sentence(run(capsys, "costs", "payback", "--price", "1 USD", "--flight-hours", "9"))
    assert "in one currency" in one_sentence(run(capsys, "costs", "payback", "--price", "1 USD", "--flight-hours", "9", "--saves", "1 CAD"))


# ---- a sale


def sold(folder):
    keep(folder, AeroplaneRevision(date(2020, 1, 1), package_text("demo", "camas160.toml")),
         flight(START, 1.0, pilot="Ann Miller", tachometer_from_h=100.0, tachometer_to_h=101.0, remarks="Ann flew"),
         flight(START + timedelta(days=3), 1.0, pilot="Ann Miller", tachometer_from_h=104.0, tachometer_to_h=105.0), at=START - timedelta(days=9))
    keep(folder, Pilot("Ann Miller"), aeroplane="")


def test_the_sheet_names_useful_load_full_tanks_and_the_missing_span(kept, capsys):
    sold(kept)
    told = asked(capsys, "costs", "sheet", "--aeroplane", REG)
    assert told["useful_load"]["value"] > told["load_with_full_tanks"]["value"] > 0
    assert told["last_real_weighing"]["day"] is not None
    assert [(g["from_h"], g["to_h"], g["missing_h"]) for g in told["log"]["gaps"]] == [(101.0, 104.0, 3.0)]
    assert any("Directives" in w for w in told["not_known"])
    out = run(capsys, "costs", "sheet")[1]
    assert "tachometer 101.0 to 104.0 h, 3.0 h not in the log" in out


def test_the_export_for_a_sale_reads_back_and_names_nobody(kept, tmp_path, capsys):
    sold(kept)
    told = asked(capsys, "costs", "sheet", "--export", str(tmp_path / "sale"))
    files = {p.name: p.read_bytes() for p in (tmp_path / "sale").iterdir()}
    assert {e.body.KIND for e in imported(files)} == {"aeroplane", "flight"}
    assert not any(b"Miller" in data or b"Ann " in data for data in files.values())
    assert told["export"] == str(tmp_path / "sale") and any("a nickname is not found" in w for w in told["words"])
    assert "--export" in one_sentence(run(capsys, "costs", "sheet", "--export", str(tmp_path / "sale")))


def test_an_export_of_nothing_is_refused(kept, tmp_path, capsys):
    assert "holds nothing of an aeroplane" in one_sentence(run(capsys, "costs", "sheet", "--export", str(tmp_path / "sale")))
    assert not (tmp_path / "sale").exists()


# ---- a rental rate beside costs of another currency


def test_a_rental_rate_says_which_costs_of_another_currency_it_leaves_out(kept, capsys):
    keep(kept, HANGAR, Cost("tie-down", "fixed", Money(Decimal(120), "CAD")))
    told = asked(capsys, "costs", "--flight-hours", "60", "--against", "185 USD")
    usd_table = next(t for t in told["currencies"] if t["currency"] == "USD")
    assert usd_table["break_even"]["left_out"] == [{"what": "tie-down", "kind": "fixed", "currency": "CAD"}]
    assert usd_table["break_even"]["at_least"] is True
    assert "Left out of it, for they are not in USD and no currency is converted: tie-down (CAD, fixed)" in usd_table["break_even"]["words"]
    other = asked(capsys, "costs", "--flight-hours", "60", "--against", "100 EUR")
    assert all("break_even" not in t for t in other["currencies"])
    assert any("tie-down (CAD, fixed), hangar (USD, fixed)" in w for w in other["words"])


def test_fixed_costs_in_another_currency_than_the_rate_make_the_hours_not_known(kept, capsys):
    keep(kept, Cost("hangar", "fixed", Money(Decimal(2400), "EUR")), Cost("oil change", "hourly", usd(100), per_hours_h=50.0))
    told = asked(capsys, "costs", "--flight-hours", "60", "--against", "185 USD")
    found = next(t for t in told["currencies"] if t["currency"] == "USD")
    assert found["break_even"]["hours_a_year"] is None
    assert found["break_even"]["words"].startswith("Not known: no fixed cost is kept in USD")
    assert "hangar (EUR, fixed)" in found["break_even"]["words"]
    assert found["rows"][0]["a_year"] == {"amount": "120.00", "currency": "USD"}


def test_an_option_that_a_kind_does_not_use_is_refused(kept, capsys):
    said = one_sentence(run(capsys, "costs", "add", "oil", "--kind", "hourly", "--price", "100 USD", "--hours", "50", "--years", "3"))
    assert said.startswith("--years: the figures of a hourly cost do not use it, only --hours")
    assert asked(capsys, "costs")["currencies"] == []


def test_a_reading_of_total_time_is_no_unpaid_maintenance(kept):
    keep(kept, HANGAR, MaintenanceDone("total time", date(2024, 1, 6), 1000.0), MaintenanceDone("annual", date(2024, 1, 7), 1000.0))
    words = costing.costs(year=2024, folder=kept, on=ON).data["years"][0]["words"]
    assert words == ["1 entry of maintenance of the year has no price noted and is in no figure."]


def test_a_cost_says_what_it_does_to_the_one_before(kept, capsys):
    def words(*more):
        return asked(capsys, "costs", "add", *more, "--aeroplane", REG)["words"]

    assert words("hangar", "--kind", "fixed", "--price", "2400 USD", "--day", "2026-01-10") == []
    assert words("Hangar", "--kind", "fixed", "--price", "3000 USD", "--day", "2026-03-10") == ["It takes the place of entry 1, 2,400 USD."]
    assert words("hangar", "--kind", "fixed", "--price", "2500 USD", "--day", "2026-02-10") == ["From 2026-03-10 on entry 2 stands in its place."]
    assert words("hangar", "--kind", "fixed", "--price", "0 USD") == ["It ends entry 2."]
    assert words("shed", "--kind", "fixed", "--price", "0 USD") == ["There was none of this name and kind to end."]
    fee = ("landing", "--kind", "variable", "--price", "15 USD", "--day", "2026-03-01")
    assert words(*fee) == []
    assert words(*fee)[0].startswith("Entry 6 says the same of that day; both count.")
