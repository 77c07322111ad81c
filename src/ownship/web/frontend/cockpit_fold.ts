// The state of a flight in the air: a pure fold over the events. Nothing is stored but the events.
import { clockOf, undone, type Jump, type Noted, type Stamp } from "./cockpit_clock";
import { band, judged, middle, quantile, worst, type Band, type Draws, type Field, type Plan, type Verdict } from "./cockpit_plan";

export interface There extends Field { left: Band; verdict: Verdict }
export interface View {
  now_ms: number; jumps: Jump[]; times: Map<string, number>; phase: "before" | "taxi" | "flying" | "landed" | "stopped";
  off_ms: number | null; take_off_ms: number | null; landing_ms: number | null; on_ms: number | null;
  progress_s: number; tank: string; since_ms: number | null; dead: string[];
  change: { tank: string; at_ms: number; due: boolean } | null; order: string; tank_dry_ms: number | null;
  fuel: Band; by_tank: Record<string, Band>; next: { name: string; at_ms: number; latest_ms: number | null; late_ms: number } | null;
  arrival_ms: number; at_landing: Band; verdict: Verdict; own: Verdict | ""; ground_by_ms: number | null; dry_ms: number | null;
  leg: number; near: There[]; points: { name: string; at_ms: number | null; earliest_ms: number | null; behind: boolean; words: string }[];
  heat_ms: number | null; changes: { tank: string; since: number }[];
}

export { ready } from "./cockpit_plan";

interface Act { kind: string; about: string; ms: number }
const TINY = 1e-6;

class Flight {
  t = 0; p = 0; running = false; airborne = false; landed = false; chosen = false; passed = 0; stood = 0;
  tank: string; since = NaN; since_p = 0; dead = new Set<string>(); left: Record<string, Draws> = {};
  off: number | null = null; up: number | null = null; down: number | null = null; on: number | null = null; heat: number | null = null;
  changes: { tank: string; since: number }[] = [];

  constructor(readonly plan: Plan) {
    for (const t of plan.tanks) this.left[t.id] = [...t.start_m3];
    this.tank = this.planned(0).tank;
  }

  planned(p: number) {
    const s = this.plan.segments;
    return s[Math.max(0, s.filter((x) => x.start_s <= p + TINY).length - 1)] as Plan["segments"][number];
  }

  // Where the plan stands still until something is noted: the take-off, the next fix, the landing.
  hold(): number {
    const { fixes, take_off_s, end_s } = this.plan;
    return !this.airborne ? take_off_s : (fixes[this.passed]?.time_s ?? end_s);
  }

  // Burn from now to a moment (s): along the plan, and on at the same flow where the plan stands still.
  advance(to: number): void {
    while (this.running && to - this.t > TINY) {
      const hold = this.hold(), stands = this.landed || this.p >= hold - TINY;
      const k = this.landed ? 0 : stands ? this.before(this.p) : this.part(this.p);
      const part = this.plan.parts[k] as Plan["parts"][number];
      let step = to - this.t;
      if (!stands) step = Math.min(step, hold - this.p, part.end_s - this.p, this.border());
      this.burn(part.burn_m3.map((b) => (b * step) / (part.end_s - part.start_s)));
      this.t += step;
      if (!stands) this.p += step;
      else if (this.airborne && !this.landed) this.stood += step;
    }
    this.t = Math.max(this.t, to);
  }

  part(p: number): number { return Math.max(0, this.plan.parts.filter((x) => x.start_s <= p + TINY).length - 1); }
  before(p: number): number { return Math.max(0, this.plan.parts.filter((x) => x.start_s < p - TINY).length - 1); }

  // On the ground the plan's tanks are taken until one is noted.
  onPlan(): boolean { return !this.airborne && !this.chosen; }
  border(): number {
    if (!this.onPlan()) return Infinity;
    const next = this.plan.segments.find((s) => s.start_s > this.p + TINY);
    return next ? next.start_s - this.p : Infinity;
  }

  burn(amount: Draws): void {
    const named = (this.onPlan() ? this.planned(this.p).tank : this.tank).split("+");
    const alive = Object.keys(this.left).filter((k) => !this.dead.has(k));
    const feeding = named.filter((k) => k in this.left && !this.dead.has(k));
    const from = feeding.length ? feeding : alive.length ? alive : named;
    shareEvenly(from.map((k) => this.left[k] as Draws), amount);
  }

