// One clock through all views: a slider over the moments that the server worked out. Nothing is reckoned here but where a
// mark stands on a drawing; every figure is read from the table of the moments, which stands there without scripts too.

export interface Drawn {
  at: [number, number];
  leg: number;
  share: number;
  row: number | null;
  min: number;
  tanks: (number | null)[];
  arm: [number, number] | null;
  limits: [number, number] | null;
}

interface Moment {
  cells: string[];
  drawn: Drawn;
}

type Follower = (moment: Moment) => void;

const TANKS = 5; // the column of the first tank
const SVG = "http://www.w3.org/2000/svg";

/** Begin the clock of the answer that stands on this page, anew after every swap; `moved` is told of every moment. */
export function startClock(moved: (drawn: Drawn) => void): void {
  const slider = document.querySelector<HTMLInputElement>("#clock");
  const table = document.querySelector<HTMLTableElement>(".clock-moments");
  for (const old of document.querySelectorAll(".now-words, svg.drawing .now")) old.remove();
  if (!slider || !table) return;
  const heads = [...table.querySelectorAll("thead th")].map((x) => x.textContent ?? "");
  const moments = [...table.querySelectorAll<HTMLTableRowElement>("tbody tr")].map(read);
  const followers = [figures(heads), sketch(), hours(moments, heads), lever(moments), burn()].filter((x): x is Follower => x !== null);
  const bar = slider.closest<HTMLElement>(".clock-bar");
  const said = bar?.querySelector(".clock-said");
  const show = (): void => {
    const moment = moments[Number(slider.value)];
    if (!moment) return;
    const words = `${moment.cells[0]}, ${moment.cells[1]}`;
    slider.setAttribute("aria-valuetext", words);
    if (said) said.textContent = words;
    for (const follow of followers) follow(moment);
    moved(moment.drawn);
  };
  slider.oninput = show;
  if (bar) bar.hidden = false;
  show();
}

function read(row: HTMLTableRowElement): Moment {
  return { cells: [...row.cells].map((x) => x.textContent ?? ""), drawn: JSON.parse(row.dataset.drawn ?? "{}") as Drawn };
}

/** The figures of the moment as a list. */
function figures(heads: string[]): Follower | null {
  const list = document.querySelector<HTMLElement>(".clock-now");
  if (!list) return null;
  list.replaceChildren();
  const places = heads.slice(2).map((head) => {
    const pair = document.createElement("div");
    const value = document.createElement("dd");
    pair.append(Object.assign(document.createElement("dt"), { textContent: head }), value);
    list.append(pair);
    return value;
  });
  list.hidden = false;
  return (m) => places.forEach((place, i) => (place.textContent = m.cells[i + 2] ?? ""));
}

/** A mark on a drawing, made once and moved; out of the way of a screen reader, which has the figures. */
function mark(svg: Element, name: string, attributes: Record<string, string> = {}): SVGElement {
  const found = document.createElementNS(SVG, name);
  found.setAttribute("class", "now");
  found.setAttribute("aria-hidden", "true");
  for (const [key, value] of Object.entries(attributes)) found.setAttribute(key, value);
  svg.append(found);
  return found;
}

/** A line of words under a drawing. */
function caption(svg: Element): HTMLElement {
  const words = document.createElement("p");
  words.className = "now-words";
  (svg.closest(".wide") ?? svg).after(words);
  return words;
}

function points(line: Element): [number, number][] {
  return (line.getAttribute("points") ?? "").trim().split(/\s+/).map((pair) => {
    const [x, y] = pair.split(",").map(Number);
    return [x ?? 0, y ?? 0];
  });
}

function between(line: [number, number][], position: number): [number, number] {
  const i = Math.min(Math.max(Math.floor(position), 0), line.length - 2);
  const [ax, ay] = line[i] ?? [0, 0];
  const [bx, by] = line[i + 1] ?? [ax, ay];
  return [ax + (bx - ax) * (position - i), ay + (by - ay) * (position - i)];
}

