// The formula with its verdict: each change is kept, judged, and shown beside it.

import { Unanswered, ask, away, here, postDraft } from "/static/ask.js";
import { load, others, save } from "/static/carry.js";

// keys that are pressed at once count as one change
const WAIT_MS = 20;
const form = document.getElementById("draft");
const editor = document.getElementById("editor");
const verdict = document.getElementById("verdict");
const said = document.getElementById("said");
const notice = document.getElementById("notice");

// ---- the fields ----

function pairs() {
  return [...new FormData(form)].filter(([name, value]) => typeof value === "string" && !name.startsWith("try-"));
}

function sliders() {
  return [...verdict.querySelectorAll("input[type=range][data-moved]")].map((s) => [s.name, snapped(s)]);
}

const keep = () => save(pairs());

// ---- the verdict ----

let timer = 0;
let underway = false;
let again = false;
let edition = 0;

function changed(wait = WAIT_MS) {
  edition += 1;
  keep();
  clearTimeout(timer);
  timer = setTimeout(judge, wait);
}

// One question at a time: what is typed meanwhile is asked when the answer is there.
async function judge() {
  if (underway) {
    again = true;
    return;
  }
  underway = true;
  verdict.setAttribute("aria-busy", "true");
  try {
    do {
      again = false;
      const answer = await postDraft("/verdict", pairs());
      show(await answer.text());
    } while (again);
    here();
    verdict.classList.remove("stale");
  } catch (error) {
    lost(error);
  } finally {
    underway = false;
    verdict.removeAttribute("aria-busy");
  }
}

function lost(error) {
  if (!(error instanceof Unanswered)) throw error;
  verdict.classList.add("stale");
  tell("The verdict below is of before: the program does not answer.", "");
  away(error.message, () => judge());
}

function tell(text, word) {
  const link = said.firstElementChild;
  if (link.textContent !== text) link.textContent = text;
  said.className = `said-bar ${word}`;
}

function show(text) {
  const open = new Set([...verdict.querySelectorAll("details[open]")].map((d) => d.id));
  const tried = new Map([...verdict.querySelectorAll("input[type=range][data-moved]")].map((s) => [s.name, s.value]));
  const at = document.activeElement;
  const focused = verdict.contains(at) ? at.id || at.closest("details")?.id : null;
  const top = verdict.scrollTop;
  verdict.innerHTML = text;
  for (const id of open) {
    const d = id && document.getElementById(id);
    if (d) d.open = true;
  }
  let moved = false;
  for (const [name, value] of tried) {
    const s = document.getElementById(name);
    if (s && s.type === "range") {
      s.value = value;
      s.dataset.moved = "yes";
      number(s);
      moved = true;
    }
  }
  if (moved) tryOut();
  verdict.scrollTop = top;
  if (focused) (document.getElementById(focused)?.querySelector?.("summary") || document.getElementById(focused))?.focus();
  const told = verdict.querySelector("[data-said]");
  if (told) tell(told.dataset.said, told.dataset.word);
  const whole = document.getElementById("whole-now");
  if (whole) {
    document.getElementById("whole").textContent = whole.textContent;
    for (const rest of editor.querySelectorAll("[data-rest]")) rest.placeholder = whole.dataset.rest;
  }
  mark();
}

// Fields that a message speaks of say so.
function mark() {
  for (const field of editor.querySelectorAll("[aria-invalid]")) {
    field.removeAttribute("aria-invalid");
    field.removeAttribute("aria-describedby");
  }
  for (const fault of verdict.querySelectorAll("[data-field]")) {
    const field = document.getElementById(fault.dataset.field);
    field?.setAttribute("aria-invalid", "true");
    field?.setAttribute("aria-describedby", fault.id);
  }
}

// ---- what if ----

const snapped = (s) => {
  const step = Number(s.dataset.step);
  const now = Number(s.dataset.now);
  const value = Number(s.value);
  return Math.abs(value - now) < step / 2 ? now : Number((Math.round(value / step) * step).toFixed(6));
};

function number(s) {
  verdict.querySelector(`output[for="${s.name}"]`).textContent = `${snapped(s)} ${s.dataset.unit}`.trim();
}

let tries = null;

async function tryOut() {
  tries?.abort();
  tries = new AbortController();
  try {
    const answer = await postDraft("/what-if", [...pairs(), ...sliders()], tries.signal);
    const text = await answer.text();
    const place = document.getElementById("tried");
    const open = place?.querySelector("details")?.open;
    if (place) place.innerHTML = text;
    if (open && place.querySelector("details")) place.querySelector("details").open = true;
  } catch (error) {
    if (error.name !== "AbortError") lost(error);
  }
}

