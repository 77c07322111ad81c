"""The Cockpit counts with the plan's own numbers: at the plan's moments it shows the plan; what departs from it is checked by hand.

The expected figures are the server's (timeline, tank plan, margins, draws), never the fold's own.
"""

from datetime import datetime

import numpy as np
import pytest
from cockpit_cases import BEGAN, event, now, views

from ownship.flight.assessment import flights_of
from ownship.flight.chance import middle
from ownship.units import from_si
from ownship.web.cockpit_data import cockpit_data
from ownship.web.flying import ask

GAL = 264.172052  # US gallons in a cubic metre: 231 cubic inches, exact
FLIGHTS = {"demo": {}, "two people": {"load2_out": "1", "load3_out": "1"},
           "little fuel": {"load2_out": "1", "load3_out": "1", "fuel_left_on_board": "6 usgal", "fuel_right_on_board": "5.5 usgal",
                           "fuel_left_add": "", "fuel_right_add": "", "fuel_left_known_by": "dipstick", "fuel_right_known_by": "dipstick"}}


def ms(text):
    return datetime.fromisoformat(text).timestamp() * 1000


@pytest.fixture(scope="module", params=FLIGHTS)
def flight(request):
    asked = ask(FLIGHTS[request.param])
    assert asked.answer is not None, asked.refusal
    return asked, cockpit_data(asked)


def plans(asked):
    flights, found, _ = flights_of(asked.situation)
    k = min(range(len(flights)), key=lambda i: float(np.median(flights[i].left_m3)))
    return flights[k], found[k]


def flown(plan, until):
    """The events of the flight exactly as planned, up to a moment."""
    found = [event("off blocks", 0), event("taken off", plan["take_off_s"])]
    found += [event("tank", s["start_s"], s["tank"]) for s in plan["segments"] if s["start_s"] > plan["take_off_s"]]
    found += [event("fix", f["time_s"], f["name"]) for f in plan["fixes"]]
    found.append(event("landed", plan["end_s"]))
    return sorted((e for e in found if e["mono_ms"] <= until * 1000 + 1e-6), key=lambda e: e["mono_ms"])


def test_flown_as_planned_every_moment_shows_the_plans_figures(flight):
    asked, plan = flight
    rows = asked.answer.timeline
    at = [(r.time - rows[0].time).total_seconds() for r in rows]
    exact = [f["time_s"] for f in plan["fixes"]] + [0.0, plan["take_off_s"], plan["end_s"]]
    at = [min((t, *exact), key=lambda x: (abs(x - t) > 1, x == t, abs(x - t))) for t in at]
    for row, view in zip(rows, views(plan, [(flown(plan, t), now(t)) for t in at]), strict=True):
        assert view["fuel"]["mid"] * GAL == pytest.approx(row.fuel_left.value, abs=0.02)
        assert view["fuel"]["low"] * GAL == pytest.approx(row.fuel_left.low, abs=0.02)
        assert view["fuel"]["high"] * GAL == pytest.approx(row.fuel_left.high, abs=0.02)
        for tank, figure in row.fuel_by_tank.items():
            assert view["by_tank"][tank]["mid"] * GAL == pytest.approx(figure.value, abs=0.02), (row.moment, tank)
        assert view["arrival_ms"] == pytest.approx(BEGAN + plan["end_s"] * 1000, abs=1500)
        assert view["at_landing"]["mid"] * GAL == pytest.approx(rows[-1].fuel_left.value, abs=0.02)
        assert view["at_landing"]["low"] * GAL == pytest.approx(rows[-1].fuel_left.low, abs=0.02)


def test_latest_times_and_on_the_ground_by_are_the_plans_at_every_fix(flight):
    asked, plan = flight
    latest = {r.moment: r.latest.timestamp() * 1000 for r in asked.answer.timeline}
    before = [0.0, *(f["time_s"] for f in plan["fixes"][:-1])]
    for fix, view in zip(plan["fixes"], views(plan, [(flown(plan, t), now(t)) for t in before]), strict=True):
        assert view["next"]["name"] == fix["name"]
        assert view["next"]["at_ms"] == pytest.approx(BEGAN + fix["time_s"] * 1000, abs=1)
        assert view["next"]["latest_ms"] == pytest.approx(latest[f"over {fix['name']}"], abs=2500)
        assert view["ground_by_ms"] == pytest.approx(asked.answer.fuel.on_the_ground_by.timestamp() * 1000, abs=2500)


