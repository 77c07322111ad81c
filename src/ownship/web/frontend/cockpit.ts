// The Cockpit: the flight by the clock, from the events noted. Works with the server gone; paper is the master.
import { fold, type View } from "./cockpit_fold";
import { run, send, stamp, Store } from "./cockpit_kept";
import { ready, type Band, type Plan } from "./cockpit_plan";

const MARKS: Record<string, string> = { "within limits": "\u25CF", tight: "\u25B2", "not known": "?", "outside limits": "\u25A0" };
const el = <T extends HTMLElement>(id: string): T => document.getElementById(id) as T;
const plan: Plan = ready(JSON.parse(el("plan").textContent ?? "{}") as Plan);
const store = new Store(plan.flight);
let record = "", shownKeys = "", pending: ReturnType<typeof setTimeout> | undefined;

// -- words
const two = (n: number): string => String(n).padStart(2, "0");
function clock(ms: number | null, offset = plan.offset_min): string {
  if (ms === null || !Number.isFinite(ms)) return "not known";
  const d = new Date(ms + offset * 60_000);
  return `${two(d.getUTCHours())}:${two(d.getUTCMinutes())}`;
}
function span(ms: number): string {
  const min = Math.floor(Math.abs(ms) / 60_000);
  return min < 60 ? `${min} min` : `${Math.floor(min / 60)} h ${two(min % 60)}`;
}
const amount = (m3: number): string => (Number.isFinite(m3) ? (m3 * plan.unit.per_m3).toFixed(1) : "not known");
const banded = (b: Band): string => `${amount(b.mid)} ${plan.unit.words} (${amount(b.low)} to ${amount(b.high)})`;
const name = (tank: string): string => plan.tanks.find((t) => t.id === tank)?.name ?? plan.positions.find((p) => p.tank === tank)?.words ?? tank;
const position = (tank: string): string => plan.positions.find((p) => p.tank === tank)?.words ?? tank;

function make(tag: string, words = "", className = ""): HTMLElement {
  const e = document.createElement(tag);
  e.textContent = words;
  if (className) e.className = className;
  return e;
}
function verdict(word: string): HTMLElement {
  const outer = make("span", "", word.replace(" ", "-")), inner = make("span", "", "word");
  const mark = make("span", MARKS[word] ?? "");
  mark.setAttribute("aria-hidden", "true");
  inner.append(mark, ` ${word}`);
  outer.append(inner);
  return outer;
}

