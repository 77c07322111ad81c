// Events on this device: a line of local storage each, written at once, and a database beside it; then into the record.
import type { Noted, Stamp } from "./cockpit_clock";
import type { Plan } from "./cockpit_plan";
import type { View } from "./cockpit_fold";

export interface Kept extends Noted { seq: number }
const PREFIX = "ownship-cockpit";
const began = Date.now() - performance.now();
export const run = hex();

function hex(): string {
  return [...crypto.getRandomValues(new Uint8Array(12))].map((b) => b.toString(16).padStart(2, "0")).join("");
}

// Both clocks, now. The stopwatch begins with the page; began is what the device's clock said then.
export function stamp(): Stamp {
  const mono = performance.now();
  return { wall_ms: Math.round(Date.now()), mono_ms: Math.round(mono), run, began_ms: Math.round(began) };
}

export class Store {
  events: Kept[] = [];
  private readonly db: Promise<IDBDatabase | null>;

  constructor(readonly flight: string) {
    this.db = opened();
    this.readLines();
  }

  private line(e: Kept): string { return `${PREFIX}:${this.flight}:${e.id}`; }
  private pulseKey(id: string): string { return `${PREFIX}-pulse:${this.flight}:${id}`; }

  private readLines(): void {
    try {
      for (const key of Object.keys(localStorage)) {
        if (key.startsWith(`${PREFIX}:${this.flight}:`)) this.join([JSON.parse(localStorage.getItem(key) ?? "null") as Kept]);
      }
    } catch { /* no local storage, or a line that is damaged: the database has it too */ }
  }

  // Events of the other store, of another tab or of the record: each once, in the order noted.
  private join(more: (Kept | null)[]): boolean {
    const known = new Set(this.events.map((e) => e.id));
    const fresh = more.filter((e): e is Kept => !!e && typeof e.id === "string" && !known.has(e.id));
    this.events.push(...fresh);
    this.events.sort((a, b) => a.seq - b.seq || (a.id < b.id ? -1 : 1));
    return fresh.length > 0;
  }

  async load(): Promise<void> {
    const db = await this.db;
    if (db) {
      const found = await new Promise<Kept[]>((done) => {
        const asked = db.transaction("events").objectStore("events").index("flight").getAll(this.flight);
        asked.onsuccess = () => done(asked.result as Kept[]);
        asked.onerror = () => done([]);
      });
      this.join(found);
    }
    this.pulsesOfOthers();
    for (const e of this.events) this.write(e);
  }

  reload(): void { this.readLines(); }

  note(kind: string, about = "", more: Partial<Noted> = {}): Kept {
    const last = this.events[this.events.length - 1];
    const e: Kept = { ...stamp(), id: hex(), kind, about, undoes: "", utc_ms: null, ...more, seq: Math.floor(last?.seq ?? 0) + 1 };
    this.join([e]);
    this.write(e);
    return e;
  }

  private write(e: Kept): void {
    try { localStorage.setItem(this.line(e), JSON.stringify(e)); } catch { /* full or forbidden: the database remains */ }
    void this.db.then((db) => db?.transaction("events", "readwrite", { durability: "strict" }).objectStore("events").put({ ...e, flight: this.flight }));
  }

  // What the record has and this device has not: beside the events of its time.
  take(from: Noted[]): boolean {
    const known = new Set(this.events.map((e) => e.id));
    const fresh = from.filter((e) => !known.has(e.id)).map((e, i) => {
      const before = this.events.filter((x) => x.wall_ms <= e.wall_ms);
      return { ...e, seq: (before[before.length - 1]?.seq ?? 0) + 0.001 * (i + 1) };
    });
    for (const e of fresh) this.write(e);
    return this.join(fresh);
  }

  // A stamp every few seconds, so that a page that is killed leaves both its clocks as of then.
  pulse(): void {
    try { localStorage.setItem(this.pulseKey(run), JSON.stringify(stamp())); } catch { /* as above */ }
  }

  // This flight's address, so that another flight's page can lead back to it.
  name(title: string, href: string): void {
    try { localStorage.setItem(`${PREFIX}-name:${this.flight}`, JSON.stringify({ title, href })); } catch { /* as above */ }
  }

