// The route on a map, drawn from what lies in the page and from coastlines of this machine. Tiles come from another host only
// where the owner set an address. The places stand in words beside it.
import type { Feature, FeatureCollection, LineString, MultiLineString, Point, Position } from "geojson";
import * as L from "leaflet";
import { feature } from "topojson-client";
import type { GeometryCollection, Topology } from "topojson-specification";
import { type Drawn, startClock } from "./clock";

interface Spot {
  label: string;
  kind: string;
  name: string;
  words: string;
}

const SHAPES: Record<string, string> = {
  end: '<circle class="end" r="6"/>',
  fix: '<path class="fix" d="M0 -7 L6 5 L-6 5 Z"/>',
  point: '<path class="point" d="M-6 0 L0 -6 L6 0 L0 6 Z"/>',
  here: '<path class="now" d="M-11 0 H11 M0 -11 V11"/>',
};
const OPEN = '<circle class="near" r="5"/>';
const STEPS_DEG = [30, 20, 10, 5, 2, 1, 0.5, 0.25, 0.1, 0.05];
const SCALES = [1, 2, 5, 10, 20, 50, 100, 200, 500, 1000];

let shown: { map: L.Map; view: HTMLElement; route: string | undefined; here: L.Marker; east: (lon: number) => number } | null = null;
let last: Drawn | null = null;

function icon(kind: string): L.DivIcon {
  return L.divIcon({
    className: `map-mark mark-${kind}`,
    html: `<svg viewBox="-12 -12 24 24" aria-hidden="true">${SHAPES[kind] ?? OPEN}</svg>`,
    iconSize: [24, 24],
  });
}

/** Longitudes counted on without a jump at 180 degrees, from the first point on. */
function straight(first: number): (lon: number) => number {
  return (lon) => lon + 360 * Math.round((first - lon) / 360);
}

/** Draw the map of the answer that stands on the page, unless it is drawn already, and set the clock going. */
function start(): void {
  const view = document.querySelector<HTMLElement>(".map-view");
  const stands = shown?.view === view && shown?.route === view?.dataset.route && view?.querySelector(".leaflet-map-pane");
  if (shown && !stands) {
    const [old, looked] = [shown, shown.map.getCenter()];
    const same = old.route === view?.dataset.route ? { centre: looked, zoom: old.map.getZoom() } : null;
    shown = null;
    old.map.remove();
    if (view) draw(view, same);
  } else if (view && !shown) draw(view, null);
  last = null;
  startClock((drawn) => {
    last = drawn;
    move();
  });
}

function move(): void {
  if (shown && last) shown.here.setLatLng([last.at[0], shown.east(last.at[1])]).addTo(shown.map);
}

function draw(view: HTMLElement, look: { centre: L.LatLng; zoom: number } | null): void {
  const place = view.querySelector<HTMLElement>(".map");
  const data = JSON.parse(view.dataset.route ?? "null") as FeatureCollection | null;
  if (!place || !data) return;
  const box = document.createElement("div");
  place.replaceChildren(box);
  place.hidden = false;
  const [line, ...spots] = data.features as [Feature<LineString | MultiLineString>, ...Feature<Point, Spot>[]];
  const positions = line.geometry.type === "LineString" ? [line.geometry.coordinates] : line.geometry.coordinates;
  const east = straight(positions[0]?.[0]?.[0] ?? 0);
  const route = positions.flat().map((p: Position): L.LatLngTuple => [p[1] ?? 0, east(p[0] ?? 0)]);
  const map = L.map(box, { zoomSnap: 0.5, maxZoom: view.dataset.tiles ? 17 : 12, minZoom: 1, zoomAnimation: false, fadeAnimation: false, markerZoomAnimation: false });
  map.attributionControl.setPrefix(false);
  box.setAttribute("role", "region");
  box.setAttribute("aria-label", "Map of the route. Arrow keys move it, plus and minus bring it nearer or farther; the places stand in words below.");
  if (view.dataset.tiles) L.tileLayer(view.dataset.tiles, { attribution: plain(view.dataset.credit ?? ""), maxZoom: 17, referrerPolicy: "no-referrer" }).addTo(map);
  if (look) map.setView(look.centre, look.zoom);
  else map.fitBounds(L.latLngBounds(route).pad(0.15));
  if (view.dataset.world) void coasts(map, view.dataset.world, !view.dataset.tiles);
  L.polyline(route, { className: "route-line", interactive: false }).addTo(map);
  const marks = spots.map((s) => spot(map, s, east));
  const here = L.marker(route[0] ?? [0, 0], { icon: icon("here"), keyboard: false, interactive: false, zIndexOffset: 1000 });
  grid(map, Number(view.dataset.mile));
  buttons(view, map, marks);
  reach(view, map, east);
  shown = { map, view, route: view.dataset.route, here, east };
}