  act(a: Act): void {
    const s = a.ms / 1000, { plan } = this;
    if (a.kind === "off blocks" && !this.running && this.off === null) this.begin(s, a.ms);
    if (a.kind === "taken off" && !this.airborne) {
      if (!this.running) this.begin(s - plan.take_off_s, a.ms - plan.take_off_s * 1000);
      this.advance(s);
      this.lift(a.ms);
    }
    if (a.kind === "fix" && !this.airborne) this.implied(a.about, s, a.ms);
    this.advance(s);
    if (a.kind === "tank" && (a.about in this.left || a.about.includes("+"))) this.select(a.about, a.ms);
    if (a.kind === "fix") this.over(a.about);
    if (a.kind === "no feed" && a.about in this.left) this.dead.add(a.about);
    if (a.kind === "heat") this.heat = a.ms;
    if (a.kind === "landed" && !this.landed && this.running) { this.landed = true; this.down = a.ms; this.p = plan.end_s; }
    if (a.kind === "on blocks" && this.running) { this.running = false; this.on = a.ms; }
  }

  begin(s: number, ms: number): void { this.running = true; this.t = s; this.off = ms; this.since = ms; this.changes.push({ tank: this.tank, since: ms }); }

  // A take-off noted sooner than planned has burnt what start, taxi and run-up are planned to burn all the same.
  lift(ms: number): void {
    while (this.plan.take_off_s - this.p > TINY) {
      const part = this.plan.parts[this.part(this.p)] as Plan["parts"][number];
      const step = Math.min(this.plan.take_off_s - this.p, part.end_s - this.p, this.border());
      this.burn(part.burn_m3.map((b) => (b * step) / (part.end_s - part.start_s)));
      this.p += step;
    }
    this.up = ms;
    if (!this.chosen) {
      const segment = this.planned(this.p);
      const since = Math.max(ms - (this.p - segment.start_s) * 1000, this.off ?? -Infinity);
      if (segment.tank !== this.tank) this.changes.push({ tank: segment.tank, since });
      this.tank = segment.tank; this.since = since; this.since_p = segment.start_s;
    }
    this.airborne = true;
  }

  select(tank: string, ms: number): void {
    if (this.onPlan()) this.tank = this.planned(this.p).tank;
    if (tank === this.tank && this.chosen) return;
    this.tank = tank; this.chosen = true; this.since = ms; this.since_p = this.p;
    this.changes.push({ tank, since: ms });
  }

  fix(name: string): number { return this.plan.fixes.findIndex((f, i) => i >= this.passed && f.name === name); }

  // A fix passed without a take-off noted means there was one, as long before as planned.
  implied(name: string, s: number, ms: number): void {
    const fix = this.plan.fixes[this.fix(name)];
    if (!fix) return;
    const up = Math.max(s - fix.time_s + this.plan.take_off_s, this.running ? this.t : -Infinity);
    this.act({ kind: "taken off", about: "", ms: Math.min(up * 1000, ms) });
  }

  // A fix passed sets the plan's progress there.
  over(name: string): void {
    const k = this.fix(name), fix = this.plan.fixes[k];
    if (!fix) return;
    this.p = fix.time_s;
    this.passed = k + 1;
    this.stood = 0;
  }

  // What still feeds; a tank below zero by the clock has been counted from too long, and losing it gives nothing back.
  usable(): Draws {
    return sum(Object.entries(this.left).map(([k, v]) => (this.dead.has(k) ? v.map((x) => Math.min(x, 0)) : v)), this.plan);
  }

  // Burn from the plan's progress to its landing.
  remaining(): Draws {
    return sum(this.plan.parts.map((x) => {
      const share = Math.max(0, x.end_s - Math.max(this.p, x.start_s)) / (x.end_s - x.start_s);
      return x.burn_m3.map((b) => b * share);
    }), this.plan);
  }
}

function sum(each: Draws[], plan: Plan): Draws {
  const zero = (plan.parts[0]?.burn_m3 ?? []).map(() => 0);
  return each.reduce((a, b) => a.map((x, i) => x + (b[i] as number)), zero);
}