// -- what stands in the cells
interface Cell { name: string; big: string; rest: string[]; word?: string; alarm?: boolean }
function cells(v: View): Cell[] {
  const leg = plan.legs[v.leg], found: Cell[] = [tankCell(v)];
  found.push({ name: "Usable fuel now, by the clock", big: `${amount(v.fuel.mid)} ${plan.unit.words}`,
               rest: [`5 to 95 %: ${amount(v.fuel.low)} to ${amount(v.fuel.high)}`, ...byTank(v), v.dry_ms === null ? "" : `none left by ${clock(v.dry_ms)}, low end`] });
  if (v.next) {
    found.push({ name: `Next fix: ${v.next.name}`, big: clock(v.next.at_ms), alarm: v.next.late_ms > 120_000,
                 rest: [`latest ${v.next.latest_ms === null ? `not known. ${plan.unknown}` : `${clock(v.next.latest_ms)} with the reserve kept`}`,
                        v.next.late_ms > 0 ? `due ${span(v.next.late_ms)} ago: passed? The times ahead wait for it.` : `in ${span(v.next.at_ms - v.now_ms)}`] });
  }
  if (leg && v.phase !== "landed" && v.phase !== "stopped") {
    found.push({ name: `Heading to ${leg.end}`, big: leg.compass === null ? two3(leg.magnetic) : two3(leg.compass),
                 rest: [leg.compass === null ? "magnetic: no deviation card" : `compass; magnetic ${two3(leg.magnetic)}, true ${two3(leg.true)}`, `${leg.distance}, groundspeed ${leg.groundspeed}`] });
  }
  const down = v.phase === "landed" || v.phase === "stopped";
  found.push({ name: down ? "Landed" : "Arrival; fuel at landing", big: clock(v.arrival_ms), word: down ? undefined : v.verdict,
               rest: [`${down ? "usable fuel left" : "usable fuel at landing"} ${banded(v.at_landing)}`,
                      v.own && !down ? `own minimum of ${amount(plan.own_m3 ?? NaN)} ${plan.unit.words}: ${v.own}` : ""] });
  if (!down) found.push({ name: "On the ground by", big: clock(v.ground_by_ms), rest: [v.ground_by_ms === null ? plan.unknown : "with the final reserve, low end of the fuel", v.ground_by_ms === null ? "" : v.ground_by_ms < v.now_ms ? "passed: say minimum fuel, land" : `in ${span(v.ground_by_ms - v.now_ms)}`], alarm: v.ground_by_ms !== null && v.ground_by_ms < v.now_ms + 1_800_000 });
  if (v.phase === "flying") found.push(heatCell(v));
  return found;
}
const capital = (words: string): string => words.charAt(0).toUpperCase() + words.slice(1);
const two3 = (deg: number): string => String(deg).padStart(3, "0");
function byTank(v: View): string[] {
  return Object.entries(v.by_tank).filter(([k]) => k !== "all").map(([k, b]) => `${name(k)}: ${v.dead.includes(k) ? `does not feed (${amount(b.mid)} counted out)` : b.mid <= 0 ? "empty by the clock" : `${amount(b.mid)} (${amount(b.low)} to ${amount(b.high)})`}`);
}
function tankCell(v: View): Cell {
  const rest: string[] = [];
  if (v.phase === "flying" || v.phase === "taxi") rest.push(v.since_ms === null ? "" : `${span(v.now_ms - v.since_ms)} in this tank, since ${clock(v.since_ms)}`);
  if (v.change) rest.push(v.change.due ? `change to ${position(v.change.tank)} was due ${span(v.now_ms - v.change.at_ms)} ago` : `next: ${position(v.change.tank)} at ${clock(v.change.at_ms)}, in ${span(v.change.at_ms - v.now_ms)}`);
  else if (v.phase !== "landed" && v.phase !== "stopped") rest.push(v.dead.length ? "no change: one tank is left" : plan.positions.length ? "no more changes planned" : "no tank plan");
  if (v.tank_dry_ms !== null && v.phase === "flying") rest.push(`this tank feeds to ${clock(v.tank_dry_ms)}, low end`);
  return { name: "Tank", big: plan.positions.length ? position(v.tank) : "all", rest, alarm: v.change?.due ?? false };
}
function heatCell(v: View): Cell {
  const due = v.heat_ms === null ? 0 : v.heat_ms + plan.heat_s * 1000 - v.now_ms;
  return { name: "Carburettor heat", big: due > 0 ? span(due) : "check now", alarm: due <= 0,
           rest: [due > 0 ? "to the next check" : `due ${span(due)} ago`] };
}

function fill(list: HTMLElement, items: HTMLElement[]): void {
  const next = document.createElement("div");
  next.append(...items);
  if (next.innerHTML !== list.innerHTML) list.replaceChildren(...items);
}
function cellsShown(v: View): HTMLElement[] {
  return cells(v).map((c) => {
    const box = make("div", "", `cell${c.alarm ? " alarm" : ""}`), dd = make("dd");
    const big = make("span", c.big, "big");
    dd.append(big);
    if (c.alarm) dd.prepend(make("span", "! ", "big"));
    if (c.word) dd.append(" ", verdict(c.word));
    for (const line of c.rest.filter(Boolean)) dd.append(make("span", line, "line"));
    box.append(make("dt", c.name), dd);
    return box;
  });
}

