// What every page shares: sending with the page's token, changing the page in place, listening to what others change.

const meta = (name) => document.querySelector(`meta[name="${name}"]`)?.content ?? "";
const quietLine = () => document.getElementById("quiet");
let quietTimer = 0;

/** Say quietly what the page is doing: "saving", "saved", "offline", "refused"; "" says nothing. */
export function quiet(now) {
  const line = quietLine();
  if (!line) return;
  clearTimeout(quietTimer);
  line.dataset.now = now;
  line.textContent = now ? line.dataset[now] ?? "" : "";
  if (now === "saved") quietTimer = setTimeout(() => quiet(""), 2500);
}

/** Send JSON, or a file, with the page's token; gives the response, or throws without a connection within `seconds`. */
export async function send(url, body, { method = "POST", seconds = 15 } = {}) {
  const file = body instanceof Blob;
  const type = file ? body.type || "application/octet-stream" : "application/json";
  return fetch(url, {
    method,
    body: file ? body : JSON.stringify(body),
    headers: { "Content-Type": type, "X-CSRF-Token": meta("csrf"), Accept: "application/json" },
    credentials: "same-origin",
    signal: AbortSignal.timeout(seconds * 1000),
  });
}

/** Bring `target` (an element) to what `html` says, keeping focus and what is being typed. */
export function patch(target, html) {
  window.Idiomorph.morph(target, html, {
    morphStyle: "outerHTML",
    ignoreActiveValue: true,
    restoreFocus: true,
  });
}

/**
 * How a page is drawn anew: the shop's element `id` is given to `patch`. Two at once become one after the other; one that
 * was on its way while something left the device (`gone` counts what left) may not show it yet, and is asked for again.
 */
export function drawnBy(id, patch, gone) {
  let drawing = false;
  let wanted = false;
  return async function draw() {
    wanted = true;
    if (drawing) return;
    drawing = true;
    while (wanted) {
      wanted = false;
      const before = gone();
      try {
        const answer = await fetch(location.pathname + location.search, { headers: { Accept: "text/html" } });
        const text = answer.ok && !answer.redirected ? await answer.text() : "";
        if (answer.redirected) quiet("signin");
        const fresh = new DOMParser().parseFromString(text, "text/html").getElementById(id);
        if (before !== gone()) wanted = true;
        else if (fresh) patch(fresh);
      } catch {
        // No connection: the page stays as it is, and the outbox says so.
      }
    }
    drawing = false;
  };
}

/** Listen to a stream of events; `on.changed(data)` for each, `on.missed()` when some were lost. Returns how to stop. */
export function listen(url, on) {
  let source = null;
  const open = () => {
    if (source && source.readyState !== EventSource.CLOSED) return;
    source = new EventSource(url);
    source.addEventListener("changed", (event) => on.changed?.(JSON.parse(event.data)));
    source.addEventListener("missed", () => on.missed?.());
    source.addEventListener("open", () => on.open?.());
    source.addEventListener("error", () => {
      on.error?.();
      if (source.readyState === EventSource.CLOSED) setTimeout(open, 5000);
    });
  };
  // A page in the background needs no line; a telephone that wakes gets a new one at once.
  const seen = () => {
    if (document.hidden) { source?.close(); return; }
    if (!source || source.readyState === EventSource.CLOSED) { open(); on.missed?.(); }
  };
  document.addEventListener("visibilitychange", seen);
  if (!document.hidden) open();
  return () => { document.removeEventListener("visibilitychange", seen); source?.close(); };
}

addEventListener("offline", () => quiet("offline"));
addEventListener("online", () => quiet(""));

document.getElementById("problems")?.focus();

// A form is sent once, however often it is tapped.
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.dataset.sent) { event.preventDefault(); return; }
  form.dataset.sent = "1";
});
addEventListener("pageshow", () => document.querySelectorAll("form[data-sent]").forEach((form) => delete form.dataset.sent));

// The menu closes by Escape, and when something else is tapped.
const menu = document.querySelector("details.menu");
const closeMenu = (event) => {
  if (!menu?.open || (event.type === "keydown" ? event.key !== "Escape" : menu.contains(event.target))) return;
  menu.open = false;
  if (event.type === "keydown") menu.querySelector("summary").focus();
};
document.addEventListener("keydown", closeMenu);
document.addEventListener("click", closeMenu);

// Buttons that copy the text of another element.
document.addEventListener("click", async (event) => {
  const button = event.target.closest("button[data-copy]");
  if (!button) return;
  const text = document.getElementById(button.dataset.copy)?.textContent ?? "";
  try { await navigator.clipboard.writeText(text.trim()); button.textContent = button.dataset.copied; }
  catch { getSelection()?.selectAllChildren(document.getElementById(button.dataset.copy)); }
});
