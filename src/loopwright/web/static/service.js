// The service of a job: each act is an event that is kept on the device first, then sent; the shop checks and draws, the
// device checks what it can by itself, so that a bay without a connection goes on, and counts the timers.
import { drawnBy, listen, send } from "./base.js";
import { newId, now, outbox } from "./outbox.js";

const root = () => document.getElementById("service");
const { job, person } = root().dataset;
const step = (id) => document.getElementById(`step-${id}`);
const steps = () => [...document.querySelectorAll(".step")];
const say = (name, value) => root().dataset[name].replace("%s", value);

const draw = drawnBy("service", patch, () => events.gone() + movements.gone());
const events = outbox({
  prefix: `lw.out.${person}.${job}.`,
  hand: (entries) => send(`/jobs/${job}/entries`, { entries }),
  root: "service",
  refused,
  sent: draw,
});
const movements = outbox({
  prefix: `lw.move.${person}.${job}.`,
  hand: ([movement]) => send(`/jobs/${job}/service/ledger`, { movement }),
  root: "service",
  most: 1,
  refused: notBooked,
  sent: draw,
});

function act(event) {
  const at = now();
  const id = newId();
  const entry = { id, at: new Date(at * 1000).toISOString(), kind: "service", data: { event: { ...event, at } } };
  const gone = events.keep(entry);
  showPending();
  return gone;
}

// --- records: written down as soon as they are typed

const parts = (record) => {
  const name = `${record.dataset.of}-${record.dataset.record}`;
  return { text: record.querySelector(`[name="${name}"]`), unit: record.querySelector(`[name="u.${name}"]`), name };
};

function valueOf(record) {
  const { text, unit, name } = parts(record);
  if (text?.type === "radio") return record.querySelector(`[name="${name}"]:checked`)?.value ?? "";
  const typed = text?.value.trim() ?? "";
  return typed && unit && /^[-−+]?[\d.,\s]*$/.test(typed) ? `${typed} ${unit.value}` : typed;
}

const written = new Map(); // what each record last wrote down, so that nothing is written twice
function write(record) {
  const value = valueOf(record);
  const { name } = parts(record);
  const before = written.has(name) ? written.get(name) : record.dataset.kept;
  if (!value || value === before) return;
  written.set(name, value);
  delete record.dataset.refused;
  tell(`refusal-${name}`, "");
  act({ event: "noted", step: record.dataset.of, record: record.dataset.record, written: value });
}

const plain = (value) => value.replaceAll("-", "").replaceAll(" ", "").toLowerCase();

function inSi(record, value) {
  const match = /^([-−+]?)([\d.,]+)\s*(.*)$/.exec(value);
  const units = JSON.parse(record.dataset.si);
  if (!match) return null;
  const spelt = match[3].replace(/\s*(absolute|abs|gauge)$/i, "");
  const factor = units[spelt];
  if (factor === undefined) return null;
  const digits = /^\d+,\d+$/.test(match[2]) ? match[2].replace(",", ".") : match[2].replaceAll(",", "");
  const size = Number(digits) * factor * (match[1] && match[1] !== "+" ? -1 : 1);
  const gauge = !/abs(olute)?$/i.test(match[3].trim());
  return Number.isFinite(size) ? size + (gauge ? Number(record.dataset.zero) : 0) : null;
}

/** The rules that a record breaks, as far as the device can tell; what it cannot read the shop will. */
function broken(record) {
  const value = valueOf(record);
  if (!value) return [];
  return JSON.parse(record.dataset.rules).filter((rule) => {
    if (rule.same !== undefined) return plain(value) !== plain(rule.same);
    if (rule.unlike !== undefined) return plain(value).includes(plain(rule.unlike));
    const size = inSi(record, value);
    return size !== null && ((rule.least !== undefined && size < rule.least) || (rule.most !== undefined && size > rule.most));
  });
}

// --- steps

const ENDED = ["done", "deviated"];
const recordsOf = (id) => [...step(id).querySelectorAll(".record")];

function begin(id) {
  act({ event: "started", step: id });
  const now_ = step(id);
  now_.open = true;
  now_.querySelector(".record input, [data-finish]")?.focus();
}

function finish(id) {
  const records = recordsOf(id);
  records.forEach(write);
  const against = [];
  let barred = false;
  for (const record of records) {
    if (!valueOf(record)) against.push(say("missing", record.dataset.label));
    for (const rule of broken(record)) {
      against.push(rule.says);
      barred ||= rule.never;
    }
  }
  const timer = document.getElementById(`timer-${id}`);
  if (timer && left(timer) > 0) against.push(`${timer.querySelector(".timer-says").textContent} ${clock(left(timer))}`);
  if (barred) against.push(root().dataset.barred);
  if (!tell(`refusal-${id}`, ...against)) end(id, { event: "finished", step: id });
}