/** Text that is put where markup is read. */
function plain(text: string): string {
  const holder = document.createElement("span");
  holder.textContent = text;
  return holder.innerHTML;
}

function spot(map: L.Map, found: Feature<Point, Spot>, east: (lon: number) => number): L.Marker {
  const [lon = 0, lat = 0] = found.geometry.coordinates;
  const { kind, label, name } = found.properties;
  const named = kind === "end" || kind === "fix";
  const mark = L.marker([lat, east(lon)], { icon: icon(kind), keyboard: false, interactive: !named }).addTo(map);
  mark.bindTooltip(plain(named ? label : name), { permanent: named, direction: named ? "right" : "top", offset: named ? [8, 0] : [0, -8], className: "map-label" });
  return mark;
}

let world: Promise<Topology<{ countries: GeometryCollection }>> | null = null;

/** Countries as outlines, once more to the east and west where the map looks over longitude 180. */
async function coasts(map: L.Map, address: string, filled: boolean): Promise<void> {
  world ??= fetch(address).then((answer) => answer.json());
  const found = await world;
  const countries = feature(found, found.objects.countries);
  const middle = map.getCenter().lng;
  for (const turn of [-360, 0, 360]) {
    if (Math.abs(middle - turn) > 300) continue;
    L.geoJSON(countries, {
      interactive: false,
      coordsToLatLng: (c) => L.latLng(c[1] ?? 0, (c[0] ?? 0) + turn),
      style: { className: filled ? "land" : "border", fill: filled },
    }).addTo(map).bringToBack();
  }
}

/** Lines of latitude and longitude with their degrees, and a scale of nautical miles, for what the map shows now. */
function grid(map: L.Map, mile: number): void {
  const lines = L.layerGroup().addTo(map);
  const scale = new L.Control({ position: "bottomleft" });
  const box = L.DomUtil.create("div", "map-scale");
  scale.onAdd = () => box;
  scale.addTo(map);
  const again = (): void => {
    lines.clearLayers();
    const view = map.getBounds();
    const span = Math.max(view.getNorth() - view.getSouth(), (view.getEast() - view.getWest()) / 2);
    const step = STEPS_DEG.find((s) => span / s >= 3) ?? 0.05;
    for (let k = Math.ceil(view.getSouth() / step); k * step < view.getNorth(); k++) lines.addLayer(parallel(view, k * step, step, true));
    for (let k = Math.ceil(view.getWest() / step); k * step < view.getEast(); k++) lines.addLayer(parallel(view, k * step, step, false));
    const [size, middle] = [map.getSize(), map.getSize().y / 2];
    const metres = map.distance(map.containerPointToLatLng([0, middle]), map.containerPointToLatLng([100, middle]));
    const miles = SCALES.find((n) => (n * mile * 100) / metres >= Math.min(size.x / 6, 120)) ?? 1000;
    box.textContent = `${miles} nm`;
    box.style.width = `${Math.round((miles * mile * 100) / metres)}px`;
  };
  map.on("moveend", again);
  again();
}