  // Other flights with something noted in the last day: events stay with the flight they were noted on.
  others(): { title: string; href: string }[] {
    const found = new Map<string, { title: string; href: string }>();
    try {
      for (const key of Object.keys(localStorage)) {
        const flight = key.startsWith(`${PREFIX}:`) ? key.split(":")[1] ?? "" : "";
        if (!flight || flight === this.flight || found.has(flight)) continue;
        const e = JSON.parse(localStorage.getItem(key) ?? "null") as Kept | null, name = localStorage.getItem(`${PREFIX}-name:${flight}`);
        if (e && name && Math.abs(Date.now() - e.wall_ms) < 86_400_000) found.set(flight, JSON.parse(name) as { title: string; href: string });
      }
    } catch { /* as above */ }
    return [...found.values()].filter((x) => x.href.startsWith("/cockpit"));
  }

  private pulsesOfOthers(): void {
    const runs = new Set(this.events.map((e) => e.run));
    try {
      for (const key of Object.keys(localStorage)) {
        if (!key.startsWith(`${PREFIX}-pulse:${this.flight}:`)) continue;
        const s = JSON.parse(localStorage.getItem(key) ?? "null") as Stamp | null;
        if (!s || s.run === run || !runs.has(s.run)) continue;
        const own = this.events.filter((e) => e.run === s.run), last = own[own.length - 1] as Kept;
        const next = this.events.find((e) => e.seq > last.seq);
        if (s.mono_ms > last.mono_ms && !next) this.join([{ ...s, id: `p${s.run}`, kind: "pulse", about: "", undoes: "", utc_ms: null, seq: last.seq + 0.5 }]);
      }
    } catch { /* as above */ }
  }
}

function opened(): Promise<IDBDatabase | null> {
  return new Promise((done) => {
    try {
      const asked = indexedDB.open(PREFIX, 1);
      asked.onupgradeneeded = () => asked.result.createObjectStore("events", { keyPath: "id" }).createIndex("flight", "flight");
      asked.onsuccess = () => done(asked.result);
      asked.onerror = asked.onblocked = () => done(null);
    } catch { done(null); }
  });
}

// What the log can take over: blocks, take-off, landing, fuel by tank, tank changes.
function draft(plan: Plan, v: View): object {
  const at = (x: number | null): number | null => (x === null ? null : Math.round(x));
  const by = Object.keys(v.by_tank).filter((k) => k !== "all");
  return {
    off_blocks: at(v.off_ms), take_off: at(v.take_off_ms), landing: at(v.landing_ms), on_blocks: at(v.on_ms),
    fuel_before: plan.tanks.filter((t) => by.includes(t.id)).map((t) => ({ tank: t.id, usable_m3: t.start_m3[0], known_by: t.known_by || "clock" })),
    fuel_after: v.landing_ms === null ? [] : by.map((k) => ({ tank: k, usable_m3: v.by_tank[k]?.mid, known_by: "clock" })),
    changes: v.changes.map((c) => ({ tank: c.tank, since: at(c.since) })), no_feed: v.dead.map((tank) => ({ tank })),
  };
}

export interface Sent { ok: boolean; words: string; server_ms: number }

// Into the record: what it has is asked first, then all is sent; the record takes each event once.
export async function send(plan: Plan, store: Store, view: () => View): Promise<Sent> {
  const asked = await fetch(`/cockpit/events?flight=${plan.flight}`, { cache: "no-store" });
  const server_ms = Date.parse(asked.headers.get("date") ?? "");
  if (!asked.ok) return { ok: false, words: `not taken (${asked.status})`, server_ms };
  const there = (await asked.json()) as { token: string; events: Noted[]; words: string };
  store.take(there.events);
  const events = store.events;
  const there_ids = new Set(there.events.map((e) => e.id));
  if (!events.length || (events.every((e) => there_ids.has(e.id)) && settled === JSON.stringify(draft(plan, view())))) return { ok: true, words: there.words, server_ms };
  const body = { flight: plan.flight, aeroplane: plan.aeroplane, origin: plan.origin, destination: plan.destination,
                 events: events.map(({ seq: _seq, ...e }) => ({ ...e, about: (e.about ?? "") })), draft: draft(plan, view()) };
  const answer = await fetch("/cockpit/events", { method: "POST", body: new URLSearchParams({ token: there.token, sent: JSON.stringify(body) }) });
  const told = (await answer.json().catch(() => ({}))) as { refused?: string; words?: string };
  if (answer.ok) settled = JSON.stringify(draft(plan, view()));
  return { ok: answer.ok, words: told.words ?? told.refused ?? `not taken (${answer.status})`, server_ms };
}
let settled = "";
