// A field that wants an aerodrome finds it while one types: a list below it, by keyboard (arrows, Enter, Escape) or touch.
// Without this script it is a plain field for an ident.

const PAUSE_MS = 150;
const FEWEST_LETTERS = 2;
const ready = new WeakSet<HTMLInputElement>();

export function placeFields(root: ParentNode): void {
  for (const field of root.querySelectorAll<HTMLInputElement>("input[data-places]")) {
    field.setAttribute("role", "combobox");
    field.setAttribute("aria-autocomplete", "list");
    field.setAttribute("aria-controls", `${field.id}-places`);
    if (!field.hasAttribute("aria-expanded")) field.setAttribute("aria-expanded", "false");
    if (ready.has(field)) continue;
    ready.add(field);
    new PlaceField(field);
  }
}

class PlaceField {
  private pause = 0;
  private asking: AbortController | null = null;

  constructor(private readonly field: HTMLInputElement) {
    field.addEventListener("input", () => this.later());
    field.addEventListener("keydown", (event) => this.key(event));
    field.addEventListener("blur", () => this.close());
  }

  private get list(): HTMLElement | null {
    return document.getElementById(`${this.field.id}-places`);
  }

  private get options(): HTMLElement[] {
    return [...(this.list?.querySelectorAll<HTMLElement>("[role=option]") ?? [])];
  }

  private get many(): boolean {
    return this.field.dataset.places === "many";
  }

  // What is looked for: all that is typed, or of several places the one being typed.
  private get word(): string {
    const text = this.field.value;
    return (this.many ? text.slice(text.lastIndexOf(" ") + 1) : text).trim();
  }

  private later(): void {
    window.clearTimeout(this.pause);
    this.asking?.abort();
    if (this.word.length < FEWEST_LETTERS) this.close();
    else this.pause = window.setTimeout(() => void this.ask(), PAUSE_MS);
  }

  private async ask(): Promise<void> {
    this.asking = new AbortController();
    const other = document.querySelector<HTMLInputElement>(this.field.name === "from" ? "#field-to" : "#field-from");
    const query = new URLSearchParams({ q: this.word, near: other?.value ?? "" });
    try {
      const answer = await fetch(`/places?${query.toString()}`, { signal: this.asking.signal });
      if (answer.ok && document.activeElement === this.field) this.show(await answer.text());
    } catch {
      this.close(); // typed on, or no server: the field stays a plain one
    }
  }

  private show(fragment: string): void {
    const list = this.list;
    if (!list) return;
    list.innerHTML = fragment;
    this.options.forEach((option, i) => {
      option.id = `${list.id}-${i}`;
      option.addEventListener("pointerdown", (event) => event.preventDefault()); // the field keeps the focus
      option.addEventListener("click", () => this.choose(option));
    });
    this.open(this.options.length > 0);
  }

  private open(yes: boolean): void {
    if (this.list) this.list.hidden = !yes;
    this.field.setAttribute("aria-expanded", String(yes));
    if (!yes) this.mark(null);
  }

  private close(): void {
    window.clearTimeout(this.pause);
    this.asking?.abort();
    this.open(false);
  }

  private mark(option: HTMLElement | null): void {
    for (const other of this.options) other.setAttribute("aria-selected", String(other === option));
    if (option) {
      this.field.setAttribute("aria-activedescendant", option.id);
      option.scrollIntoView({ block: "nearest" });
    } else this.field.removeAttribute("aria-activedescendant");
  }

  private key(event: KeyboardEvent): void {
    const options = this.options;
    const shown = this.list?.hidden === false && options.length > 0;
    const at = options.findIndex((option) => option.getAttribute("aria-selected") === "true");
    if (event.key === "ArrowDown" || event.key === "ArrowUp") {
      event.preventDefault();
      if (!shown) {
        if (this.word.length >= FEWEST_LETTERS) void this.ask();
        return;
      }
      const step = event.key === "ArrowDown" ? 1 : -1;
      this.mark(options[at < 0 && step < 0 ? options.length - 1 : (at + step + options.length) % options.length] ?? null);
    } else if (event.key === "Escape" && shown) {
      event.preventDefault();
      this.close();
    } else if (event.key === "Enter" && shown && at >= 0) {
      event.preventDefault();
      this.choose(options[at] as HTMLElement);
    }
  }

  private choose(option: HTMLElement): void {
    const ident = option.dataset.ident ?? "";
    const text = this.field.value;
    this.field.value = this.many ? `${text.slice(0, text.lastIndexOf(" ") + 1)}${ident}` : ident;
    this.close();
    this.field.dispatchEvent(new Event("change", { bubbles: true }));
  }
}