function parallel(view: L.LatLngBounds, degrees: number, step: number, level: boolean): L.LayerGroup {
  const ends: L.LatLngTuple[] = level ? [[degrees, view.getWest()], [degrees, view.getEast()]] : [[view.getSouth(), degrees], [view.getNorth(), degrees]];
  const at: L.LatLngTuple = level ? [degrees, view.getEast()] : [view.getNorth(), degrees];
  const text = L.divIcon({ className: `map-degrees ${level ? "level" : ""}`, html: named(degrees, step, level), iconSize: [64, 16], iconAnchor: level ? [70, 17] : [-3, -2] });
  return L.layerGroup([L.polyline(ends, { className: "graticule", interactive: false }), L.marker(at, { icon: text, keyboard: false, interactive: false })]);
}

function named(degrees: number, step: number, level: boolean): string {
  const turned = level ? degrees : ((((degrees + 180) % 360) + 360) % 360) - 180;
  const side = level ? (turned >= 0 ? "N" : "S") : turned >= 0 ? "E" : "W";
  const minutes = Math.round(Math.abs(turned) * 60);
  if (!level && minutes % 10_800 === 0) return `${minutes / 60}°`; // 0 and 180 are neither east nor west
  if (level && minutes === 0) return "0°";
  return `${Math.floor(minutes / 60)}°${step < 1 ? String(minutes % 60).padStart(2, "0") + "′" : ""} ${side}`;
}

/** The names in the list become buttons that bring their place to the middle. */
function buttons(view: HTMLElement, map: L.Map, marks: L.Marker[]): void {
  for (const name of view.querySelectorAll<HTMLElement>(".map-place")) {
    const mark = marks[Number(name.dataset.place)];
    if (!mark) continue;
    const button = Object.assign(document.createElement("button"), { type: "button", className: "plain", textContent: name.textContent });
    button.addEventListener("click", () => {
      map.panTo(mark.getLatLng());
      mark.openTooltip();
    });
    name.replaceChildren(button);
  }
}

/** How far the fuel reaches, asked for by a button, drawn as two outlines, said in words. */
function reach(view: HTMLElement, map: L.Map, east: (lon: number) => number): void {
  const where = view.querySelector<HTMLElement>(".map-reach");
  if (!where) return;
  const button = Object.assign(document.createElement("button"), { type: "button", className: "plain", textContent: "Draw how far the fuel on board reaches" });
  const words = Object.assign(document.createElement("span"), { className: "note" });
  words.setAttribute("role", "status");
  const link = where.querySelector("a");
  where.replaceChildren(button, " ", words, " ", ...(link ? [link] : []));
  let drawn: L.GeoJSON | null = null;
  button.addEventListener("click", async () => {
    if (drawn) {
      drawn.remove();
      drawn = null;
      words.textContent = "";
      button.textContent = "Draw how far the fuel on board reaches";
      return;
    }
    button.disabled = true;
    words.textContent = "Working it out ...";
    try {
      const found = (await (await fetch(view.dataset.reach ?? "")).json()) as FeatureCollection & { words?: string[]; refused?: string };
      words.textContent = found.refused ?? (found.words ?? []).join(" ");
      if (found.features) {
        drawn = L.geoJSON(found, { interactive: false, coordsToLatLng: (c) => L.latLng(c[1] ?? 0, east(c[0] ?? 0)), style: (f) => ({ className: `reach-${f?.properties?.band}` }) }).addTo(map);
        map.fitBounds(drawn.getBounds());
        button.textContent = "Take the reach off the map";
      }
    } catch {
      words.textContent = "The reach did not arrive; ask again.";
    }
    button.disabled = false;
  });
}

start();
document.addEventListener("htmx:after:swap", start);
document.addEventListener("htmx:after:settle", start);