function deviate(id) {
  const reason = document.getElementById(`reason-${id}`);
  const accept = document.getElementById(`accept-${id}`);
  recordsOf(id).forEach(write);
  const against = [];
  const never = recordsOf(id).flatMap(broken).filter((rule) => rule.never);
  if (never.length) against.push(...never.map((rule) => rule.says), root().dataset.barred);
  if (reason.value.trim().length < reason.minLength) against.push(root().dataset.reasonShort);
  if (accept && !accept.checked) against.push(root().dataset.acceptFirst);
  if (tell(`refusal-${id}`, ...against)) return;
  end(id, { event: "deviated", step: id, reason: reason.value.trim(), accepts: accept?.value ?? "" });
  reason.value = "";
}

function end(id, event) {
  act(event);
  step(id).open = false;
  const next = steps().find((one) => one.dataset.status === "open") ?? steps().find((one) => one.dataset.status === "ready");
  if (!next) return;
  next.open = true;
  next.querySelector("summary").focus({ preventScroll: true });
  next.scrollIntoView({ block: "start" });
}

/** Put sentences into a place made for them; how many there were. */
function tell(id, ...sentences) {
  const place = document.getElementById(id);
  const said = sentences.filter(Boolean);
  if (place) place.textContent = said.join(" ");
  return said.length;
}

// --- what the shop refuses

const sentences = (problem) =>
  (problem.problems ?? []).map((one) => `${one.says}${one.allowed ? ` (${one.allowed})` : ""}`).join(" ") || problem.detail || "";

function refused(entry, problem) {
  const event = entry.data?.event ?? {};
  const says = say("refused", sentences(problem));
  if (event.event === "opened") {
    document.getElementById("opening").hidden = false;
    document.getElementById("opened-pending").hidden = true;
    tell("refusal-opening", says);
  } else if (event.event === "noted") {
    const record = document.querySelector(`[data-of="${event.step}"][data-record="${event.record}"]`);
    if (record) record.dataset.refused = "1";
    written.delete(`${event.step}-${event.record}`);
    tell(`refusal-${event.step}-${event.record}`, says);
    if (step(event.step)) step(event.step).open = true;
  } else if (event.step && step(event.step)) {
    tell(`refusal-${event.step}`, says);
    step(event.step).open = true;
  } else {
    tell("refusals", says);
  }
  draw();
}

function notBooked(item, problem) {
  const form = document.getElementById(`book-${item.step}`);
  tell(`refusal-book-${item.step}`, say("refused", sentences(problem)));
  if (!form) return;
  if ((problem.problems ?? []).some((one) => one.field === "deviation")) form.querySelector(".needs-deviation").hidden = false;
  for (const name of ["source", "target", "mass", "limit", "deviation"]) if (form.elements[name]) form.elements[name].value = item[name];
  form.dataset.dirty = "1";
}

// --- what waits on the device is shown as if the shop had it

function showPending() {
  for (const one of steps()) delete one.dataset.pending;
  for (const [, entry] of events.waiting()) if (entry.kind === "service") pretend(entry.data.event);
  for (const one of steps()) {
    if (!["waiting", "ready"].includes(one.dataset.status)) continue;
    const after = one.dataset.after.split(" ").filter(Boolean);
    one.dataset.status = after.every((id) => ENDED.includes(step(id)?.dataset.status)) ? "ready" : "waiting";
  }
  const booking = new Set(movements.waiting().map(([, item]) => item.step));
  for (const form of document.querySelectorAll("form.movement")) {
    const waits = booking.has(form.dataset.book);
    const place = form.querySelector("p.refusal");
    form.querySelector(".acts button").disabled = waits;
    if (waits) place.textContent = root().dataset.pending;
    else if (place.textContent === root().dataset.pending) place.textContent = "";
  }
  tick();
}

function pretend(event) {
  if (event.event === "opened" && document.getElementById("opening")) {
    document.getElementById("opening").hidden = true;
    document.getElementById("opened-pending").hidden = false;
  }
  const one = event.step && step(event.step);
  if (!one) return;
  const reason = event.event === "deviated" ? event.reason : "";
  one.dataset.pending = root().dataset.pending;
  const timer = document.getElementById(`timer-${event.step}`);
  if (event.event === "started") {
    one.dataset.status = "open";
    if (timer) timer.dataset.since = timer.dataset.from ? "" : event.at;
    for (const other of restingOn(event.step)) step(other).dataset.status = "waiting";
  } else if (event.event === "noted") {
    const record = one.querySelector(`[data-record="${event.record}"]`);
    if (record) showTyped(record, event.written);
    if (timer?.dataset.from === event.record) timer.dataset.since = event.at;
  } else {
    one.dataset.status = event.event === "finished" ? "done" : "deviated";
  }
  one.querySelector(".stage-result").textContent = reason || recordsOf(event.step).map(valueOf).filter(Boolean).join(" · ");
}

