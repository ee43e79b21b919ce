// At the bench: readings are kept in this browser beside the formula, judged after each change, and counted down.

import { Unanswered, away, here, postDraft } from "/static/ask.js";
import { MINE, afterwards, before, hasReadings, kept, save } from "/static/bench_keep.js";
import { load } from "/static/carry.js";
import { clock, count, day, dayOf, instant } from "/static/countdown.js";

const WAIT_MS = 250;
const form = document.getElementById("draft");
const carried = document.getElementById("carried");
const bench = document.getElementById("bench");
const told = document.getElementById("told");
const field = (name) => form.elements.namedItem(name);
const keep = () => save(pairs());

function pairs() {
  return [...new FormData(form)].filter(([name, value]) => typeof value === "string" && !name.startsWith("after-"));
}

// ---- the clock: times are those of this computer, and follow it until a time or a temperature is typed ----

let timeTyped = false;

function follow() {
  const time = field("cool-new-time");
  if (timeTyped || field("cool-new-temp").value.trim()) return;
  const now = new Date();
  // seconds count where two readings lie a few minutes apart
  time.value = now.toTimeString().slice(0, 8);
  field("cool-new-day").value = day(now);
}

function typed(target) {
  if (!/^cool-(new|\d+)-time$/.test(target.name)) return;
  if (target.name === "cool-new-time") timeTyped = true;
  const note = field(target.name.replace(/time$/, "day"));
  if (note) note.value = target.value ? dayOf(target.value) : "";
}

setInterval(follow, 1000);

// ---- answers ----

let edition = 0;
let under = null;
let timer = 0;
const RESULTS = ["cool-result", "drop-result", "bench-formula"];

// The part whose results are no longer those of what is typed: cool, drop or both.
let pending = "";

function changed(only) {
  edition += 1;
  keep();
  pending = pending === "" || pending === only ? only : "both";
  clearTimeout(timer);
  timer = setTimeout(judge, WAIT_MS);
}

// Ask for the results of the part that changed; of both where both did.
async function judge() {
  under?.abort();
  under = new AbortController();
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

// Ask for the fields anew, with the results of the part that was touched; the other's stay as they are. Of several
// that are under way only the last counts, since each sends all that is typed.
let asked = 0;
let loud = false;

async function renew(part = "", aloud = false) {
  clearTimeout(timer);
  under?.abort();
  const mine = (asked += 1);
  pending = pending === "" || pending === part ? part || "both" : "both";
  loud ||= aloud;
  const only = pending === "both" ? "" : pending;
  const was = edition;
  keep();
  try {
    const answer = await postDraft("/bench", [...pairs(), ["only", only]]);
    const text = await answer.text();
    if (mine !== asked) return;
    if (edition !== was) return renew(part);
    pending = "";
    const at = document.activeElement;
    const [id, from, to] = [at?.id, at?.selectionStart, at?.selectionEnd];
    // what is typed meanwhile for the next reading stays
    const typing = pairs().filter(([name]) => /^(cool|drop)-new-/.test(name));
    const open = [...bench.querySelectorAll("details[open][id]")].map((d) => d.id);
    const other = only && document.getElementById(only === "cool" ? "drop-result" : "cool-result");
    bench.innerHTML = text;
    if (other) document.getElementById(other.id).replaceWith(other);
    for (const d of open) {
      const again = document.getElementById(d);
      if (again) again.open = true;
    }
    for (const [name, value] of typing) {
      if (name !== "drop-new-grams" || value !== "0") field(name).value = value;
    }
    follow();
    settled();
    keep();
    const place = document.getElementById(id || "");
    if (place && bench.contains(place)) {
      place.focus();
      try {
        if (typeof from === "number") place.setSelectionRange(from, to);
      } catch {
        // a field without a caret
      }
    }
    if (loud) say(summary());
    loud = false;
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
  away(error.message, () => renew());
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
      timeTyped = false;
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
  takeOut(does, button);
});

// What goes is gone at once, as what comes is there at once.
function takeOut(does, button) {
  const part = does.includes("cool") ? "cool" : "drop";
  if (does.startsWith("remove")) button.closest("li").remove();
  else {
    const gone = new RegExp(`^${part}-(\\d+-|new-|added$)`);
    for (const box of [...form.elements].filter((b) => gone.test(b.name))) {
      if (/-\d+-/.test(box.name)) box.remove();
      else box.value = "";
    }
    if (part === "cool") timeTyped = false;
  }
  edition += 1;
  document.getElementById(part === "cool" ? "cool-new-temp" : "drop-new-grams").focus();
  renew(part, true);
}

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
    if (part === "cool") timeTyped = false;
  }
  if (!went) {
    document.getElementById(at.startsWith("drop-") ? "drop-new-ph" : "cool-new-temp").focus();
    return;
  }
  follow();
  edition += 1;
  document.getElementById(went).focus();
  renew(parts.length === 1 ? parts[0] : "", true);
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
  if (event.target.name === "cool-new-time" && !event.target.value) timeTyped = false;
  if (!/^cool-\d+-time$/.test(event.target.name)) return;
  edition += 1;
  renew("cool");
});

document.addEventListener("leaving", keep);

// ---- start ----

function carry(draft) {
  carried.replaceChildren(...draft.map(([name, value]) => hidden(name, value)));
}

function start(readings) {
  for (const [name, value] of readings) {
    const box = field(name);
    if (box) box.value = value;
    else bench.append(hidden(name, value));
  }
  renew();
}

const draft = load();
// the record takes the laboratory's counts along, which are pasted in another view
if (draft) carry([...draft, ...afterwards()]);
const typedHere = kept();
const old = hasReadings(typedHere) ? null : before(pairs().find(([name]) => name === "product-name")?.[1]);
start(typedHere);
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