/** The place on the sketch: the share of the leg along its line. */
function sketch(): Follower | null {
  const line = document.querySelector("svg polyline.route");
  const svg = line?.closest("svg");
  if (!line || !svg) return null;
  const route = points(line);
  const here = mark(svg, "path", { d: "M-9 0 H9 M0 -9 V9" });
  const words = caption(svg);
  return (m) => {
    const [x, y] = between(route, m.drawn.leg + m.drawn.share);
    here.setAttribute("transform", `translate(${x} ${y})`);
    words.textContent = `${m.cells[0]}: ${m.cells[2]}; clearance ${m.cells[3]}.`;
  };
}

/** Fuel as hours: an upright line at the moment, and on each tank one between what is used up and what is left then. */
function hours(moments: Moment[], heads: string[]): Follower | null {
  const used = document.querySelector<SVGRectElement>("svg rect.bar-used");
  const svg = used?.closest("svg");
  const landing = moments[moments.length - 1]?.drawn.min ?? 0;
  if (!used || !svg || landing <= 0) return null;
  const [zero, width] = [Number(used.getAttribute("x")), Number(used.getAttribute("width"))];
  const x = (minutes: number): number => zero + (minutes / landing) * width;
  const upright = mark(svg, "line", { y1: "16", y2: "164" });
  const lanes = [...svg.querySelectorAll("rect.bar-used")].slice(1).map((lane) => {
    const y = Number(lane.getAttribute("y"));
    return mark(svg, "line", { y1: String(y - 3), y2: String(y + Number(lane.getAttribute("height")) + 3) });
  });
  const full = moments[0]?.drawn.tanks ?? [];
  const words = caption(svg);
  return (m) => {
    for (const end of ["x1", "x2"]) upright.setAttribute(end, x(m.drawn.min).toFixed(1));
    lanes.forEach((lane, i) => {
      for (const end of ["x1", "x2"]) lane.setAttribute(end, x((full[i] ?? 0) - (m.drawn.tanks[i] ?? 0)).toFixed(1));
    });
    const tanks = m.drawn.tanks.map((_, i) => `${(heads[TANKS + i] ?? "").replace(", usable", "")} ${m.cells[TANKS + i]}`).join(", ");
    words.textContent = `${m.cells[0]}, strong upright lines: on ${m.cells[4]}; usable ${tanks.toLowerCase() || "by tank not known"}. Used up is left of the line.`;
  };
}

/** The lever: a second wedge, under the zone, where it balances at the moment, to the scale of the zone that the server drew for the ramp. */
function lever(moments: Moment[]): Follower | null {
  const line = document.querySelector("svg line.lever");
  const svg = line?.closest("svg");
  const zone = svg?.querySelector("rect.zone");
  const ramp = moments[0]?.drawn.limits;
  if (!line || !svg || !zone || !ramp || ramp[1] <= ramp[0]) return null;
  const y = Number(line.getAttribute("y1"));
  const scale = Number(zone.getAttribute("width")) / (ramp[1] - ramp[0]);
  const x = (arm: number): number => Number(zone.getAttribute("x")) + (arm - ramp[0]) * scale;
  const here = mark(svg, "path", { class: "now thin" });
  const words = caption(svg);
  return (m) => {
    const arm = m.drawn.arm;
    here.setAttribute("d", arm ? `M${x(arm[0])} ${y + 24.5} H${x(arm[1])} L${x(arm[1]) + 4} ${y + 29.5} H${x(arm[0]) - 4} Z` : "");
    words.textContent = `${m.cells[0]}: ${m.cells[m.cells.length - 4]}, balances at ${m.cells[m.cells.length - 3]}.`;
  };
}

/** The path of the burn: a level line at the moment, between the rows by the fuel left. */
function burn(): Follower | null {
  const line = document.querySelector("svg polyline.path-middle");
  const svg = line?.closest("svg");
  if (!line || !svg) return null;
  const path = points(line);
  if (path.length < 2) return null;
  const level = mark(svg, "line", { x1: "8", x2: "360" });
  return (m) => {
    level.toggleAttribute("hidden", m.drawn.row === null);
    const y = between(path, m.drawn.row ?? 0)[1].toFixed(1);
    level.setAttribute("y1", y);
    level.setAttribute("y2", y);
  };
}
