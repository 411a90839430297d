// The page of a job: what is typed goes to an outbox on the device first, then to the shop; the page is drawn by the
// shop and patched in place. Nothing typed is lost by a reload, a dead battery or a cut connection.
import { drawnBy, listen, quiet, send } from "./base.js";
import { newId, now, outbox } from "./outbox.js";
import { dropPhotos, keepPhoto, photoOf, photosOf } from "./photos.js";

const page = () => document.getElementById("job");
const { job, person } = page().dataset;
const prefix = `lw.out.${person}.${job}.`; // what one person typed is never sent as another's
const drafts = `lw.draft.${person}.${job}.`; // by field: typed, but not yet an entry
const PAUSE = 600; // ms without a key until a number counts as typed

const draw = drawnBy("job", patch, () => box.gone() + photos.gone());

// --- the outbox

const box = outbox({
  prefix,
  hand: (entries) => send(`/jobs/${job}/entries`, { entries }),
  root: "job",
  refused,
  sent: draw,
});
const { waiting } = box;
const stamp = () => ({ id: newId(), at: new Date(now() * 1000).toISOString() });
const keep = (kind, data) => box.keep({ ...stamp(), kind, data });

const quietLine = document.getElementById("quiet");
function refused(entry, problem) {
  const [first] = problem.problems || [];
  quiet("refused");
  const why = first ? first.says : problem.detail;
  quietLine.textContent = [entry.data.value || entry.data.text, why].filter(Boolean).join(": ");
}

// --- the page: drawn by the shop, patched here; what waits in the outbox is shown as typed

function patch(fresh) {
  Idiomorph.morph(page(), fresh, {
    ignoreActiveValue: true,
    callbacks: {
      beforeAttributeUpdated: (name, node) => !(name === "open" && node.tagName === "DETAILS"),
      beforeNodeMorphed: (node) => !(["note", "photo", "photos-waiting"].includes(node.id)),
    },
  });
  for (const field of [...sent.keys()]) if (!isActive(field)) sent.delete(field); // the page says again what is kept
  showUnits();
  showWaiting();
}

const isActive = (field) => document.activeElement?.dataset?.field === field;

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
  localStorage.removeItem(drafts + field);
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
  if (control.id === "note") localStorage.setItem(`${drafts}note`, control.value);
  if (!control.dataset?.field || control.type === "radio" || control.tagName === "SELECT") return;
  localStorage.setItem(drafts + control.dataset.field, typed(control));
  clearTimeout(pause);
  pause = setTimeout(() => write(control), PAUSE);
});

/** What was being typed when the page died becomes an entry; an unfinished note stands in its place again. */
function takeUpDrafts() {
  for (const key of Object.keys(localStorage).filter((one) => one.startsWith(drafts))) {
    const field = key.slice(drafts.length);
    const value = localStorage.getItem(key);
    if (field === "note") document.getElementById("note").value = value;
    else {
      localStorage.removeItem(key);
      keep("wrote", { field, value });
    }
  }
}

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
    addPhoto(control);
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

// The unit last chosen for a quantity stays on this device, for every field of it that is still blank.
const unitKey = (button) => `lw.unit.${button.dataset.units.split("|").sort().join("|")}`;

function turnUnit(button) {
  const units = button.dataset.units.split("|");
  const control = document.getElementById(`f-${button.dataset.unitOf}`);
  const unit = units[(units.indexOf(control.dataset.unit) + 1) % units.length];
  localStorage.setItem(unitKey(button), unit);
  showUnit(button, control, unit);
  showUnits();
  if (control.value.trim()) write(control);
}

function showUnit(button, control, unit) {
  const label = button.getAttribute("aria-label");
  const at = label.lastIndexOf(control.dataset.unit);
  button.setAttribute("aria-label", label.slice(0, at) + unit + label.slice(at + control.dataset.unit.length));
  control.dataset.unit = unit;
  button.textContent = unit;
}

function showUnits() {
  for (const button of document.querySelectorAll("button[data-unit-of]")) {
    const control = document.getElementById(`f-${button.dataset.unitOf}`);
    const unit = localStorage.getItem(unitKey(button));
    if (unit && unit !== control.dataset.unit && !control.value && !control.defaultValue) showUnit(button, control, unit);
  }
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
  localStorage.removeItem(`${drafts}note`);
}

// --- photographs: each an item of an outbox of its own, its picture in the browser's database

const album = `lw.photo.${person}.${job}.`;
const photos = outbox({ prefix: album, hand: handPhoto, root: "job", most: 1, refused: photoRefused, sent: photosGone });

async function addPhoto(control) {
  const file = control.files[0];
  if (!file) return;
  const item = stamp();
  await keepPhoto({ ...item, box: album, blob: await smaller(file) });
  control.value = "";
  const gone = photos.keep(item);
  await showPhotos();
  await gone;
}

async function handPhoto([{ id, at }]) {
  const photo = await photoOf(album, id);
  if (!photo) return new Response("{}", { status: 404 }); // the device forgot it
  return send(`/jobs/${job}/photos?${new URLSearchParams({ id, at })}`, photo.blob, { seconds: 60 });
}

function photoRefused(_, problem) {
  refused({ data: {} }, { detail: document.getElementById("photo").dataset.notSent, ...problem });
}

async function photosGone(items) {
  await dropPhotos(items.map(({ id }) => id));
  await draw();
  await showPhotos();
}

/** Pictures that wait stand beside those that the shop has. */
async function showPhotos() {
  const place = document.getElementById("photos-waiting");
  const waits = await photosOf(album);
  for (const shown of [...place.children]) if (!waits.some(({ id }) => id === shown.dataset.id)) shown.remove();
  for (const { id, blob } of waits) if (!place.querySelector(`[data-id="${id}"]`)) place.append(figure(id, blob));
}

function figure(id, blob) {
  const shown = document.getElementById("photo-waits").content.firstElementChild.cloneNode(true);
  const picture = shown.querySelector("img");
  shown.dataset.id = id;
  picture.src = URL.createObjectURL(blob);
  picture.onload = picture.onerror = () => URL.revokeObjectURL(picture.src);
  return shown;
}

/** What was kept when the page died between the picture and its item, or between its sending and its end, goes now. */
async function takeUpPhotos() {
  const known = new Set(photos.waiting().map(([, item]) => item.id));
  for (const { id, at } of await photosOf(album)) if (!known.has(id)) photos.keep({ id, at });
  await showPhotos();
  photos.send();
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

// From what the page has seen on: a judgement that came while it was on its way is not missed.
listen(`/jobs/${job}/live?after=${encodeURIComponent(page().dataset.seen)}`, {
  changed: draw,
  missed: draw,
  open: () => {
    if (quietLine.dataset.now === "offline") quiet("");
    box.send();
    photos.send();
  },
  error: () => navigator.onLine || quiet("offline"),
});
window.addEventListener("pagehide", () => {
  clearTimeout(pause);
  if (document.activeElement?.dataset?.field && document.activeElement.type === "text") write(document.activeElement);
});
window.addEventListener("pageshow", () => {
  takeUpDrafts();
  showUnits();
  showWaiting();
  box.send();
  takeUpPhotos();
});
