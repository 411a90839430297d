// The page of a job: what is typed goes to an outbox on the device first, then to the shop; the page is drawn by the
// shop and patched in place. Nothing typed is lost by a reload, a dead battery or a cut connection.
import { listen, quiet, send as post } from "./base.js";

const page = () => document.getElementById("job");
const job = page().dataset.job;
const prefix = `lw.out.${job}.`;
const RETRY = 3000; // ms until the shop is tried again
const PAUSE = 600; // ms without a key until a number counts as typed
let sending = false;
let again = null;

// --- the outbox: one key an entry, so that two tabs never overwrite each other

const waiting = () =>
  Object.keys(localStorage)
    .filter((key) => key.startsWith(prefix))
    .sort()
    .map((key) => [key, JSON.parse(localStorage.getItem(key))]);

const newId = () => {
  const bytes = crypto.getRandomValues(new Uint8Array(16)); // randomUUID asks for a secure context
  return Array.from(bytes, (b) => b.toString(16).padStart(2, "0")).join("");
};

let count = 0;
function keep(kind, data) {
  const entry = { id: newId(), at: new Date().toISOString(), kind, data };
  const order = `${String(Date.now()).padStart(15, "0")}${String(count++).padStart(6, "0")}`;
  localStorage.setItem(prefix + order, JSON.stringify(entry));
  quiet("saving");
  send();
}

async function send() {
  if (sending) return;
  const batch = waiting().slice(0, 100);
  if (!batch.length) return;
  sending = true;
  clearTimeout(again);
  try {
    const answer = await post(`/jobs/${job}/entries`, { entries: batch.map(([, entry]) => entry) });
    if (answer.ok) {
      batch.forEach(([key]) => localStorage.removeItem(key));
      quiet("saved");
      draw();
    } else if (answer.status === 422 && batch.length > 1) {
      await oneByOne(batch); // one that the shop refuses must not hold up the others
    } else if (answer.status === 422 || answer.status === 404) {
      const problem = await answer.json().catch(() => ({}));
      localStorage.removeItem(batch[0][0]);
      refused(batch[0][1], problem);
    } else {
      throw new Error(String(answer.status));
    }
  } catch {
    quiet("offline");
    again = setTimeout(send, RETRY);
    sending = false;
    return;
  }
  sending = false;
  if (waiting().length) send();
}

async function oneByOne(batch) {
  for (const [key, entry] of batch) {
    const answer = await post(`/jobs/${job}/entries`, { entries: [entry] });
    if (!answer.ok && answer.status !== 422) throw new Error(String(answer.status));
    localStorage.removeItem(key);
    if (!answer.ok) refused(entry, await answer.json().catch(() => ({})));
  }
  draw();
}

const token = () => document.querySelector('meta[name="csrf"]').content;

const quietLine = document.getElementById("quiet");
function refused(entry, problem) {
  const [first] = problem.problems || [];
  quiet("refused");
  quietLine.textContent = `${entry.data.value || entry.data.text || ""}: ${first ? first.says : problem.detail || ""}`;
}

// --- the page: drawn by the shop, patched here; what waits in the outbox is shown as typed

let drawing = false;
let wanted = false;
async function draw() {
  if (drawing) {
    wanted = true;
    return;
  }
  drawing = true;
  try {
    const answer = await fetch(location.pathname + location.search, { headers: { Accept: "text/html" } });
    if (answer.ok && !answer.redirected) {
      const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("job");
      if (fresh) patch(fresh);
    }
  } catch {
    // No connection: the page stays as it is, and the outbox says so.
  }
  drawing = false;
  if (wanted) {
    wanted = false;
    draw();
  }
}

function patch(fresh) {
  Idiomorph.morph(page(), fresh, {
    ignoreActiveValue: true,
    callbacks: {
      beforeAttributeUpdated: (name, node) => !(name === "open" && node.tagName === "DETAILS"),
      beforeNodeMorphed: (node) => !(node.id === "note" || node.id === "photo"),
    },
  });
  showWaiting();
}

function showWaiting() {
  for (const [, entry] of waiting()) {
    if (entry.kind === "wrote") showTyped(entry.data.field, entry.data.value);
    if (entry.kind === "did") {
      const box = document.querySelector(`[data-act="${entry.data.act}"]`);
      if (box && entry.data.test === page().dataset.test) box.checked = entry.data.done !== false;
    }
  }
}

function showTyped(field, value) {
  for (const control of document.querySelectorAll(`[data-field="${field}"]`)) {
    if (control === document.activeElement) continue;
    if (control.type === "radio") control.checked = control.value === value;
    else if (control.dataset.unit && value.endsWith(` ${control.dataset.unit}`))
      control.value = value.slice(0, -control.dataset.unit.length - 1);
    else control.value = value;
  }
}

