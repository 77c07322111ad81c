// When each event happened, from two clocks: the stopwatch of the page where it runs on, the device's clock across a restart.
export interface Stamp { wall_ms: number; mono_ms: number; run: string; began_ms: number }
export interface Noted extends Stamp {
  id: string; kind: string; about?: string; undoes?: string; utc_ms?: number | null;
}
export interface Jump { kind: "jump" | "back"; ms: number; now: boolean }
export interface Clock { times: Map<string, number>; now_ms: number; jumps: Jump[] }

const JUMP_MS = 60_000;
const BACK_MS = 2_000;

export function undone(noted: Noted[]): Set<string> {
  return new Set(noted.filter((e) => e.kind === "undone").map((e) => e.undoes ?? ""));
}

interface Run { id: string; began: number; offset: number; breaks: { mono: number; ms: number }[]; stamps: Noted[] }

const jumped = (s: Stamp): number => s.wall_ms - s.mono_ms - s.began_ms;
function at(run: Run, mono: number): number {
  return mono + run.offset + run.breaks.filter((b) => b.mono <= mono).reduce((sum, b) => sum + b.ms, 0);
}

export function clockOf(noted: Noted[], now: Stamp): Clock {
  const gone = undone(noted);
  const every: Noted[] = [...noted, { ...now, id: "now", kind: "now" }];
  const runs: Run[] = [];
  const jumps: Jump[] = [];
  for (const [i, e] of every.entries()) {
    if (runs.some((r) => r.id === e.run)) continue;
    const run: Run = { id: e.run, began: e.began_ms, offset: e.began_ms, breaks: [], stamps: every.filter((x) => x.run === e.run) };
    const before = every[i - 1];
    const last = before && runs.find((r) => r.id === before.run);
    if (before && last) follow(run, e, last, before, jumps, e.run === now.run);
    for (const c of run.stamps) {
      if (c.kind === "clock" && !gone.has(c.id) && typeof c.utc_ms === "number") correct(run, runs, c);
    }
    runs.push(run);
  }
  for (const run of runs) {
    const end = run.stamps[run.stamps.length - 1] as Noted;
    if (Math.abs(jumped(end)) > JUMP_MS && !settled(every, run, end, gone)) {
      jumps.push({ kind: "jump", ms: jumped(end), now: run.id === now.run });
    }
  }
  const by = new Map(runs.map((r) => [r.id, r]));
  const times = new Map(noted.map((e) => [e.id, at(by.get(e.run) as Run, e.mono_ms)]));
  return { times, now_ms: at(by.get(now.run) as Run, now.mono_ms), jumps };
}

// A new run goes on from the last one by the device's clock; it never begins before what was noted already.
function follow(run: Run, first: Stamp, last: Run, before: Stamp, jumps: Jump[], isNow: boolean): void {
  const then = at(last, before.mono_ms);
  run.offset = then + (run.began - before.wall_ms);
  const short = then - at(run, first.mono_ms);
  if (short > BACK_MS) {
    run.offset += short;
    jumps.push({ kind: "back", ms: short, now: isNow });
  }
}

// "It is now ...": the clock was wrong (earlier times move too), or time ran on while the device slept (they stay).
function correct(run: Run, earlier: Run[], c: Noted): void {
  const ms = (c.utc_ms as number) - at(run, c.mono_ms);
  if (c.about === "ran") {
    const slept = run.stamps.find((s) => Math.abs(jumped(s)) > JUMP_MS && s.mono_ms <= c.mono_ms);
    run.breaks.push({ mono: slept ? slept.mono_ms : c.mono_ms, ms });
    return;
  }
  for (const r of [...earlier, run]) r.offset += ms;
}

// A jump is settled once the pilot said what time it is, after it.
function settled(every: Noted[], run: Run, end: Stamp, gone: Set<string>): boolean {
  const said = every.filter((e) => e.kind === "clock" && !gone.has(e.id));
  const order = every.findIndex((e) => e.run === run.id);
  return said.some((c) => (c.run === run.id ? Math.abs(jumped(c) - jumped(end)) <= JUMP_MS : every.indexOf(c) > order));
}