// -- keys
interface Key { words: string; kind: string; about: string; plain?: boolean }
function keys(v: View): Key[] {
  const found: Key[] = [];
  if (v.phase === "before") found.push({ words: "Off blocks", kind: "off blocks", about: "" });
  if (v.phase === "before" || v.phase === "taxi") found.push({ words: "Taken off", kind: "taken off", about: "" });
  if (v.phase === "taxi" || v.phase === "flying") {
    for (const p of plan.positions.filter((x) => x.tank !== v.tank)) found.push({ words: `Changed to ${p.words}`, kind: "tank", about: p.tank });
  }
  if (v.phase === "flying") {
    if (v.next) found.push({ words: `Passed ${v.next.name}`, kind: "fix", about: v.next.name });
    found.push({ words: "Heat checked", kind: "heat", about: "" }, { words: "Landed", kind: "landed", about: "" });
    for (const t of plan.tanks.filter((x) => x.id !== "all" && !v.dead.includes(x.id))) found.push({ words: capital(`${name(t.id)} does not feed`), kind: "no feed", about: t.id, plain: true });
  }
  if (v.phase === "landed") found.push({ words: "On blocks", kind: "on blocks", about: "" });
  const last = lastNoted();
  if (last) found.push({ words: `Undo: ${said(last.kind, last.about)}`, kind: "undone", about: last.id, plain: true });
  return found;
}
function lastNoted() {
  const gone = new Set(store.events.filter((e) => e.kind === "undone").map((e) => e.undoes));
  return [...store.events].reverse().find((e) => !gone.has(e.id) && !["undone", "pulse"].includes(e.kind));
}
function said(kind: string, about = ""): string {
  const words: Record<string, string> = { tank: `changed to ${position(about)}`, fix: `passed ${about}`, "no feed": `${name(about)} does not feed`,
    heat: "heat checked", clock: about === "ran" ? "time ran on while the device slept" : "clock put right" };
  return words[kind] ?? kind;
}
function press(k: Key): void {
  if (k.kind === "undone") store.note("undone", "", { undoes: k.about });
  else store.note(k.kind, k.about);
  store.name(`${plan.aeroplane}, ${plan.title}`, location.pathname + location.search);
  el("told").textContent = `Noted: ${k.words}`;
  render();
  soon();
}
function keysShown(v: View): void {
  const wanted = keys(v), signature = JSON.stringify(wanted);
  if (signature === shownKeys) return;
  const held = document.activeElement?.id;
  shownKeys = signature;
  el("keys").replaceChildren(...wanted.map((k) => {
    const b = make("button", k.words, k.plain ? "plain" : "") as HTMLButtonElement;
    b.type = "button";
    b.id = `key-${k.kind}-${k.kind === "undone" ? "" : k.about}`.replace(/[^A-Za-z0-9-]+/g, "-");
    b.addEventListener("click", () => press(k));
    return b;
  }));
  if (held?.startsWith("key-")) (document.getElementById(held) ?? el("keys").querySelector("button"))?.focus();
}

// -- the whole
function view(shift = 0): View { return fold(plan, store.events, stamp(), shift); }
const PHASES = { before: "not off blocks yet: planned times", taxi: "taxi", flying: "in flight", landed: "landed", stopped: "on blocks" };