// --- what a person does

const typed = (control) => {
  const text = control.value.trim();
  const bare = /[\d.,]$/.test(text);
  return text && bare && control.dataset.unit ? `${text} ${control.dataset.unit}` : text;
};

const sent = new Map(); // what each field last sent, so that leaving a field unchanged sends nothing
function write(control) {
  const value = control.type === "radio" ? control.value : typed(control);
  const field = control.dataset.field;
  const before = sent.has(field) ? sent.get(field) : control.type === "radio" ? null : typedAtFirst(control);
  if (value === before) return;
  sent.set(field, value);
  keep("wrote", { field, value });
}

function typedAtFirst(control) {
  if (control.tagName === "SELECT") {
    const chosen = control.querySelector("option[selected]");
    return chosen ? chosen.value : "";
  }
  const text = control.defaultValue.trim();
  const bare = /[\d.,]$/.test(text);
  return text && bare && control.dataset.unit ? `${text} ${control.dataset.unit}` : text;
}

let pause = null;
document.addEventListener("input", (event) => {
  const control = event.target;
  if (!control.dataset?.field || control.type === "radio" || control.tagName === "SELECT") return;
  clearTimeout(pause);
  pause = setTimeout(() => write(control), PAUSE);
});

document.addEventListener("change", (event) => {
  const control = event.target;
  if (control.dataset?.field) {
    clearTimeout(pause);
    write(control);
  } else if (control.dataset?.act) {
    keep("did", { act: control.dataset.act, test: page().dataset.test, done: control.checked });
  } else if (control.dataset?.reason) {
    keep("did", { act: control.dataset.reason, test: page().dataset.test, done: true, reason: control.value.trim() });
  } else if ("photo" in (control.dataset || {})) {
    sendPhoto(control);
  }
});

document.addEventListener("keydown", (event) => {
  // Enter goes on to the next field, as on a keypad; it never sends a form.
  if (event.key !== "Enter" || event.target.tagName !== "INPUT" || !event.target.dataset.field) return;
  event.preventDefault();
  const fields = [...document.querySelectorAll("details[open] input[type=text][data-field]")].filter((f) => f.offsetParent);
  const next = fields[fields.indexOf(event.target) + 1];
  if (next) next.focus();
  else event.target.blur();
});

document.addEventListener("click", (event) => {
  const button = event.target.closest("button");
  if (!button) return;
  if (button.dataset.unitOf) turnUnit(button);
  if (button.dataset.onward) onward(button);
  if ("addNote" in button.dataset) addNote();
});

function turnUnit(button) {
  const units = button.dataset.units.split("|");
  const control = document.getElementById(`f-${button.dataset.unitOf}`);
  const unit = units[(units.indexOf(control.dataset.unit) + 1) % units.length];
  control.dataset.unit = unit;
  button.textContent = unit;
  if (control.value.trim()) write(control);
}

function onward(button) {
  const stage = button.closest("details");
  const next = document.getElementById(button.dataset.onward);
  stage.open = false;
  next.open = true;
  next.querySelector("summary").focus();
  next.scrollIntoView({ block: "start" });
}

function addNote() {
  const note = document.getElementById("note");
  if (note.value.trim()) keep("noted", { text: note.value.trim() });
  note.value = "";
}

async function sendPhoto(control) {
  const file = control.files[0];
  if (!file) return;
  try {
    const body = await smaller(file);
    const answer = await fetch(`/jobs/${job}/photos`, {
      method: "POST",
      headers: { "Content-Type": body.type || "application/octet-stream", Accept: "application/json", "X-CSRF-Token": token() },
      body,
    });
    if (!answer.ok) refused({ data: { text: file.name } }, await answer.json().catch(() => ({})));
    control.value = "";
    draw();
  } catch {
    quiet("offline");
  }
}

async function smaller(file) {
  // Twelve megapixels over a bay's Wi-Fi take a minute; two tell as much.
  const picture = await createImageBitmap(file).catch(() => null);
  if (!picture) return file;
  const scale = Math.min(1, 1600 / Math.max(picture.width, picture.height));
  const canvas = document.createElement("canvas");
  canvas.width = Math.round(picture.width * scale);
  canvas.height = Math.round(picture.height * scale);
  canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
  return new Promise((done) => canvas.toBlob((blob) => done(blob || file), "image/jpeg", 0.85));
}

// --- the shop tells when somebody else wrote, or a judgement is ready

listen(`/jobs/${job}/live`, { changed: draw, missed: draw, open: () => waiting().length && send() });
window.addEventListener("online", send);
window.addEventListener("pageshow", () => {
  showWaiting();
  send();
});