function restingOn(id) {
  const found = [];
  for (const one of steps()) {
    const after = one.dataset.after.split(" ");
    if (after.includes(id) || after.some((other) => found.includes(other))) found.push(one.dataset.step);
  }
  return found;
}

function showTyped(record, value) {
  const { text, unit, name } = parts(record);
  if (!text || text === document.activeElement) return;
  written.set(name, value);
  if (text.type === "radio") {
    for (const one of record.querySelectorAll(`[name="${name}"]`)) one.checked = one.value === value;
    return;
  }
  const own = unit && [...unit.options].map((one) => one.value).find((one) => value.endsWith(` ${one}`));
  if (own) unit.value = own;
  text.value = own ? value.slice(0, -own.length - 1) : value;
}

// --- timers: by the wall's clock, so that they run on through a reload and a dead telephone

const left = (timer) => {
  const since = Number(timer.dataset.since);
  const seconds = Number(timer.dataset.seconds);
  return timer.dataset.since ? Math.max(0, Math.ceil(seconds - (now() - since))) : seconds;
};
const clock = (seconds) => `${Math.floor(seconds / 60)}:${String(seconds % 60).padStart(2, "0")}`;

function tick() {
  for (const timer of document.querySelectorAll(".timer")) {
    const over = left(timer) === 0;
    const text = over ? `✓ ${timer.dataset.over}` : clock(left(timer));
    const shown = timer.querySelector(".clock");
    if (shown.textContent !== text) shown.textContent = text;
    timer.classList.toggle("runs", Boolean(timer.dataset.since) && !over);
    timer.classList.toggle("over", over);
  }
}
setInterval(tick, 1000);

// --- the page: drawn by the shop, patched here

const KEPT = ".refusal, .refusals"; // what the device itself says
function patch(fresh) {
  Idiomorph.morph(root(), fresh, {
    ignoreActiveValue: true,
    callbacks: {
      beforeAttributeUpdated: (name, node) => !(name === "open" && node.tagName === "DETAILS"),
      beforeNodeMorphed: (node) => !(node.matches && (node.matches(KEPT) || isTyped(node))),
    },
  });
  written.clear();
  showPending();
}

/** Whether a node holds what a person typed and has not sent. */
const isTyped = (node) =>
  (/^(reason|accept)-/.test(node.id) && (node.value || node.checked)) ||
  (node.matches("form.movement") && node.dataset.dirty) ||
  (node.matches(".record") && (node.dataset.refused || node.contains(document.activeElement)));

// --- what a person does

document.addEventListener("click", (event) => {
  const { begin: b, finish: f, deviate: d } = event.target.closest("button")?.dataset ?? {};
  if (b) begin(b);
  if (f) finish(f);
  if (d) deviate(d);
});

document.addEventListener("change", (event) => {
  const record = event.target.closest(".record");
  if (record) write(record);
});

document.addEventListener("input", (event) => {
  const form = event.target.closest("form.movement");
  if (form) form.dataset.dirty = "1";
});

document.addEventListener("submit", (event) => {
  const form = event.target;
  event.preventDefault();
  delete form.dataset.sent; // each is a message of its own
  const values = Object.fromEntries([...new FormData(form)].map(([name, value]) => [name, String(value).trim()]));
  if (form.id === "opening") open(values);
  if (form.dataset.book) bookIt(form, values);
});

function open(values) {
  tell("refusal-opening", "");
  const charge = /^[\d.,]+$/.test(values.charge) ? `${values.charge} g` : values.charge;
  act({ event: "opened", written: { ...values, charge } });
}

function bookIt(form, values) {
  tell(`refusal-book-${form.dataset.book}`, "");
  delete form.dataset.dirty;
  const at = new Date(now() * 1000).toISOString();
  movements.keep({ ...values, deviation: values.deviation ?? "", limit: values.limit ?? "", key: newId(), at, step: form.dataset.book });
  showPending();
}

listen(`/jobs/${job}/live`, { changed: draw, missed: draw, open: () => { events.send(); movements.send(); } });
addEventListener("pageshow", () => {
  showPending();
  events.send();
  movements.send();
});