// Drawn evenly; an empty tank gives nothing, the others the rest; what all of them lack is shared below zero.
function shareEvenly(tanks: Draws[], amount: Draws): void {
  amount.forEach((whole, i) => {
    let rest = whole;
    for (let round = 0; round < tanks.length; round++) {
      const feeding = tanks.filter((t) => (t[i] as number) > 0), each = rest / Math.max(feeding.length, 1);
      for (const t of feeding) {
        const taken = Math.min(t[i] as number, each);
        t[i] = (t[i] as number) - taken;
        rest -= taken;
      }
    }
    for (const t of tanks) t[i] = (t[i] as number) - rest / tanks.length;
  });
}

const minus = (a: Draws, b: Draws): Draws => a.map((x, i) => x - (b.length ? (b[i] as number) : 0));
const finite = (x: number): number | null => (Number.isFinite(x) ? x : null);

export function fold(plan: Plan, noted: Noted[], stamp: Stamp, shift_ms = 0): View {
  const clock = clockOf(noted, stamp), gone = undone(noted), now_ms = clock.now_ms + shift_ms;
  const f = new Flight(plan);
  const acts = noted.filter((e) => !gone.has(e.id) && !["undone", "clock", "pulse"].includes(e.kind))
    .map((e, i) => ({ kind: e.kind, about: e.about ?? "", ms: clock.times.get(e.id) as number, i }))
    .sort((a, b) => a.ms - b.ms || a.i - b.i);
  for (const a of acts) f.act(a);
  f.advance(now_ms / 1000);
  return shown(f, plan, now_ms, clock.jumps, clock.times);
}

function shown(f: Flight, plan: Plan, now_ms: number, jumps: Jump[], times: Map<string, number>): View {
  const base = f.running || f.landed ? now_ms - f.p * 1000 : Math.max(now_ms, plan.blocks_ms);
  const when = (s: number): number => base + s * 1000;
  const usable = f.usable(), at_landing = f.landed ? usable : minus(usable, f.remaining()), flow = plan.flow_m3_s;
  const spare = minus(at_landing, plan.required_m3), low = low_end(spare, plan), latest = low === null ? null : Math.round(low / flow) * 1000;
  const by = low_end(minus(at_landing, plan.reserve_m3), plan);
  const next = f.landed ? undefined : plan.fixes[f.passed];
  const computed = plan.known ? judged(spare, plan.confidence_1, plan.least_cover_m3) : "not known";
  const tank_now = f.onPlan() ? f.planned(f.p).tank : f.tank;
  const arrival = f.down ?? when(plan.end_s);
  return {
    now_ms, jumps, times, phase: !f.running ? (f.on !== null ? "stopped" : "before") : f.landed ? "landed" : f.airborne ? "flying" : "taxi",
    off_ms: f.off, take_off_ms: f.up, landing_ms: f.down, on_ms: f.on, progress_s: f.p, tank: tank_now, since_ms: finite(f.since),
    dead: [...f.dead], change: change_of(f, when), order: order_of(f, tank_now), tank_dry_ms: dry_of(f, tank_now, now_ms),
    fuel: band(usable), by_tank: Object.fromEntries(Object.entries(f.left).map(([k, v]) => [k, band(v)])),
    next: next ? { name: next.name, at_ms: when(next.time_s), latest_ms: latest === null ? null : when(next.time_s) + latest,
                   late_ms: f.stood * 1000 } : null,
    arrival_ms: arrival, at_landing: band(at_landing), verdict: worst(plan.landing_verdict, computed),
    own: plan.own_m3 === null ? "" : worst(plan.own_verdict || "within limits",
      plan.known ? judged(at_landing.map((x) => x - (plan.own_m3 as number)), plan.confidence_1, plan.least_cover_m3) : "not known"),
    ground_by_ms: by === null || f.landed ? null : when(plan.end_s) + (by / flow) * 1000,
    dry_ms: f.landed ? null : finite(now_ms + (low_of(usable) / flow) * 1000),
    leg: Math.min(f.passed, plan.legs.length - 1), near: near_of(f, plan, usable), points: points_of(f, plan, when), heat_ms: f.heat ?? f.up,
    changes: f.changes,
  };
}

// The low end in seconds of fuel is asked of the draws at the owner's confidence; null: not known.
function low_end(spare: Draws, plan: Plan): number | null {
  return plan.known ? finite(quantile(spare.map((x) => (Number.isFinite(x) ? x : -Infinity)), 1 - plan.confidence_1)) : null;
}
const low_of = (x: Draws): number => band(x).low;

