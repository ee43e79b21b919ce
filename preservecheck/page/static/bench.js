// At the bench: readings are kept in this browser beside the formula, judged after each change, and counted down.

import { Unanswered, away, here, postDraft } from "/static/ask.js";
import { load } from "/static/carry.js";
import { clock, count, day, dayOf, instant } from "/static/countdown.js";

const WAIT_MS = 250;
const MINE = /^(cool|drop|sheet)-/;
const form = document.getElementById("draft");
const carried = document.getElementById("carried");
const bench = document.getElementById("bench");
const told = document.getElementById("told");
const field = (name) => form.elements.namedItem(name);

// ---- what is kept ----

// The id of this tab's formula, as carry.js keeps it; it changes where a tab was copied.
function key() {
  try {
    return `bench-${sessionStorage.getItem("preservecheck-tab") || ""}`;
  } catch {
    return "bench-";
  }
}

function pairs() {
  return [...new FormData(form)].filter(([, value]) => typeof value === "string");
}

// Nothing is kept before what was kept is here, or an empty page would take its place.
let ready = false;

function keep() {
  if (!ready) return;
  const kept = pairs().filter(([name]) => MINE.test(name));
  const name = pairs().find(([n]) => n === "product-name")?.[1] || "";
  try {
    localStorage.setItem(key(), JSON.stringify({ saved: Date.now(), name, pairs: kept }));
    for (const old of Object.keys(localStorage)) {
      if (old.startsWith("bench-") && old !== key() && !localStorage.getItem(`draft-${old.slice(6)}`)) localStorage.removeItem(old);
    }
  } catch {
    // full, or switched off: the readings stay on the page
  }
}

function kept(name) {
  try {
    const found = JSON.parse(localStorage.getItem(name));
    return found && Array.isArray(found.pairs) ? found : null;
  } catch {
    return null;
  }
}

// Readings of the same product that were typed in a tab that is gone.
function before(product) {
  let found = null;
  try {
    for (const name of Object.keys(localStorage)) {
      if (!name.startsWith("bench-") || name === key()) continue;
      const one = kept(name);
      if (one && one.name === product && product && one.pairs.some(([n]) => /^(cool|drop)-\d/.test(n)) && (!found || one.saved > found.saved)) found = one;
    }
  } catch {
    return null;
  }
  return found;
}

// ---- the clock: times are those of this computer, and follow it until a reading is typed ----

let following = true;

function follow() {
  const time = field("cool-new-time");
  if (!following || !time) return;
  const now = new Date();
  // seconds count where two readings lie a few minutes apart
  time.value = now.toTimeString().slice(0, 8);
  field("cool-new-day").value = day(now);
}

function typed(target) {
  if (target.name === "cool-new-temp") following = false;
  if (!/^cool-(new|\d+)-time$/.test(target.name)) return;
  if (target.name === "cool-new-time") following = false;
  const note = field(target.name.replace(/time$/, "day"));
  if (note) note.value = target.value ? dayOf(target.value) : "";
}

setInterval(follow, 1000);

// ---- answers ----

let edition = 0;
let under = null;
let timer = 0;
const RESULTS = ["cool-result", "drop-result", "bench-formula"];

function changed(only) {
  edition += 1;
  keep();
  clearTimeout(timer);
  timer = setTimeout(() => judge(only), WAIT_MS);
}

let pending = "";

// Ask for the results of the part that changed; of both where both did.
async function judge(only = "") {
  under?.abort();
  under = new AbortController();
  pending = pending === "" || pending === only ? only : "both";
  const wanted = pending || "both";
  try {
    const answer = await postDraft("/bench", [...pairs(), ["only", wanted], ["fields", "stay"]], under.signal);
    const page = parsed(await answer.text());
    for (const id of RESULTS) {
      if (wanted === "cool" ? id === "drop-result" : wanted === "drop" && id === "cool-result") continue;
      swap(id, page);
    }
    pending = "";
    settled();
  } catch (error) {
    if (error.name !== "AbortError") lost(error);
  }
}

const parsed = (text) => new DOMParser().parseFromString(text, "text/html");