verdict.addEventListener("input", (event) => {
  if (event.target.type !== "range") return;
  event.target.dataset.moved = "yes";
  number(event.target);
  clearTimeout(timer_try);
  timer_try = setTimeout(tryOut, WAIT_MS);
});
let timer_try = 0;

verdict.addEventListener("keydown", (event) => {
  const s = event.target;
  const way = { ArrowUp: 1, ArrowRight: 1, ArrowDown: -1, ArrowLeft: -1, PageUp: 10, PageDown: -10 }[event.key];
  if (s.type !== "range" || !way) return;
  event.preventDefault();
  s.value = snapped(s) + way * Number(s.dataset.step);
  s.dispatchEvent(new Event("input", { bubbles: true }));
});

verdict.addEventListener("click", (event) => {
  if (event.target.closest("[data-back]")) {
    for (const s of verdict.querySelectorAll("input[type=range]")) {
      s.value = s.dataset.now;
      delete s.dataset.moved;
      number(s);
    }
    tryOut();
  }
  const fault = event.target.closest("a[data-field]");
  const field = fault && document.getElementById(fault.dataset.field);
  if (field) {
    event.preventDefault();
    const inside = field.closest("details");
    if (inside) inside.open = true;
    field.scrollIntoView({ block: "center" });
    field.focus();
  }
});

// ---- a check that is opened ----

verdict.addEventListener("toggle", (event) => behind(event.target), true);

async function behind(details) {
  const place = details.open && details.querySelector?.("[data-behind]");
  if (!place || place.dataset.for === String(edition)) return;
  place.dataset.for = String(edition);
  if (!place.firstChild) place.textContent = "One moment: its plot is being drawn.";
  try {
    const answer = await postDraft(`/check/${place.dataset.behind}`, pairs());
    place.innerHTML = await answer.text();
  } catch (error) {
    place.textContent = "";
    lost(error);
  }
}

// ---- the editor ----

function put(text, focus) {
  const open = [...editor.querySelectorAll("details[open]")].map((d) => d.id);
  editor.innerHTML = text;
  for (const id of open) {
    const d = document.getElementById(id);
    if (d) d.open = true;
  }
  mark();
  found(editor.querySelector("[data-focus]")?.dataset.focus || focus)?.focus();
}

// A button by what it does, a line's "more" by its line, any other field by its name.
function found(place) {
  if (!place) return null;
  if (place.startsWith("do:")) return [...editor.querySelectorAll("button")].find((b) => b.value === place.slice(3));
  const named = document.getElementById(place) || editor.querySelector(`[name="${CSS.escape(place)}"]`);
  return named?.querySelector("summary") || named;
}

function placeOf(element) {
  if (!editor.contains(element)) return "";
  return element.name === "do" ? `do:${element.value}` : element.id || element.name || element.closest("details")?.id || "";
}

// Let the program do what a button says; what is typed meanwhile is not lost, since the deed is done again.
async function edit(fields, again = 3) {
  const before = edition;
  try {
    const answer = await postDraft("/editor", fields());
    const text = await answer.text();
    if (edition !== before && again) return edit(fields, again - 1);
    held.clear();
    put(text);
    here();
    changed(0);
  } catch (error) {
    if (error.name !== "AbortError") lost(error);
  }
}

// What a line held before it was told to fill up; a button that moves lines makes the places void.
const held = new Map();

function fills(box) {
  const amount = document.getElementById(box.name.replace(/rest$/, "amount"));
  if (!amount) return;
  if (box.checked) {
    if (amount.value) held.set(amount.id, amount.value);
    amount.value = "";
  } else if (!amount.value && held.has(amount.id)) {
    amount.value = held.get(amount.id);
  }
}

// The lines and parts that hold a blend go by its new name.
function renamed(box) {
  const before = box.defaultValue.trim().toLowerCase();
  const now = box.value.trim();
  if (!before || !now) return;
  for (const other of editor.querySelectorAll("[name$=-ingredient], [name*=-part-][name$=-name]")) {
    if (other.value.trim().toLowerCase() === before) other.value = now;
  }
}

form.addEventListener("input", (event) => {
  const box = event.target;
  if (box.dataset.fills !== undefined) {
    const others = [...editor.querySelectorAll("[data-fills]")].filter((other) => other !== box && other.checked);
    if (box.checked) {
      for (const other of others) {
        other.checked = false;
        fills(other);
      }
    }
    fills(box);
  }
  changed();
});

// A name that is finished may be unknown, or a blend: the editor says so.
form.addEventListener("change", (event) => {
  const name = event.target.name || "";
  if (/^blend-\d+-name$/.test(name)) {
    renamed(event.target);
    changed();
  }
  if (/-(ingredient|name|rest|preservative)$/.test(name)) soon();
});

