// The formula with its verdict: each change is kept, judged, and shown beside it.

import { ask, here, postDraft } from "/static/ask.js";
import { load, others, save } from "/static/keep.js";
import { button, form, keepOpen, lead, lost, mark, place, texts } from "/static/view.js";

// keys that are pressed at once count as one change
const WAIT_MS = 20;
const editor = place("editor");
const verdict = place("verdict");
const said = place("said");
const notice = place("notice");

// ---- the fields ----

const pairs = () => texts().filter(([name]) => !name.startsWith("try-"));
const moved = () => [...verdict.querySelectorAll("input[type=range][data-moved]")];
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
    away(error);
  } finally {
    underway = false;
    verdict.removeAttribute("aria-busy");
  }
}

function away(error) {
  lost(error, [verdict], judge);
  if (error.name !== "AbortError") tell("The verdict below is of before: the program does not answer.", "");
}

function tell(text, word) {
  const link = said.firstElementChild;
  if (link.textContent !== text) link.textContent = text;
  said.className = `said-bar ${word}`;
}

function show(text) {
  const tried = moved().map((s) => [s.name, s.value]);
  const at = document.activeElement;
  const focused = verdict.contains(at) ? at.id || at.closest("details")?.id : null;
  const top = verdict.scrollTop;
  keepOpen(verdict, () => (verdict.innerHTML = text));
  for (const [name, value] of tried) {
    const s = place(name);
    if (s?.type !== "range") continue;
    s.value = value;
    s.dataset.moved = "yes";
    number(s);
  }
  if (moved().length) tryOut();
  verdict.scrollTop = top;
  if (focused) (place(focused)?.querySelector?.("summary") || place(focused))?.focus();
  const told = verdict.querySelector("[data-said]");
  if (told) tell(told.dataset.said, told.dataset.word);
  const whole = place("whole-now");
  if (whole) {
    place("whole").textContent = whole.textContent;
    for (const rest of editor.querySelectorAll("[data-rest]")) rest.placeholder = whole.dataset.rest;
  }
  mark(editor, verdict);
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
    const answer = await postDraft("/what-if", [...pairs(), ...moved().map((s) => [s.name, snapped(s)])], tries.signal);
    const text = await answer.text();
    const tried = place("tried");
    if (tried) keepOpen(tried, () => (tried.innerHTML = text));
  } catch (error) {
    away(error);
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
  if (!event.target.closest("[data-back]")) return;
  for (const s of verdict.querySelectorAll("input[type=range]")) {
    s.value = s.dataset.now;
    delete s.dataset.moved;
    number(s);
  }
  tryOut();
});

lead(verdict);

// ---- a check that is opened ----

verdict.addEventListener("toggle", (event) => behind(event.target), true);

async function behind(details) {
  const shown = details.open && details.querySelector?.("[data-behind]");
  if (!shown || shown.dataset.for === String(edition)) return;
  shown.dataset.for = String(edition);
  if (!shown.firstChild) shown.textContent = "One moment: its plot is being drawn.";
  try {
    const answer = await postDraft(`/check/${shown.dataset.behind}`, pairs());
    shown.innerHTML = await answer.text();
  } catch (error) {
    shown.textContent = "";
    away(error);
  }
}

// ---- the editor ----

function put(text, focus) {
  keepOpen(editor, () => (editor.innerHTML = text));
  mark(editor, verdict);
  found(editor.querySelector("[data-focus]")?.dataset.focus || focus)?.focus();
}

// A button by what it does, a line's "more" by its line, any other field by its name.
function found(at) {
  if (!at) return null;
  if (at.startsWith("do:")) return [...editor.querySelectorAll("button")].find((b) => b.value === at.slice(3));
  const named = place(at) || editor.querySelector(`[name="${CSS.escape(at)}"]`);
  return named?.querySelector("summary") || named;
}

function spotOf(element) {
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
    away(error);
  }
}

// What a line held before it was told to fill up; a button that moves lines makes the places void.
const held = new Map();

function fills(box) {
  const amount = place(box.name.replace(/rest$/, "amount"));
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
      const spot = spotOf(at);
      const caret = [at.selectionStart, at.selectionEnd];
      put(text, spot);
      const now = document.activeElement;
      if (spot && typeof caret[0] === "number" && now.id === at.id) now.setSelectionRange(...caret);
    } catch (error) {
      away(error);
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
    openFiles(place("files").files);
  }
});

// What was taken out can be had back, until the next change of this kind.
function offerBack(what, before) {
  const message = document.createElement("p");
  message.className = "notice";
  message.setAttribute("role", "status");
  const undo = button("Undo: put it back", () => {
    notice.replaceChildren();
    edit(() => before).then(() => place("product-name")?.focus());
  });
  message.append(`Done: ${what.charAt(0).toLowerCase()}${what.slice(1)}. `, undo);
  notice.replaceChildren(message);
  if (document.activeElement === document.body) undo.focus();
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
    away(error);
  }
  place("files").value = "";
}

place("files").addEventListener("change", (event) => openFiles(event.target.files));
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

document.addEventListener("keep", keep);

const mine = load();
if (mine) {
  edit(() => mine);
} else {
  const old = others().filter((entry) => typed(entry.pairs).length).slice(0, 5);
  const kept = place("kept");
  kept.hidden = !old.length;
  kept.append("Typed here before: ");
  for (const { name, saved, pairs: before } of old) {
    const called = name || `the formula without a name of ${new Date(saved).toLocaleString()}`;
    const go = button(`Go on with ${called}`, () => {
      kept.hidden = true;
      edit(() => before);
    });
    kept.append(go, " ");
  }
}
document.documentElement.dataset.ready = "yes";