def test_the_verdict_at_the_start_is_the_plans(flight):
    asked, plan = flight
    verdicts = {m.id: m.verdict for m in asked.answer.margins}
    free = plan | {"landing_verdict": "within limits", "own_verdict": "within limits"}  # so that the fold judges by itself
    view = views(free, [([], now(0))])[0]
    assert view["verdict"] == verdicts["fuel.landing"] and view["own"] == verdicts["own.landing_fuel"]


def test_a_tank_that_does_not_feed_is_gone_from_everything_at_once(flight):
    """Against the plan's draws: contents of the tank at that moment (TankPlan.contents_at) taken out of every draw."""
    asked, plan = flight
    governing, tanks = plans(asked)
    t = plan["segments"][2]["start_s"] + 60 if len(plan["segments"]) > 2 else plan["take_off_s"] + 900
    done = flown(plan, t)
    before, after = views(plan, [(done, now(t)), ([*done, event("no feed", t, "left")], now(t))])
    lost = np.maximum(tanks.contents_at(t)["left"], 0.0)  # what is below zero by the clock was never there to be lost
    left = np.sum(list(tanks.contents_at(t).values()), axis=0) - lost
    assert after["fuel"]["mid"] == pytest.approx(middle(left), abs=2e-5)
    assert after["fuel"]["low"] == pytest.approx(min(np.percentile(left, 5), middle(left)), abs=2e-5)
    landing = governing.left_m3 - lost
    assert after["at_landing"]["low"] == pytest.approx(np.percentile(landing, 5), abs=2e-5)
    spare = landing - governing.needs.required_at_landing_m3()
    low = min(np.quantile(spare, 0.05), np.median(spare) - plan["least_cover_m3"])
    expected = "within limits" if low >= 0 else "tight" if np.median(spare) >= 0 else "outside limits"
    assert after["verdict"] == max(expected, plan["landing_verdict"], key=["within limits", "tight", "not known", "outside limits"].index)
    by = np.quantile(landing - governing.needs.reserve_m3 - governing.needs.extra_m3, 0.05) / plan["flow_m3_s"]
    assert after["ground_by_ms"] == pytest.approx(BEGAN + (plan["end_s"] + by) * 1000, abs=3000)
    assert after["ground_by_ms"] <= before["ground_by_ms"] and after["next"]["latest_ms"] <= before["next"]["latest_ms"]
    assert middle(lost) <= 1e-4 or after["ground_by_ms"] < before["ground_by_ms"] - 60_000
    assert after["change"] is None and after["order"].startswith("Change to right" if before["tank"] == "left" else "Stay on right")
    pairs = {x["ident"]: x for x in before["near"]}
    assert all(x["left"]["low"] <= pairs[x["ident"]]["left"]["low"] for x in after["near"])


def test_a_late_fix_moves_arrival_and_fuel_and_not_the_latest_time(flight):
    """Ten minutes late at the cruise's flow: arrival +10 min, landing fuel - 10 min of flow, the latest time stands still
    but for the band of the flow, which has had ten minutes more to grow."""
    _, plan = flight
    t = plan["fixes"][0]["time_s"]
    on_time, late = views(plan, [(flown(plan, t), now(t)), ([*flown(plan, t)[:-1], event("fix", t + 600, plan["fixes"][0]["name"])], now(t + 600))])
    part = next(p for p in reversed(plan["parts"]) if p["start_s"] < t - 1e-6)
    flow = part["burn_m3"][0] / (part["end_s"] - part["start_s"])
    assert late["arrival_ms"] - on_time["arrival_ms"] == pytest.approx(600_000, abs=2)
    assert on_time["at_landing"]["mid"] - late["at_landing"]["mid"] == pytest.approx(600 * flow, rel=1e-6)
    if abs(flow / plan["flow_m3_s"] - 1) < 0.02:
        assert late["next"]["latest_ms"] == pytest.approx(on_time["next"]["latest_ms"], abs=90_000)


