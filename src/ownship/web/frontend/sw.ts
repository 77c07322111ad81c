// The worker that keeps the Cockpit: its page, scripts, style and typefaces. It never touches what changes anything.
const worker = self as unknown as ServiceWorkerGlobalScope;
const PAGES = "ownship-cockpit-pages-1", FILES = "ownship-cockpit-files-1";
const MOST_PAGES = 12, SLOW_MS = 4000, AT = "x-kept-at";

worker.addEventListener("activate", (e) => e.waitUntil(takeOver()));

// A new version takes over once no Cockpit page is open: never in the middle of a flight, where a page would wait for it.
// Files carry the mark of their content in their address, so a page that is kept goes on with the files it was made with;
// caches of another form are dropped.
async function takeOver(): Promise<void> {
  const names = await caches.keys();
  await Promise.all(names.filter((n) => n.startsWith("ownship-cockpit") && n !== PAGES && n !== FILES).map((n) => caches.delete(n)));
  await worker.clients.claim();
}

worker.addEventListener("fetch", (e) => {
  const url = new URL(e.request.url);
  if (e.request.method !== "GET" || url.origin !== worker.location.origin) return;
  if (e.request.mode === "navigate" && url.pathname === "/cockpit") e.respondWith(page(e.request));
  else if (url.pathname.startsWith("/static/")) e.respondWith(file(e.request, url));
});

// The flight alone names a page, not how it looks.
function key(address: string): string {
  const url = new URL(address);
  for (const x of ["theme", "kept"]) url.searchParams.delete(x);
  url.hash = "";
  return url.href;
}

async function page(request: Request): Promise<Response> {
  const kept = await caches.open(PAGES).then((c) => c.match(key(request.url)));
  try {
    const fresh = await (kept ? Promise.race([fetch(request), late()]) : fetch(request));
    return fresh;
  } catch {
    return kept ?? list();
  }
}
const late = (): Promise<never> => new Promise((_, no) => setTimeout(() => no(new Error("slow")), SLOW_MS));

// Asked for a flight that is not here: those that are.
async function list(): Promise<Response> {
  const cache = await caches.open(PAGES), known = await cache.keys();
  const items = await Promise.all(known.map(async (r) => {
    const text = (await (await cache.match(r))?.text()) ?? "", title = /<title>([^<]*)<\/title>/.exec(text)?.[1] ?? "a flight";
    return `<li><a href="${new URL(r.url).pathname}${new URL(r.url).search.replaceAll("&", "&amp;").replaceAll('"', "%22")}">${title}</a></li>`;
  }));
  const body = `<!doctype html><html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width"><title>Cockpit</title>
<h1>No network, and this flight is not kept here</h1>${items.length ? `<p>Kept on this device:</p><ul>${items.join("")}</ul>` : "<p>None is kept on this device.</p>"}<p>Paper is the master.</p></html>`;
  return new Response(body, { status: 503, headers: { "content-type": "text/html; charset=utf-8", "content-security-policy": "default-src 'none'" } });
}

// What carries its mark never changes; anything else is asked for anew, and taken from here where nobody answers.
async function file(request: Request, url: URL): Promise<Response> {
  const cache = await caches.open(FILES), kept = await cache.match(request);
  if (kept && (url.search || url.pathname.endsWith(".woff2"))) return kept;
  try { return await fetch(request); } catch (error) {
    if (kept) return kept;
    throw error;
  }
}

// A page asks to be kept, with its files: all of it or the copy from before.
worker.addEventListener("message", (e) => {
  const { keep, files } = e.data as { keep: string; files: string[] }, port = e.ports[0];
  e.waitUntil(keepAll(keep, files).then((at) => port?.postMessage({ at, version: (worker as unknown as { VERSION?: string }).VERSION ?? "" })));
});
async function keepAll(address: string, files: string[]): Promise<number | null> {
  const pages = await caches.open(PAGES), name = key(address);
  try {
    if (new URL(address).origin !== worker.location.origin) return null;
    const store = await caches.open(FILES);
    await Promise.all(files.map(async (f) => { if (!(f.includes("?") && await store.match(f))) await store.add(f); }));
    const fresh = await fetch(name, { cache: "no-store" }), text = await fresh.text();
    if (!fresh.ok || !text.includes('id="plan"')) throw new Error("no flight");
    const headers = new Headers(fresh.headers);
    headers.set(AT, String(Date.now()));
    headers.delete("set-cookie");
    await pages.delete(name);
    await pages.put(name, new Response(text, { headers }));
    for (const old of (await pages.keys()).slice(0, -MOST_PAGES)) await pages.delete(old);
  } catch { /* the copy from before, if there is one, stays */ }
  const kept = await pages.match(name);
  return kept ? Number(kept.headers.get(AT)) : null;
}