function render(): void {
  const v = view();
  el("utc").textContent = `${clock(v.now_ms, 0)} UTC`;
  el("local").textContent = `${clock(v.now_ms)} at ${plan.origin} (UTC${plan.offset_min < 0 ? "-" : "+"}${two(Math.floor(Math.abs(plan.offset_min) / 60))}:${two(Math.abs(plan.offset_min) % 60)}); all times below are this`;
  el("state").textContent = PHASES[v.phase];
  fill(el("cells"), cellsShown(v));
  keysShown(v);
  notice(el("order"), v.order);
  notice(el("jump"), jumpWords(v));
  fill(el("near"), v.near.map((x) => {
    const li = make("li");
    li.append(make("strong", x.ident), ` ${x.name}: `, make("span", x.course_magnetic ? `${two3(x.course_magnetic)} magnetic, ${x.off_nm.toFixed(0)} nm, ${Math.round((x.time_s[0] as number) / 60)} min, ${amount(x.fuel_m3[0] as number)} ${plan.unit.words}` : "overhead"),
              ` usable left there ${banded(x.left)} `, verdict(x.verdict));
    return li;
  }));
  if (!v.near.length) fill(el("near"), [make("li", v.phase === "landed" || v.phase === "stopped" ? "Landed." : "None is known.")]);
  const points = v.points.map((p) => make("li", `${capital(p.name)}: ${p.at_ms === null && p.earliest_ms === null ? "" : p.behind ? `passed at ${clock(p.earliest_ms ?? p.at_ms)}. ` : `${clock(p.at_ms)}${p.earliest_ms === null ? "" : `, at the earliest ${clock(p.earliest_ms)}`}. `}${p.words}`));
  fill(el("back"), points.length ? points : [make("li", v.dead.length ? "Not known with these tanks lost." : "None in this plan.")]);
  const gone = new Set(store.events.filter((e) => e.kind === "undone").map((e) => e.undoes));
  fill(el("noted"), store.events.filter((e) => !["undone", "pulse"].includes(e.kind)).map((e) => make(gone.has(e.id) ? "del" : "span", `${clock(v.times.get(e.id) ?? NaN)} ${said(e.kind, e.about)}${gone.has(e.id) ? " (undone)" : ""}`)).map((x) => { const li = make("li"); li.append(x); return li; }));
  el("record").textContent = record;
}
function notice(box: HTMLElement, words: string): void {
  if (box.textContent !== words) box.textContent = words;
  box.hidden = !words;
}
function jumpWords(v: View): string {
  const back = v.jumps.find((j) => j.kind === "back"), jump = v.jumps.find((j) => j.kind === "jump");
  if (jump?.now) {
    const other = v.now_ms + jump.ms, worse = jump.ms > 0 ? ` If the device slept, usable fuel is ${banded(view(jump.ms).fuel)}.` : "";
    return `The device's clock went ${jump.ms > 0 ? "forward" : "back"} by ${span(jump.ms)} against its stopwatch. Here it goes on by the stopwatch: ${clock(v.now_ms, 0)} UTC; the device says ${clock(other, 0)}.${worse} Say below what time it is.`;
  }
  if (jump) return `The device's clock went ${jump.ms > 0 ? "forward" : "back"} by ${span(jump.ms)} before this page was opened again; the times go on by the stopwatch of then. Say below what time it is.`;
  return back ? `The device's clock went back by ${span(back.ms)} while this page was closed, so that time is not counted. Say below what time it is.` : "";
}

function typedClock(e: SubmitEvent): void {
  e.preventDefault();
  const m = /^([01]?\d|2[0-3])[:. ]?([0-5]\d)$/.exec(el<HTMLInputElement>("clock-now").value.trim());
  if (!m) { el("clock-said").textContent = "Write hours and minutes in UTC, as 14:32."; return; }
  const v = view(), day = 86_400_000, here = ((v.now_ms % day) + day) % day, wanted = (Number(m[1]) * 60 + Number(m[2])) * 60_000;
  let off = wanted - here;
  if (off > day / 2) off -= day;
  if (off < -day / 2) off += day;
  const same = off <= 0 && off > -60_000;
  store.note("clock", (e.submitter as HTMLButtonElement | null)?.value === "ran" ? "ran" : "wrong", { utc_ms: Math.round(v.now_ms + (same ? 0 : off + 30_000)) });
  el("clock-said").textContent = `Counted on from ${m[1]}:${m[2]} UTC.`;
  render();
  soon();
}

