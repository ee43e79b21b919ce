// The ranking: sorted and narrowed in place; asked anew where a wish changes the ranking itself.

import { here, postDraft } from "/static/ask.js";
import { beside, keepBeside, load, save } from "/static/keep.js";
import { form, keepOpen, lost, place, texts } from "/static/view.js";

const WAIT_MS = 250;
const SLOW_MS = 150;
const working = place("working");
const WORDS = new Set(["name", "check"]);
const WORKING = "Working it out: every system is tried in your formula. This takes a second or two.";

// What stood in the page when it came is the formula of a plain form; with a script it is the browser's.
const draft = load() || [];
place("carried").replaceChildren();

const wishes = () => texts().filter(([name]) => name.startsWith("which-"));
let ready = false;
const keep = () => ready && keepBeside("which", wishes());

// ---- in place: order and choice ----

function arrange() {
  const order = place("which-order").value;
  const turned = place("which-turned").checked;
  const table = document.querySelector("table.systems");
  if (!table) return;
  const value = (row, key) => {
    const text = row.getAttribute(`data-by-${key}`);
    return text === "" ? null : WORDS.has(key) ? text : Number(text);
  };
  const compare = (a, b) => {
    const [x, y] = [value(a, order), value(b, order)];
    if (x === null || y === null) return (x === null) - (y === null) || value(a, "rank") - value(b, "rank");
    const way = (x > y) - (x < y) || value(a, "rank") - value(b, "rank");
    return turned ? -way : way;
  };
  const at = document.activeElement;
  table.append(...[...table.tBodies].sort(compare));
  if (table.contains(at)) at.focus();
  for (const head of table.querySelectorAll("th[data-order]")) {
    if (head.dataset.order === order) head.setAttribute("aria-sort", turned ? "descending" : "ascending");
    else head.removeAttribute("aria-sort");
  }
}

function narrow() {
  const fields = new FormData(form);
  const words = String(fields.get("which-text") || "").trim().toLowerCase().split(/\s+/).filter(Boolean);
  const outcomes = fields.getAll("which-outcome");
  const charge = fields.get("which-charge");
  const without = new Set(fields.getAll("which-without"));
  const rows = [...document.querySelectorAll("tbody.system")];
  let count = 0;
  for (const row of rows) {
    const { search, outcome, charge: own, natural, holds } = row.dataset;
    const shown =
      words.every((word) => search.includes(word)) &&
      (!outcomes.length || outcomes.includes(outcome)) &&
      (!charge || charge === own) &&
      (!fields.get("which-natural") || natural === "yes") &&
      !holds.split("|").some((name) => without.has(name));
    row.hidden = !shown;
    count += shown;
  }
  const told = place("shown");
  const text = `${count} of ${rows.length} systems are shown.`;
  if (told && told.textContent !== text) told.textContent = text;
}

// ---- asked anew ----

let timer = 0;
let slow = 0;
let under = null;

function rankSoon(wait = WAIT_MS) {
  // an answer to the older question would take back what has just been ticked
  under?.abort();
  clearTimeout(timer);
  timer = setTimeout(() => rank(), wait);
}

async function rank(extra = []) {
  clearTimeout(timer);
  under?.abort();
  const mine = (under = new AbortController());
  const asked = place("which-leave-out").value;
  clearTimeout(slow);
  slow = setTimeout(() => (working.textContent = WORKING), SLOW_MS);
  place("ranking").setAttribute("aria-busy", "true");
  try {
    const answer = await postDraft("/which", [...draft, ...wishes(), ...extra], mine.signal);
    const text = await answer.text();
    if (mine.signal.aborted) return;
    const typed = place("which-leave-out").value;
    put(text);
    if (typed !== asked) place("which-leave-out").value = typed;
    here();
    done();
  } catch (error) {
    if (error.name !== "AbortError") done();
    lost(error, [], () => rank(extra));
  }
}

function done() {
  clearTimeout(slow);
  working.textContent = "";
  place("ranking").removeAttribute("aria-busy");
}

