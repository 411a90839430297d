// What is kept on the device until the shop has it: one key an item, so that two tabs never overwrite each other.
import { quiet } from "./base.js";

const RETRY = 3000; // ms until the shop is tried again

export const newId = () => {
  const bytes = crypto.getRandomValues(new Uint8Array(16)); // randomUUID asks for a secure context
  return Array.from(bytes, (b) => b.toString(16).padStart(2, "0")).join("");
};

const CLOCK = "lw.clock";

/** Seconds since 1970 by the shop's clock, as far as this device has heard of it; a telephone's own may be wrong. */
export const now = () => Date.now() / 1000 + Number(localStorage.getItem(CLOCK) || 0);

function hear(answer) {
  const told = Date.parse(answer.headers.get("date") ?? "") / 1000;
  const off = told - Date.now() / 1000;
  if (Number.isFinite(off)) localStorage.setItem(CLOCK, Math.abs(off) > 3 ? String(Math.round(off)) : "0");
}

/**
 * Items wait under `prefix` in the order in which they were kept, and are handed over by `hand(items)`, which gives the
 * shop's answer. `root` is the id of the element that names its person; `refused(item, problem)` tells of what the shop
 * will never take, `sent(items)` of those that wait no more.
 */
export function outbox({ prefix, hand, root, most = 100, refused, sent }) {
  const { person } = document.getElementById(root).dataset;
  let sending = false;
  let again = null;
  let count = 0;
  let gone = 0; // items that left; a page drawn before one left does not show it yet

  const keys = () => Object.keys(localStorage).filter((key) => key.startsWith(prefix)).sort();
  const waiting = () => keys().map((key) => [key, JSON.parse(localStorage.getItem(key))]);

  function keep(item) {
    const order = `${String(Date.now()).padStart(15, "0")}${String(count++).padStart(6, "0")}`;
    localStorage.setItem(`${prefix}${order}.${item.id ?? item.key}`, JSON.stringify(item));
    quiet("saving");
    return send();
  }

  async function send() {
    if (sending) return;
    const batch = waiting().slice(0, most);
    if (!batch.length) return;
    sending = true;
    clearTimeout(again);
    try {
      await deliver(batch);
    } catch (error) {
      quiet(error.message === "signin" || error.message === "refused" ? error.message : "offline");
      again = setTimeout(send, RETRY);
      return;
    } finally {
      sending = false;
    }
    sent(batch.map(([, item]) => item));
    if (keys().length) await send();
  }

  async function deliver(batch) {
    const answer = await handOver(batch.map(([, item]) => item));
    if (answer.ok) {
      gone += batch.length;
      for (const [key] of batch) localStorage.removeItem(key);
      quiet("saved");
    } else if (batch.length > 1) {
      for (const one of batch) await deliver([one]); // one that the shop refuses must not hold up the others
    } else {
      localStorage.removeItem(batch[0][0]);
      quiet("");
      refused(batch[0][1], await answer.json().catch(() => ({})));
    }
  }

  async function handOver(items, renewed = false) {
    const answer = await hand(items);
    hear(answer);
    if (answer.redirected || answer.status === 401) throw new Error("signin");
    if (answer.status === 403) {
      if (renewed || !(await renewToken())) throw new Error("refused");
      return handOver(items, true);
    }
    if (answer.ok || [404, 413, 422].includes(answer.status)) return answer;
    throw new Error(String(answer.status));
  }

  // After signing in anew in another tab the page's token is an old one; a fresh page has the right one.
  async function renewToken() {
    const answer = await fetch(location.pathname + location.search, { headers: { Accept: "text/html" } });
    if (!answer.ok || answer.redirected) throw new Error("signin");
    const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
    const same = fresh.getElementById(root)?.dataset.person === person;
    const meta = fresh.querySelector('meta[name="csrf"]');
    if (same && meta) document.querySelector('meta[name="csrf"]').content = meta.content;
    return same && Boolean(meta);
  }

  addEventListener("online", send);
  return { keep, send, waiting, gone: () => gone };
}