def test_while_a_fix_is_not_passed_the_fuel_runs_on_and_the_arrival_waits():
    plan = cockpit_data(ask({}))
    t = plan["fixes"][0]["time_s"]
    done = flown(plan, t - 60)
    first, second = views(plan, [(done, now(t + 300)), (done, now(t + 600))])
    assert second["fuel"]["mid"] < first["fuel"]["mid"] and second["arrival_ms"] - first["arrival_ms"] == pytest.approx(300_000, abs=2)
    assert second["next"]["name"] == plan["fixes"][0]["name"] and second["next"]["late_ms"] == pytest.approx(600_000, abs=2)


def test_fuel_is_the_start_less_what_each_tank_fed_whatever_is_pressed_when():
    """Mass balance (invariant 5): tanks sum to the total, and the total falls by the burn alone."""
    plan = cockpit_data(ask({}))
    start = sum(t["start_m3"][0] for t in plan["tanks"])
    rng = np.random.default_rng(7)
    for _ in range(20):
        times = np.sort(rng.uniform(700, 4000, 8))
        pressed = [event("off blocks", 0), event("taken off", 650), *(event("tank", float(x), str(rng.choice(["left", "right"]))) for x in times)]
        view = views(plan, [([e for e in pressed if e["mono_ms"] <= 1_200_000], now(1200))])[0]
        assert sum(v["mid"] for v in view["by_tank"].values()) == pytest.approx(view["fuel"]["mid"], abs=1e-12)
        planned = 650 / 600 * plan["parts"][0]["burn_m3"][0] + 550 / (plan["parts"][1]["end_s"] - 600) * plan["parts"][1]["burn_m3"][0]
        assert start - view["fuel"]["mid"] == pytest.approx(planned, rel=1e-6)


def test_a_take_off_noted_soon_after_the_blocks_has_burnt_the_planned_taxi_all_the_same():
    """Whoever notes both at once has taxied before: never more fuel than planned."""
    asked = ask({})
    plan = cockpit_data(asked)
    soon = views(plan, [([event("off blocks", 0), event("taken off", 20)], now(20))])[0]
    assert soon["fuel"]["mid"] * GAL == pytest.approx(asked.answer.timeline[1].fuel_left.value, abs=0.02)
    assert soon["by_tank"]["left"]["mid"] * GAL == pytest.approx(asked.answer.timeline[1].fuel_by_tank["left"].value, abs=0.02)


def test_the_next_change_early_late_and_in_time():
    plan = cockpit_data(ask({}))
    change = plan["segments"][2]["start_s"]
    up = [event("off blocks", 0), event("taken off", plan["take_off_s"])]
    fixes = [event("fix", f["time_s"], f["name"]) for f in plan["fixes"]]
    calm, due, early = views(plan, [(up, now(900)), ([*up, fixes[0]], now(change + 120)),
                                    ([*up, event("tank", 1200, "left")], now(1300))])
    assert calm["tank"] == "right" and calm["change"]["tank"] == "left" and not calm["change"]["due"]
    assert calm["change"]["at_ms"] == pytest.approx(BEGAN + change * 1000, abs=2)
    assert due["change"]["due"] and due["change"]["tank"] == "left"
    assert early["tank"] == "left" and (early["change"] is None or early["change"]["tank"] == "right")


def test_what_is_undone_never_was():
    plan = cockpit_data(ask({}))
    up = [event("off blocks", 0), event("taken off", 600)]
    lost = event("no feed", 1000, "left")
    never, back = views(plan, [(up, now(1500)), ([*up, lost, event("undone", 1010, undoes=lost["id"])], now(1500))])
    assert {k: v for k, v in never.items() if k != "times"} == {k: v for k, v in back.items() if k != "times"}


def random_flight(plan, rng):
    """Off blocks, a take-off, and whatever a pilot may press, at any moments; sorted by time."""
    until = float(rng.uniform(900, plan["end_s"] + 1500))
    pressed = [event("off blocks", float(rng.uniform(0, 60))), event("taken off", float(rng.uniform(61, 890)))]
    for k in range(int(rng.integers(0, 7))):
        kind, about = [("tank", "left"), ("tank", "right"), ("fix", plan["fixes"][0]["name"]), ("fix", plan["fixes"][-1]["name"]), ("heat", "")][int(rng.integers(0, 5))]
        pressed.append(event(kind, float(rng.uniform(891, until)) + k * 1e-3, about))
    return sorted(pressed, key=lambda e: e["mono_ms"]), until


