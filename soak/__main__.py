"""`python -m soak owners`, `python -m soak remedies`, `python -m soak kill`.

remedies: brute force over requests of up to three changes, cheapest first, each judged in full, finds none cheaper than the
search's. owners: coverage of the 90 % bands over synthetic owners, pooled and by kind of figure. kill: kill -9 while the
record is written (soak/kill.py).

The proof of owners is the line "own": pooled 0.85 to 0.97, each kind 0.80 to 0.99; exit 1 where it misses. The other lines say
where a miss comes from (tests/calibration/owners.py).
"""

import argparse
import importlib.util
import json
import sys
from pathlib import Path

import numpy as np

POOLED, EACH = (0.85, 0.97), (0.80, 0.99)
PROOF = "own"
HELPERS = Path(__file__).resolve().parent.parent / "tests" / "calibration" / "owners.py"


def owners_module():
    """tests/calibration/owners.py, by its path."""
    return module_of("synthetic_owners", HELPERS)


def module_of(name, path):
    """A file of the tests as a module."""
    spec = importlib.util.spec_from_file_location(name, path)
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def coverage(results):
    """Pooled and by kind: n, share covered, rms of (middle - truth)/half band, mean of the same, half band over truth."""
    kind, truth, low, middle, high = (np.concatenate([getattr(r, f) for r in results])
                                      for f in ("kind", "truth", "low", "middle", "high"))
    half = (high - low) / 2
    off = (middle - truth) / half
    out = {}
    for name in ("pooled", *sorted(set(kind.tolist()))):
        chosen = np.ones(kind.size, bool) if name == "pooled" else kind == name
        out[name] = {"n": int(chosen.sum()),
                     "covered": round(float(((truth >= low) & (truth <= high))[chosen].mean()), 3),
                     "error_over_half_band_rms": round(float(np.sqrt(np.mean(off[chosen] ** 2))), 2),
                     "error_over_half_band_mean": round(float(np.mean(off[chosen])), 2),
                     "half_band_over_truth": round(float(np.median(half[chosen] / truth[chosen])), 4),
                     "rms_error_over_truth": round(float(np.sqrt(np.mean(((middle - truth) / truth)[chosen] ** 2))), 4)}
    return out


def misses(found):
    """What of the proof lies outside its bounds, in words."""
    out = []
    for name, figures in found.items():
        low, high = POOLED if name == "pooled" else EACH
        if not low <= figures["covered"] <= high:
            out.append(f"{name} {figures['covered']:.3f}, wanted {low} to {high}")
    return out


def owners(count, as_json, first):
    """Run `count` owners from seed `first`; print figures; True where the proof holds."""
    module = owners_module()
    every = {}
    for seed in range(first, first + count):
        for name, result in module.results(seed).items():
            every.setdefault(name, []).append(result)
    found = {name: coverage(results) for name, results in every.items()}
    missed = misses(found[PROOF])
    say = sys.stdout.write
    if as_json:
        say(json.dumps({"owners": count, "first_seed": first, "coverage": found, "missed": missed}, indent=1) + "\n")
    else:
        for name, table in found.items():
            say(f"{name}\n")
            for kind, f in table.items():
                say(f"  {kind:18} n {f['n']:5d}  covered {f['covered']:.3f}  error/half band rms"
                    f" {f['error_over_half_band_rms']:.2f} mean {f['error_over_half_band_mean']:+.2f}"
                    f"  half band {100 * f['half_band_over_truth']:.1f} %  rms error {100 * f['rms_error_over_truth']:.1f} %\n")
        say(f"Outside the bounds: {'; '.join(missed)}.\n" if missed else "The proof holds.\n")
    return not missed


def remedies(count, requests, first):
    """Brute force with the ordinary assessment, full bands: is a cheaper remedy than the search's ever found?"""
    from ownship.errors import BadInput, NotPossible
    from ownship.flight.alter import altered
    from ownship.flight.assessment import assess
    from ownship.flight.changes import changes_of, costs_of, edited
    from ownship.flight.remedies import remedies as search
    from ownship.words.verdicts import WITHIN

    varied = module_of("test_remedies", HELPERS.parent.parent / "flight" / "test_remedies.py").varied
    say, good = sys.stdout.write, True
    for seed in range(first, first + count):
        s = varied(seed)
        before, costs = assess(s), costs_of(s)
        found = search(s, before)
        cost = min((r.cost for r in found.remedies if r.verdict == WITHIN), default=float("inf"))
        changes = changes_of(s)
        sets = sorted((sum(changes[i].cost for i in c), len(c), c) for c in touching_apart(changes))
        tried, cheaper = 0, None
        for price, _, chosen in sets[:requests]:
            if price >= cost - 0.05 or before.verdict == WITHIN:
                break
            tried += 1
            try:
                after = assess(altered(s, edited(s.request_data, [changes[i] for i in chosen])))
            except (BadInput, NotPossible):
                continue
            known = before.timeline and after.timeline
            later = max((after.timeline[-1].time - before.timeline[-1].time).total_seconds(), 0) / 60 if known else 0
            if after.verdict == WITHIN and price + costs["minute"] * later < cost - 0.5:
                cheaper = (price, [changes[i].words for i in chosen])
                break
        good &= cheaper is None
        say(f"flight {seed}: {before.verdict}, search {cost:.1f}, {tried} cheaper requests assessed: {cheaper or 'none within'}\n")
    return good


def touching_apart(changes, most=3):
    """Every set of up to `most` changes that touch different parts."""
    from itertools import combinations

    for size in range(1, most + 1):
        for chosen in combinations(range(len(changes)), size):
            touched = [t for i in chosen for t in changes[i].touches]
            if len(touched) == len(set(touched)):
                yield chosen


def main():
    """The command line."""
    parser = argparse.ArgumentParser(prog="python -m soak", description="Long runs that are no tests.")
    commands = parser.add_subparsers(dest="what", required=True)
    one = commands.add_parser("owners", help="coverage over synthetic owners")
    one.add_argument("--count", type=int, default=60)
    one.add_argument("--first", type=int, default=100, help="first seed; the tests use 0 to 3")
    one.add_argument("--json", action="store_true")
    two = commands.add_parser("remedies", help="brute force finds no cheaper remedy")
    two.add_argument("--count", type=int, default=50)
    two.add_argument("--requests", type=int, default=2000)
    two.add_argument("--first", type=int, default=100)
    three = commands.add_parser("kill", help="kill -9 while the record is written loses nothing acknowledged")
    three.add_argument("--count", type=int, default=200)
    given = parser.parse_args()
    if given.what == "kill":
        from soak.kill import kill

        return 0 if kill(given.count) else 1
    if given.what == "remedies":
        return 0 if remedies(given.count, given.requests, given.first) else 1
    return 0 if owners(given.count, given.json, given.first) else 1


if __name__ == "__main__":  # a child process of a run imports this file, too
    sys.exit(main())
