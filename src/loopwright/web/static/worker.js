// Between the pages and the network, where browsers allow it (this machine, or TLS): static files from the device, pages
// from the shop and, while it cannot be reached, as they were last seen. A page that is open already is not drawn anew from
// what was last seen: it knows more. VERSION and FILES stand above, from the shop.
const STATIC = `static-${VERSION}`;
const PAGES = "pages";
const MOST = 80; // pages and pictures kept; the one seen longest ago goes first
const PATIENCE = 8000; // ms until a page that was seen before is shown as it was
const KEPT = [/^\/$/, /^\/jobs(\/|$)/, /^\/photos\//, /^\/vehicles(\/|$)/, /^\/calculators(\/|$)/];
const NEVER = [/\/live$/, /\.pdf$/];

addEventListener("install", (event) => event.waitUntil(prepare()));
addEventListener("activate", (event) => event.waitUntil(takeOver()));
addEventListener("message", (event) => event.data === "claim" && event.waitUntil(clients.claim()));
addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (url.origin !== location.origin) return;
  if (whoseChanges(request, url)) event.waitUntil(forget());
  if (request.method !== "GET") return;
  if (url.pathname.startsWith("/static/")) event.respondWith(fromDevice(request, url));
  else if (request.mode === "navigate" || isKept(url)) event.respondWith(fromShop(event, request, url));
});

async function prepare() {
  const files = await caches.open(STATIC);
  await files.addAll([...FILES, "/offline"]);
  await skipWaiting();
}

async function takeOver() {
  const old = (await caches.keys()).filter((name) => name !== STATIC && name !== PAGES);
  await Promise.all(old.map((name) => caches.delete(name)));
  await clients.claim();
}

/** Whoever signs in or out leaves no pages to the next person at this device. */
function whoseChanges(request, url) {
  const door = url.pathname === "/login" || url.pathname === "/logout" || url.pathname.startsWith("/join/");
  return door && (request.method === "POST" || request.mode === "navigate");
}

let epoch = 0; // pages that were asked for before the person changed are not kept after it
function forget() {
  epoch += 1;
  return caches.delete(PAGES);
}

const isKept = (url) => KEPT.some((kept) => kept.test(url.pathname)) && !NEVER.some((never) => never.test(url.pathname));

async function fromDevice(request, url) {
  const name = url.pathname.split("/").slice(3).join("/");
  const files = await caches.open(STATIC);
  const found = await files.match(`/static/${VERSION}/${name}`, { ignoreVary: true });
  return found || fetch(request);
}

async function fromShop(event, request, url) {
  const kept = isKept(url);
  const before = epoch;
  const answer = fetch(request).then((fresh) => {
    if (kept && fresh.ok && !fresh.redirected && before === epoch) event.waitUntil(keep(url, fresh.clone(), before));
    return fresh;
  });
  event.waitUntil(answer.catch(() => null)); // a late answer is still kept for the next time
  const loaded = request.destination !== ""; // a page or a picture that the browser loads, nothing that a script fetches
  const last = () => (kept && loaded ? caches.open(PAGES).then((pages) => pages.match(url.href, { ignoreVary: true })) : null);
  try {
    const slow = request.mode === "navigate" ? later(PATIENCE).then(last) : new Promise(() => {});
    return (await Promise.race([answer, slow])) || (await answer);
  } catch (error) {
    const found = (await last()) || (request.mode === "navigate" && (await caches.match("/offline", { ignoreVary: true })));
    if (found) return found;
    throw error;
  }
}

async function keep(url, answer, before) {
  const pages = await caches.open(PAGES);
  await pages.delete(url.href, { ignoreVary: true }); // so that the newest stands last
  await pages.put(url.href, answer);
  const all = await pages.keys();
  await Promise.all(all.slice(0, Math.max(0, all.length - MOST)).map((one) => pages.delete(one, { ignoreVary: true })));
  if (before !== epoch) await caches.delete(PAGES);
}

const later = (ms) => new Promise((done) => setTimeout(done, ms));