function change_of(f: Flight, when: (s: number) => number): View["change"] {
  if (f.landed || f.dead.size || !f.plan.positions.length) return null;
  const here = f.planned(f.p);
  if (!f.onPlan() && here.tank !== f.tank && f.since_p < here.start_s - TINY) return { tank: here.tank, at_ms: when(here.start_s), due: true };
  const tank = f.onPlan() ? here.tank : f.tank;
  const next = f.plan.segments.find((s) => s.start_s > f.p + TINY && s.tank !== tank);
  return next ? { tank: next.tank, at_ms: when(next.start_s), due: false } : null;
}

// What to do at once: a tank that does not feed is selected.
function order_of(f: Flight, tank: string): string {
  if (!f.dead.size || f.landed) return "";
  const alive = Object.keys(f.left).filter((k) => !f.dead.has(k)).sort((a, b) => middle(f.left[b] as Draws) - middle(f.left[a] as Draws));
  const selected = tank.split("+").some((k) => f.dead.has(k));
  if (!alive.length) return "No tank is noted as feeding: land.";
  return `${selected ? `Change to ${alive[0]}` : `Stay on ${tank}`}: ${[...f.dead].join(" and ")} does not feed.`;
}

// When the tank selected runs dry by the low end of its fuel at the flow of this phase.
function dry_of(f: Flight, tank: string, now_ms: number): number | null {
  if (f.landed || tank.split("+").some((k) => f.dead.has(k))) return null;
  const held = sum(tank.split("+").filter((k) => k in f.left).map((k) => f.left[k] as Draws), f.plan);
  const part = f.plan.parts[f.part(f.p)] as Plan["parts"][number];
  const flow = middle(part.burn_m3) / (part.end_s - part.start_s);
  return finite(now_ms + (low_of(held) / Math.max(flow, f.plan.flow_m3_s)) * 1000);
}

// Time and fuel from the nearest point of the route; what is left there at the worst, against the reserve.
function near_of(f: Flight, plan: Plan, usable: Draws): There[] {
  if (f.landed || !plan.near.length) return [];
  const node = plan.near.reduce((a, b) => (Math.abs(b.at_s - f.p) < Math.abs(a.at_s - f.p) ? b : a));
  const now = band(usable), reserve = plan.reserve_m3.length ? middle(plan.reserve_m3) : NaN;
  return node.fields.filter((x) => x.time_s[0] !== null).map((x) => {
    const [fuel, most] = x.fuel_m3 as [number, number];
    const left = { mid: now.mid - fuel, low: now.low - most, high: now.high - fuel };
    const verdict: Verdict = !Number.isFinite(reserve) ? "not known" : left.low >= reserve ? "within limits" : left.mid >= reserve ? "tight" : "outside limits";
    return { ...x, left, verdict };
  });
}

// Last points of the plan: earlier by the fuel used beyond it; those of a tank lost once it is lost.
function points_of(f: Flight, plan: Plan, when: (s: number) => number): View["points"] {
  const every = sum(Object.values(f.left), plan);
  const planned = middle(sum(plan.tanks.map((t) => t.start_m3), plan)) - middle(sum(plan.parts.map((p) => p.burn_m3), plan));
  const beyond_s = f.landed ? 0 : Math.max(0, (planned - (middle(every) - middle(f.remaining()))) / plan.flow_m3_s);
  const more = beyond_s > 60 ? ` You have used ${Math.round(beyond_s / 60)} min of fuel beyond the plan: it comes that much earlier.` : "";
  const wanted = plan.last_points.filter((x) => (f.dead.size ? f.dead.has(x.tank) : x.tank === "" || x.worst));
  const found = wanted.map((x) => {
    const at = x.at_s === null ? null : x.at_s - beyond_s, early = x.earliest_s === null ? null : x.earliest_s - beyond_s;
    const last = early ?? at;
    return { name: x.name, at_ms: at === null ? null : when(at), earliest_ms: early === null ? null : when(early),
             behind: last !== null && last < f.p, words: `${x.words}${more}`.trim() };
  });
  if (f.dead.size > 1) found.length = 0;
  return found;
}
