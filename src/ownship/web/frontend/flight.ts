// The Flight screen made live: a change of the request swaps only what hangs on it, remedies are taken by one touch, places are
// found while one types. Everything here is an address that answers as a page too.
import htmx from "htmx.org";
import { placeFields } from "./places";

interface Context {
  sourceElement: HTMLElement;
  sourceEvent?: Event;
  request: { body: FormData | null };
  response?: { status: number };
  text?: string;
}

const WORKING = "Working it out";
const LOST = "No answer: is `ownship serve` still running? What you typed is kept; change a field to ask again.";
const FAILED = "The server failed within. What you typed is kept; change it, or load the page again.";
const STALE = "This answer is of the request as it was before; it does not hold for what is typed now.";
const SAY_AFTER_MS = 600;

let asked = ""; // the form as it was last sent or shown
let typing = ""; // the field that is being typed in, so that its half words make no steps back
let goTo = ""; // the heading to go to once a link is answered
let saying = 0;

export function liveFlight(root: HTMLElement): void {
  asked = fields();
  placeFields(root);
  openGroupOf(root.querySelector("[aria-invalid='true']"));
  root.addEventListener("click", followLink);
  root.addEventListener("htmx:config:request", beforeAsking);
  root.addEventListener("htmx:before:request", (event) => showWorking(context(event).sourceElement));
  root.addEventListener("htmx:finally:request", hideWorking);
  root.addEventListener("htmx:error", () => lost(LOST));
  root.addEventListener("htmx:before:swap", onlyParts);
  root.addEventListener("htmx:after:swap", (event) => swapped(root, context(event).sourceElement));
  document.addEventListener("htmx:before:history:update", keepSteps);
}

function context(event: Event): Context {
  return (event as CustomEvent<{ ctx: Context }>).detail.ctx;
}

function form(): HTMLFormElement | null {
  return document.getElementById("flight-form") as HTMLFormElement | null;
}

function fields(): string {
  const found = form();
  return found ? new URLSearchParams(new FormData(found) as unknown as Record<string, string>).toString() : "";
}

// -- links ------------------------------------------------------------------------------------------------------------------
function followLink(event: MouseEvent): void {
  const link = (event.target as Element).closest<HTMLAnchorElement>("[data-live] a[href]");
  if (!link || event.button || event.ctrlKey || event.metaKey || event.shiftKey || event.altKey) return;
  const where = new URL(link.href);
  if (where.pathname !== "/" || link.getAttribute("href")?.startsWith("#")) return;
  event.preventDefault();
  goTo = where.hash.slice(1) || "verdict";
  void htmx.ajax("GET", where.pathname + where.search, { source: link, target: "#said", swap: "innerHTML" });
}

// -- the form ---------------------------------------------------------------------------------------------------------------
function beforeAsking(event: Event): void {
  const { sourceElement, sourceEvent } = context(event);
  if (sourceElement !== form()) return;
  const field = sourceEvent?.target as HTMLElement | null;
  const now = fields();
  const unfinished = sourceEvent?.type === "input" && field?.hasAttribute("data-places");
  if (unfinished || (now === asked && sourceEvent?.type !== "submit")) {
    event.preventDefault();
    return;
  }
  asked = now;
  goTo = "";
}

function keepSteps(event: Event): void {
  const { detail } = event as CustomEvent<{ history: { type: string; path: string }; sourceElement: HTMLElement }>;
  if (detail.history.path === location.pathname + location.search) event.preventDefault();
  const active = document.activeElement;
  const field = detail.sourceElement === form() && active instanceof HTMLInputElement ? active.name : "";
  if (field && field === typing) detail.history.type = "replace";
  typing = field;
}

// The ways to the other themes lead to the flight as it is now.
function themeLinks(): void {
  for (const link of document.querySelectorAll<HTMLAnchorElement>("nav[aria-label='Theme'] a[href^='/?'], nav[aria-label='Theme'] a[href='/']")) {
    const where = new URLSearchParams(location.search);
    where.set("theme", new URL(link.href).searchParams.get("theme") ?? "");
    link.href = `/?${where.toString()}`;
  }
}

function swapped(root: HTMLElement, source: HTMLElement): void {
  themeLinks();
  if (source !== form()) showValues();
  placeFields(root);
  const heading = goTo && document.getElementById(goTo);
  goTo = "";
  if (heading) {
    asked = fields();
    heading.focus();
    heading.scrollIntoView({ block: "nearest" });
  }
  openGroupOf(root.querySelector("[aria-invalid='true']"));
}

// A remedy changes fields too: what the page says of a choice or a tick goes before what was chosen by hand.
function showValues(): void {
  for (const field of form()?.querySelectorAll<HTMLInputElement | HTMLSelectElement>("select, input") ?? []) {
    if (field instanceof HTMLSelectElement) {
      const chosen = field.querySelector<HTMLOptionElement>("option[selected]");
      if (chosen) field.value = chosen.value;
      else field.selectedIndex = 0;
    } else if (field.type === "checkbox") field.checked = field.hasAttribute("checked");
    else field.value = field.getAttribute("value") ?? "";
  }
}

function openGroupOf(field: Element | null): void {
  const group = field?.closest("details");
  if (group) group.open = true;
}

// -- telling ----------------------------------------------------------------------------------------------------------------
function working(): HTMLElement | null {
  return document.getElementById("working");
}

function tell(words: string): void {
  const place = working();
  if (!place) return;
  place.hidden = false;
  (place.lastElementChild as HTMLElement).textContent = words;
}

function showWorking(source: HTMLElement): void {
  const words = source.dataset.working ?? WORKING;
  working()?.classList.remove("lost");
  tell(words);
  window.clearTimeout(saying);
  saying = window.setTimeout(() => say(words), SAY_AFTER_MS);
}

function hideWorking(): void {
  window.clearTimeout(saying);
  const place = working();
  if (place && !place.classList.contains("lost")) place.hidden = true;
}

function lost(words: string): void {
  window.clearTimeout(saying);
  asked = "";
  working()?.classList.add("lost");
  tell(words);
  say(words);
  const verdict = document.querySelector("#first .verdict");
  if (!verdict || document.querySelector("#first .stale")) return;
  const note = document.createElement("p");
  note.className = "stale";
  note.textContent = STALE;
  verdict.before(note); // the next answer takes it away
}

// What is neither an answer nor a refusal of the flight (an address too long, a failure) is told and swaps nothing.
function onlyParts(event: Event): void {
  const { response, text } = context(event);
  const status = response?.status ?? 200;
  if (status < 400 || status === 422) return;
  event.preventDefault();
  lost(status >= 500 ? FAILED : (text ?? "").slice(0, 300));
}

function say(words: string): void {
  const said = document.getElementById("said");
  if (said) said.textContent = words;
}