def test_losing_a_tank_never_helps_and_waiting_never_helps(flight):
    """Two monotonies over 60 random flights: what cannot be used makes every figure worse, and so does ten minutes more in the air."""
    _, plan = flight
    rng, cases = np.random.default_rng(11), []
    for _ in range(60):
        done, until = random_flight(plan, rng)
        cases += [(done, now(until)), ([*done, event("no feed", until, str(rng.choice(["left", "right"])))], now(until)), (done, now(until + 600))]
    order = ["within limits", "tight", "not known", "outside limits"].index
    found = views(plan, cases)
    for plain, lost, later in zip(found[::3], found[1::3], found[2::3], strict=True):
        for worse in (lost, later):
            assert all(worse[k][b] <= plain[k][b] + 1e-9 for k in ("fuel",) for b in ("mid", "low", "high"))
            assert worse["at_landing"]["mid"] <= plain["at_landing"]["mid"] + 1e-9 and order(worse["verdict"]) >= order(plain["verdict"])
        assert lost["ground_by_ms"] <= plain["ground_by_ms"] + 1 and lost["arrival_ms"] == plain["arrival_ms"]
        assert later["arrival_ms"] >= plain["arrival_ms"] - 1


def test_the_order_in_which_events_reach_the_list_does_not_matter_within_a_run():
    """Two tabs and the record give the same events in another order."""
    plan = cockpit_data(ask({}))
    rng, cases = np.random.default_rng(12), []
    for _ in range(15):
        done, until = random_flight(plan, rng)
        cases += [(done, now(until)), ([done[i] for i in rng.permutation(len(done))], now(until))]
    found = views(plan, cases)
    for one, other in zip(found[::2], found[1::2], strict=True):
        assert one["fuel"] == other["fuel"] and one["by_tank"] == other["by_tank"] and one["arrival_ms"] == other["arrival_ms"]


def test_both_tanks_at_once_are_drawn_evenly_and_an_empty_one_gives_nothing():
    """As tanks.share_evenly: by hand from the start and the burn."""
    plan = cockpit_data(ask({}))
    left, right = (np.array(t["start_m3"]) for t in plan["tanks"])
    small = plan | {"tanks": [plan["tanks"][0] | {"start_m3": list(np.full(left.size, 0.003))}, plan["tanks"][1]],
                    "segments": [{"tank": "left+right", "start_s": 0.0, "end_s": plan["end_s"], "where": "whole flight"}],
                    "positions": [{"words": "both", "tank": "left+right"}]}
    for p, first in ((plan | {k: small[k] for k in ("segments", "positions")}, left), (small, np.full(left.size, 0.003))):
        view = views(p, [([event("off blocks", 0), event("taken off", 600)], now(1500))])[0]
        burnt = plan["parts"][0]["burn_m3"][0] + 900 / (plan["parts"][1]["end_s"] - 600) * plan["parts"][1]["burn_m3"][0]
        from_left = min(burnt / 2, first[0])
        assert view["by_tank"]["left"]["mid"] == pytest.approx(first[0] - from_left, abs=1e-9)
        assert view["by_tank"]["right"]["mid"] == pytest.approx(right[0] - (burnt - from_left), abs=1e-9)
        assert view["change"] is None and view["tank"] == "left+right"


def test_without_a_tank_plan_all_tanks_count_as_one_and_no_change_is_invented():
    plan = cockpit_data(ask({}))
    whole = np.sum([t["start_m3"] for t in plan["tanks"]], axis=0)
    bare = plan | {"tanks": [{"id": "all", "name": "all tanks", "start_m3": list(whole), "known_by": ""}], "positions": [],
                   "segments": [{"tank": "all", "start_s": 0.0, "end_s": 0.0, "where": "no tank plan"}]}
    done = [event("off blocks", 0), event("taken off", 600)]
    one, two = views(plan, [(done, now(1500))])[0], views(bare, [(done, now(1500))])[0]
    assert two["fuel"]["mid"] == pytest.approx(one["fuel"]["mid"], rel=1e-9) and two["change"] is None and two["order"] == ""
    assert two["ground_by_ms"] == pytest.approx(one["ground_by_ms"], abs=1)