function swap(id, page) {
  const place = document.getElementById(id);
  const fresh = page.getElementById(id);
  if (!place || !fresh) return;
  const open = [...place.querySelectorAll("details[open][id]")].map((d) => d.id);
  place.replaceChildren(...fresh.childNodes);
  for (const d of open) {
    const again = document.getElementById(d);
    if (again) again.open = true;
  }
}

// Let the program do what a button says: the fields come back as they are then.
// Where one part alone is touched, the other's results stay as they are.
async function act(fields, focus, fresh = false, part = "") {
  const was = edition;
  try {
    const answer = await postDraft("/bench", [...fields(), ["only", part]]);
    const text = await answer.text();
    if (edition !== was) return act(fields, focus, fresh, part);
    const at = document.activeElement;
    const [id, from, to] = [at?.id, at?.selectionStart, at?.selectionEnd];
    // what is typed meanwhile for the next reading stays
    const typing = fresh ? [] : pairs().filter(([name]) => /^(cool|drop)-new-/.test(name));
    const open = [...bench.querySelectorAll("details[open][id]")].map((d) => d.id);
    const other = part && document.getElementById(part === "cool" ? "drop-result" : "cool-result");
    bench.innerHTML = text;
    if (other) document.getElementById(other.id).replaceWith(other);
    for (const d of open) {
      const again = document.getElementById(d);
      if (again) again.open = true;
    }
    for (const [name, value] of typing) {
      if (name !== "drop-new-grams" || value !== "0") field(name).value = value;
    }
    if (!field("cool-new-temp").value) following = true;
    follow();
    settled();
    ready = true;
    keep();
    const next = bench.querySelector("[data-focus]")?.dataset.focus;
    const place = document.getElementById((focus && next) || id || "");
    if (place && bench.contains(place)) {
      place.focus();
      try {
        if (place.id === id && typeof from === "number") place.setSelectionRange(from, to);
      } catch {
        // a field without a caret
      }
    }
    if (focus) say(summary());
  } catch (error) {
    if (error.name !== "AbortError") lost(error);
  }
}

function settled() {
  here();
  for (const place of bench.querySelectorAll(".stale")) place.classList.remove("stale");
  for (const old of bench.querySelectorAll("[aria-invalid]")) old.removeAttribute("aria-invalid");
  for (const fault of bench.querySelectorAll("[data-field]")) {
    document.getElementById(fault.dataset.field)?.setAttribute("aria-invalid", "true");
  }
  for (const unit of bench.querySelectorAll("[data-unit]")) unit.textContent = field("cool-unit").value;
  const times = [...bench.querySelectorAll(".reads input[type=time]")].filter((t) => t.name.startsWith("cool-"));
  const last = times.at(-1);
  const on = last && (field(last.name.replace(/time$/, "day"))?.value || dayOf(last.value));
  count([...bench.querySelectorAll(".count")], last?.value ? instant(on, last.value) : null, say);
}

function say(text) {
  told.textContent = text;
}

// What changed, in a sentence for those who do not see it.
function summary() {
  const faults = [...bench.querySelectorAll("#cool-result .faults li, #drop-result .faults li")].map((f) => f.textContent);
  const gates = [...bench.querySelectorAll(".gate-card")].map((g) => `${g.querySelector("h3").firstChild.textContent.trim()}: ${g.querySelector(".word").textContent}. ${g.querySelector(".gate-said").textContent}`);
  return [...faults, ...gates].join(" ");
}

function lost(error) {
  if (!(error instanceof Unanswered)) throw error;
  for (const id of RESULTS) document.getElementById(id)?.classList.add("stale");
  away(error.message, () => (ready ? act(pairs, false) : begin()));
}

// ---- typing and buttons ----

form.addEventListener("input", (event) => {
  const target = event.target;
  typed(target);
  // a reading that is being typed is none yet
  if (/-new-/.test(target.name)) return keep();
  changed(target.name.startsWith("cool-") ? "cool" : target.name.startsWith("drop-") ? "drop" : "both");
});