let soonTimer = 0;
function soon() {
  clearTimeout(soonTimer);
  soonTimer = setTimeout(async () => {
    const before = edition;
    try {
      const answer = await postDraft("/editor", pairs());
      const text = await answer.text();
      const at = document.activeElement;
      if (edition !== before) return soon();
      const place = placeOf(at);
      const caret = [at.selectionStart, at.selectionEnd];
      put(text, place);
      const now = document.activeElement;
      if (place && typeof caret[0] === "number" && now.id === at.id) now.setSelectionRange(...caret);
    } catch (error) {
      if (error.name !== "AbortError") lost(error);
    }
  }, 150);
}

document.addEventListener("submit", (event) => {
  const button = event.submitter;
  if (event.target === form && !button?.hasAttribute("data-save")) {
    event.preventDefault();
    if (!button || button.value === "review" || button.value === "try") {
      changed(0);
      if (button?.classList.contains("main")) verdict.scrollIntoView({ block: "start" });
      return;
    }
    if (["example", "new"].includes(button.value) && !mayReplace()) return;
    notice.replaceChildren();
    const before = pairs();
    const done = edit(() => [...pairs(), ["do", button.value]]);
    if (button.value.startsWith("remove ")) done.then(() => offerBack(button.getAttribute("aria-label") || button.textContent, before));
  } else if (event.target.id === "open") {
    event.preventDefault();
    openFiles(document.getElementById("files").files);
  }
});

// What was taken out can be had back, until the next change of this kind.
function offerBack(what, before) {
  const said = document.createElement("p");
  said.className = "notice";
  said.setAttribute("role", "status");
  said.append(`Done: ${what.charAt(0).toLowerCase()}${what.slice(1)}. `);
  const button = document.createElement("button");
  button.type = "button";
  button.textContent = "Undo: put it back";
  button.addEventListener("click", () => {
    notice.replaceChildren();
    edit(() => before).then(() => document.getElementById("product-name")?.focus());
  });
  said.append(button);
  notice.replaceChildren(said);
  if (document.activeElement === document.body) button.focus();
}

// What stands in an empty formula does not count as typed.
function typed(fields) {
  return fields.filter(([k, v]) => v.trim() && k !== "amounts" && v !== "Aqua" && !/(_unit|-kind|-rest|^phase-\d+-name)$/.test(k));
}

function mayReplace() {
  return !typed(pairs()).length || confirm("This replaces the formula on this page. Go on?");
}

// ---- files ----

async function openFiles(list) {
  if (!list?.length || !mayReplace()) return;
  const body = new FormData();
  for (const file of list) body.append("files", file);
  try {
    const answer = await ask("/open", body);
    const text = await answer.text();
    if (!answer.headers.get("content-type")?.startsWith("text/html")) {
      notice.textContent = text;
    } else if (answer.status !== 200) {
      notice.innerHTML = text;
      notice.firstElementChild?.focus();
    } else {
      notice.replaceChildren();
      put(text, "product-name");
      const found = editor.querySelector(".notice");
      if (found) notice.append(found);
      changed(0);
    }
    here();
  } catch (error) {
    lost(error);
  }
  document.getElementById("files").value = "";
}

document.getElementById("files").addEventListener("change", (event) => openFiles(event.target.files));
document.addEventListener("dragover", (event) => {
  if (![...event.dataTransfer.types].includes("Files")) return;
  event.preventDefault();
  document.body.classList.add("dropping");
});
document.addEventListener("dragleave", (event) => {
  if (!event.relatedTarget) document.body.classList.remove("dropping");
});
document.addEventListener("drop", (event) => {
  document.body.classList.remove("dropping");
  if (!event.dataTransfer.files.length) return;
  event.preventDefault();
  openFiles(event.dataTransfer.files);
});

// ---- start ----

document.addEventListener("leaving", keep);

const mine = load();
if (mine) {
  edit(() => mine);
} else {
  const kept = others().filter((o) => typed(o.pairs).length).slice(0, 5);
  const place = document.getElementById("kept");
  if (kept.length) {
    place.hidden = false;
    place.append("Typed here before: ");
    for (const old of kept) {
      const button = document.createElement("button");
      button.type = "button";
      button.textContent = `Go on with ${old.name || `the formula without a name of ${new Date(old.saved).toLocaleString()}`}`;
      button.addEventListener("click", () => {
        place.hidden = true;
        edit(() => old.pairs);
      });
      place.append(button, " ");
    }
  }
}
document.documentElement.dataset.ready = "yes";