# -- clocks
def test_within_one_run_the_stopwatch_counts_whatever_the_clock_does():
    plan = cockpit_data(ask({}))
    up = [event("off blocks", 0), event("taken off", 600)]
    calm, jumped = views(plan, [(up, now(1500)), (up, now(1500, drift=3_600_000))])
    assert jumped["fuel"] == calm["fuel"] and jumped["now_ms"] == calm["now_ms"]
    assert calm["jumps"] == [] and jumped["jumps"] == [{"kind": "jump", "ms": 3_600_000, "now": True}]


def test_across_a_restart_the_devices_clock_counts():
    plan = cockpit_data(ask({}))
    up = [event("off blocks", 0), event("taken off", 600)]
    whole, restarted = views(plan, [(up, now(1500)), (up, now(100, run="b", began=BEGAN + 1_400_000))])
    assert restarted["fuel"]["mid"] == pytest.approx(whole["fuel"]["mid"], rel=1e-9) and restarted["jumps"] == []


def test_a_clock_that_was_wrong_moves_earlier_times_and_leaves_what_has_run():
    plan = cockpit_data(ask({}))
    up = [event("off blocks", 0), event("taken off", 600)]
    said = event("clock", 1200, "wrong", utc_ms=BEGAN + 1_200_000 + 7_200_000)
    plain, put = views(plan, [(up, now(1500)), ([*up, said], now(1500))])
    assert put["now_ms"] - plain["now_ms"] == 7_200_000 and put["take_off_ms"] - plain["take_off_ms"] == 7_200_000
    assert put["fuel"]["mid"] == pytest.approx(plain["fuel"]["mid"], rel=1e-9)


def test_a_device_that_slept_lets_the_time_run_on_and_settles_the_jump():
    plan = cockpit_data(ask({}))
    up = [event("off blocks", 0), event("taken off", 600)]
    slept = 900_000.0
    said = event("clock", 1200, "ran", drift=slept, utc_ms=BEGAN + 1_200_000 + slept)
    awake, after = views(plan, [(up, now(2100)), ([*up, said], now(1200, drift=slept))])
    assert after["take_off_ms"] == awake["take_off_ms"] and after["jumps"] == []
    assert after["fuel"]["mid"] == pytest.approx(awake["fuel"]["mid"], rel=1e-9)


def test_a_clock_that_went_back_across_a_restart_is_said_and_nothing_runs_backwards():
    plan = cockpit_data(ask({}))
    up = [event("off blocks", 0), event("taken off", 600), event("pulse", 1400)]
    view = views(plan, [(up, now(60, run="b", began=BEGAN - 3_600_000))])[0]
    assert [j["kind"] for j in view["jumps"]] == ["back"] and view["now_ms"] >= BEGAN + 1_400_000


def test_a_jump_before_a_restart_is_not_counted_as_flying():
    """The clock is put right by an hour in the first run; the second run goes on from the stopwatch of the first."""
    plan = cockpit_data(ask({}))
    up = [event("off blocks", 0), event("taken off", 600), event("pulse", 1400, drift=3_600_000)]
    whole, view = views(plan, [(up[:2], now(1500)), (up, now(50, run="b", began=BEGAN + 3_600_000 + 1_450_000))])
    assert view["fuel"]["mid"] == pytest.approx(whole["fuel"]["mid"], rel=1e-9) and view["jumps"]


def test_without_winds_no_latest_time_is_known_and_nothing_passes():
    asked = ask({"aloft": ""})
    plan = cockpit_data(asked)
    if plan is None:
        return
    view = views(plan, [([event("off blocks", 0)], now(60))])[0]
    assert view["verdict"] == "not known" and view["next"]["latest_ms"] is None and view["ground_by_ms"] is None and view["near"] == []


def test_fuel_in_litres_is_the_same_number(flight):
    """The page's own factor is that of units.py."""
    _, plan = flight
    assert plan["unit"]["per_m3"] == pytest.approx(float(from_si(1.0, "usgal"))) == pytest.approx(GAL, rel=1e-8)