bench.addEventListener("click", (event) => {
  const now = event.target.closest("[data-now]");
  if (now) {
    const place = document.getElementById(now.dataset.now);
    place.value = now.dataset.now === "cool-added" ? clock(new Date()) : new Date().toTimeString().slice(0, 8);
    if (now.dataset.now === "cool-new-time") {
      typed(place);
      following = !field("cool-new-temp").value;
      keep();
      field("cool-new-temp").focus();
    } else changed("cool");
    return;
  }
  const go = event.target.closest("[data-go]");
  if (go) {
    event.preventDefault();
    location.assign(go.dataset.go);
    return;
  }
  const fault = event.target.closest("a[data-field]");
  const place = fault && document.getElementById(fault.dataset.field);
  if (place) {
    event.preventDefault();
    place.scrollIntoView({ block: "center" });
    place.focus();
  }
});

form.addEventListener("submit", (event) => {
  const button = event.submitter;
  if (button?.hasAttribute("data-paper") || button?.hasAttribute("data-go")) return;
  event.preventDefault();
  const does = button?.value || "add";
  if (does === "add") {
    takeIn();
    return;
  }
  if (does.startsWith("clear") && !confirm("This removes the readings. Go on?")) return;
  clearTimeout(timer);
  edition += 1;
  act(() => [...pairs(), ["do", does]], true, does.startsWith("clear"), does.includes("cool") ? "cool" : "drop");
});

// A reading is a row at once, and kept, so that the next one can be typed while the program answers.
function takeIn() {
  const at = document.activeElement?.name || "";
  let went = "";
  const parts = [];
  for (const [part, keys, needed] of [["cool", ["time", "temp", "day"], "temp"], ["drop", ["grams", "ph"], "ph"]]) {
    if (!field(`${part}-new-${needed}`).value.trim()) continue;
    const rows = pairs().map(([name]) => name.match(new RegExp(`^${part}-(\\d+)-`))).filter(Boolean);
    const next = Math.max(-1, ...rows.map((row) => Number(row[1]))) + 1;
    for (const key of keys) {
      const box = field(`${part}-new-${key}`);
      bench.append(hidden(`${part}-${next}-${key}`, box.value.trim()));
      box.value = "";
    }
    parts.push(part);
    went ||= `${part}-new-${keys[part === "cool" ? 1 : 0]}`;
    if (part === "cool") following = true;
  }
  if (!went) {
    document.getElementById(at.startsWith("drop-") ? "drop-new-ph" : "cool-new-temp").focus();
    return;
  }
  follow();
  clearTimeout(timer);
  edition += 1;
  keep();
  document.getElementById(went).focus();
  act(pairs, true, false, parts.length === 1 ? parts[0] : "");
}

function hidden(name, value) {
  const box = document.createElement("input");
  box.type = "hidden";
  box.name = name;
  box.value = value;
  return box;
}

// A time that is changed may put its reading elsewhere in the order.
form.addEventListener("change", (event) => {
  if (!/^cool-\d+-time$/.test(event.target.name)) return;
  clearTimeout(timer);
  edition += 1;
  act(pairs, false, false, "cool");
});

document.addEventListener("leaving", keep);

// ---- start ----

function carry(draft) {
  carried.replaceChildren(...draft.map(([name, value]) => hidden(name, value)));
}

function start(readings) {
  act(() => [...pairs().filter(([name]) => !MINE.test(name)), ...readings], false, true);
}

const draft = load();
if (draft) carry(draft);
const mine = kept(key());
following = !(mine?.pairs || []).some(([name, value]) => name === "cool-new-temp" && value.trim());
const begin = () => start(mine?.pairs || pairs().filter(([name]) => MINE.test(name)));
begin();
if (!mine?.pairs.some(([name]) => /^(cool|drop)-\d/.test(name))) {
  const old = before(pairs().find(([name]) => name === "product-name")?.[1]);
  if (old) {
    const place = document.getElementById("kept");
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = `Go on with the readings of ${new Date(old.saved).toLocaleString()}`;
    button.addEventListener("click", () => {
      place.hidden = true;
      start(old.pairs);
    });
    place.append("Typed in another tab for this product: ", button);
    place.hidden = false;
  }
}