function put(text) {
  const pieces = document.createElement("template");
  pieces.innerHTML = text;
  const at = document.activeElement;
  const anew = place("which-anew").open;
  const focused = at && (at.id || (at.name === "do" ? at.value : ""));
  keepOpen(place("ranking"), () => {
    for (const id of ["wishes", "ranking"]) {
      const piece = pieces.content.getElementById(id);
      if (piece) place(id).replaceWith(piece);
    }
    place("which-anew").open = anew || place("which-unknown") !== null;
    arrange();
    narrow();
    ready = true;
    keep();
  });
  if (document.activeElement !== document.body || !focused) return;
  const again = place(focused) || [...form.querySelectorAll("button")].find((b) => b.value === focused);
  // a button that is gone with what it took back leaves the keyboard at its field
  (again || place("which-leave-out"))?.focus();
}

// ---- what all checks say ----

form.addEventListener("toggle", (event) => behind(event.target), true);

async function behind(details) {
  const spot = details.open && details.querySelector?.(":scope > [data-checks]");
  if (!spot || spot.dataset.asked) return;
  spot.dataset.asked = "yes";
  spot.textContent = "One moment: your formula with it is being judged.";
  try {
    const answer = await postDraft(`/which/checks/${encodeURIComponent(spot.dataset.checks)}`, [...draft, ...wishes()]);
    spot.innerHTML = await answer.text();
    here();
  } catch (error) {
    spot.textContent = "";
    delete spot.dataset.asked;
    lost(error, [], () => behind(details));
  }
}

// ---- into the formula ----

async function pick(button) {
  button.disabled = true;
  working.textContent = "Putting it into your formula.";
  try {
    const answer = await postDraft("/which/put", [...draft, ...wishes(), ["do", button.value]]);
    here();
    if (answer.status !== 200) {
      put(await answer.text());
      done();
      return;
    }
    const { pairs, system, notice } = await answer.json();
    keepBeside("applied", { before: draft, after: pairs, system, notice });
    save(pairs);
    location.assign("/#applied");
  } catch (error) {
    button.disabled = false;
    done();
    lost(error, [], () => {});
  }
}

// ---- fields and buttons ----

form.addEventListener("input", (event) => {
  const { name } = event.target;
  if (name === "which-leave-out") return;
  if (name === "which-order") place("which-turned").checked = false;
  if (["which-order", "which-turned"].includes(name)) arrange();
  narrow();
  keep();
  if (["which-natural", "which-markets"].includes(name)) rankSoon();
});

form.addEventListener("submit", (event) => {
  event.preventDefault();
  const button = event.submitter;
  const [verb, what] = (button?.value || "").split(/ (.*)/s);
  const typed = place("which-leave-out");
  if (verb === "put") pick(button);
  else if (verb === "order") {
    const order = place("which-order");
    const turned = place("which-turned");
    turned.checked = order.value === what && !turned.checked;
    order.value = what;
    arrange();
    keep();
  } else if (verb === "take-back") {
    for (const field of form.querySelectorAll('[name="which-without"]')) if (field.value === what) field.remove();
    rank();
  } else if (verb === "leave-out") {
    if (what && typed) typed.value = "";
    if (what || typed?.value.trim()) rank([["do", button.value]]);
  } else if (typed?.value.trim()) rank();
});

// ---- start ----

// On a phone the ranking comes first: what ranks anew is folded away unless it is in use.
function fold(pairs) {
  const used = pairs.some(([name]) => ["which-natural", "which-without", "which-markets"].includes(name));
  if (matchMedia("(max-width: 34rem)").matches && !used) place("which-anew").open = false;
}

function restore(pairs) {
  const kept = new Map();
  for (const [name, value] of pairs) kept.set(name, [...(kept.get(name) || []), value]);
  for (const field of form.querySelectorAll('[name^="which-"]')) {
    const values = kept.get(field.name) || [];
    if (field.type === "checkbox") field.checked = values.includes(field.value);
    else if (values.length && field.name !== "which-leave-out") field.value = values[0];
  }
  return (kept.get("which-without") || []).map((name) => ["which-without", name]);
}

document.addEventListener("keep", keep);
const before = beside("which") || [];
fold(before);
rank(restore(before));
