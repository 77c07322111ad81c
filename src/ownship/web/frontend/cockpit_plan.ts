// A flight as the server's plan (web/cockpit_data.py): fuel in m3 by draw, times in s from leaving the blocks.
export type Draws = number[];
export interface Part { phase: string; leg: number | null; start_s: number; end_s: number; burn_m3: Draws }
export interface Segment { tank: string; start_s: number; end_s: number; where: string }
export interface Field {
  ident: string; name: string; off_nm: number; course_magnetic: number | null;
  time_s: [number | null, number | null]; fuel_m3: [number | null, number | null];
}
export interface Plan {
  flight: string; demo: boolean; aeroplane: string; title: string; origin: string; destination: string;
  blocks_ms: number; offset_min: number; unit: { words: string; per_m3: number };
  parts: Part[]; end_s: number; take_off_s: number;
  tanks: { id: string; name: string; start_m3: Draws; known_by: string }[];
  segments: Segment[]; positions: { words: string; tank: string }[];
  known: boolean; unknown: string; flow_m3_s: number; confidence_1: number; least_cover_m3: number;
  required_m3: Draws; reserve_m3: Draws; reserve_words: string; landing_verdict: Verdict;
  own_m3: number | null; own_verdict: Verdict | "";
  fixes: { name: string; time_s: number }[];
  near: { at_s: number; along_nm: number; fields: Field[] }[];
  legs: { start: string; end: string; compass: number | null; magnetic: number; true: number; distance: string; groundspeed: string }[];
  last_points: { name: string; at_s: number | null; earliest_s: number | null; words: string; leg: string; tank: string; worst: boolean }[];
  heat_s: number; heat_words: string;
}

export type Verdict = "within limits" | "tight" | "not known" | "outside limits";
const ORDER: Verdict[] = ["within limits", "tight", "not known", "outside limits"];
export const worst = (a: Verdict, b: Verdict): Verdict => (ORDER.indexOf(a) > ORDER.indexOf(b) ? a : b);

// JSON has no number for a draw that cannot be flown.
export const draws = (x: (number | null)[]): Draws => x.map((v) => (v === null ? NaN : v));

export function ready(plan: Plan): Plan {
  return {
    ...plan, required_m3: draws(plan.required_m3), reserve_m3: draws(plan.reserve_m3),
    parts: plan.parts.map((p) => ({ ...p, burn_m3: draws(p.burn_m3) })),
    tanks: plan.tanks.map((t) => ({ ...t, start_m3: draws(t.start_m3) })),
  };
}

// Linear between the neighbours, as the plan's own quantiles.
export function quantile(values: Draws, share: number): number {
  const sorted = [...values].sort((a, b) => a - b);
  if (!sorted.length) return NaN;
  const at = share * (sorted.length - 1), i = Math.floor(at);
  const low = sorted[i] as number, high = sorted[Math.min(i + 1, sorted.length - 1)] as number;
  return at === i || low === high ? low : low + (high - low) * (at - i);
}

// The middle flight: draw 0, in which nothing deviates; where it cannot be flown the median of the others.
export function middle(values: Draws): number {
  if (Number.isFinite(values[0])) return values[0] as number;
  const good = values.filter(Number.isFinite);
  return good.length * 2 > values.length ? quantile(good, 0.5) : NaN;
}

export interface Band { mid: number; low: number; high: number }
export function band(values: Draws): Band {
  const good = values.filter(Number.isFinite), mid = middle(values);
  if (!good.length) return { mid: NaN, low: NaN, high: NaN };
  return { mid, low: Math.min(quantile(good, 0.05), mid), high: Math.max(quantile(good, 0.95), mid) };
}

// An amount against what is required, as every margin with a band: its low end, its middle.
export function judged(spare: Draws, confidence: number, cover: number): Verdict {
  const good = spare.map((x) => (Number.isFinite(x) ? x : -Infinity)), median = quantile(good, 0.5);
  if (!good.length || !Number.isFinite(median)) return "outside limits";
  const low = Math.min(quantile(good, 1 - confidence), median - cover);
  return low >= 0 ? "within limits" : median >= 0 ? "tight" : "outside limits";
}