// -- into the record, and kept on this device
let busy = false;
async function sync(): Promise<void> {
  if (busy) return;
  if (plan.demo) { record = "The demo is no flight: what is noted stays on this device."; render(); return; }
  busy = true;
  const waiting = (): string => store.events.length ? `${store.events.length} events are kept on this device and wait for the network.` : "No network.";
  try {
    const sent = await send(plan, store, view);
    const off = sent.server_ms - view().now_ms;
    const differs = Math.abs(off) > 90_000 ? ` The computer's clock says ${clock(sent.server_ms, 0)} UTC: one of the two is wrong.` : "";
    record = (sent.ok ? `${sent.words} Looked at ${clock(view().now_ms, 0)} UTC.` : `Not taken: ${sent.words} ${waiting()}`) + differs;
  } catch { record = waiting(); }
  busy = false;
  render();
}
function soon(): void { clearTimeout(pending); pending = setTimeout(() => void sync(), 400); }

async function keepHere(): Promise<void> {
  const said = (words: string): void => { el("kept").textContent = words; };
  if (!window.isSecureContext || !navigator.serviceWorker) {
    return said("Not kept: no secure connection. Save the flight as one file, and carry the paper.");
  }
  try {
    await navigator.serviceWorker.register("/sw.js", { scope: "/" });
    const ready = await navigator.serviceWorker.ready, pipe = new MessageChannel();
    const answer = new Promise<{ at: number | null; version: string }>((done) => { pipe.port1.onmessage = (m) => done(m.data as { at: number | null; version: string }); });
    const files = [...document.querySelectorAll<HTMLScriptElement | HTMLLinkElement>("script[src], link[rel=stylesheet]")].map((x) => ("src" in x ? x.src : x.href));
    ready.active?.postMessage({ keep: location.href, files: [...files, "/static/dist/b612-latin-400-normal.woff2", "/static/dist/b612-latin-700-normal.woff2"] }, [pipe.port2]);
    const { at, version } = await answer;
    el("kept").dataset.version = version;
    said(at === null ? "Not kept: the page could not be stored on this device. Carry the paper." : `Kept on this device at ${clock(at, 0)} UTC: it opens without the network.`);
    void navigator.storage?.persist?.();
  } catch { said("Not kept: this browser does not allow it. Save the flight as one file, and carry the paper."); }
}
async function stayAwake(): Promise<void> {
  try { if (document.visibilityState === "visible") await navigator.wakeLock?.request("screen"); } catch { /* the device decides */ }
}
function theme(chosen: string): void {
  document.documentElement.dataset.theme = chosen;
  document.cookie = `ownship-theme=${chosen}; path=/; samesite=strict; max-age=31536000`;
}

function begin(): void {
  const asked = /(?:^|; )ownship-theme=(light|night)/.exec(document.cookie)?.[1];
  if (asked && !new URLSearchParams(location.search).has("theme")) document.documentElement.dataset.theme = asked;
  el("live").hidden = false;
  el("off").hidden = true;
  el("clock-form").addEventListener("submit", typedClock as EventListener);
  for (const t of ["night", "light"]) el(t).addEventListener("click", () => theme(t));
  window.addEventListener("storage", () => { store.reload(); render(); });
  window.addEventListener("online", () => void sync());
  document.addEventListener("visibilitychange", () => { void stayAwake(); render(); });
  render();
  void store.load().then(() => { render(); void sync(); });
  for (const o of store.others()) {
    const p = make("p", "Noted on this device for another flight: ", "said"), a = make("a", o.title) as HTMLAnchorElement;
    a.href = o.href;
    p.append(a);
    el("others").append(p);
  }
  setInterval(render, 1000);
  setInterval(() => { if (store.events.some((e) => e.run === run) || store.events.length) store.pulse(); }, 5000);
  setInterval(() => void sync(), 30_000);
  void keepHere();
  void stayAwake();
}
begin();
