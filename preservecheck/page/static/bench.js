// At the bench: readings are kept in this browser beside the formula, judged after each change, and counted down.

import { here, postDraft } from "/static/ask.js";
import { clock, count, day, dayOf, instant } from "/static/countdown.js";
import { keeper, load } from "/static/keep.js";
import { carry, field, form, hidden, keepOpen, lead, lost, mark, offer, parsed, place, texts } from "/static/view.js";

const WAIT_MS = 250;
const bench = place("bench");
const told = place("told");
const kept = keeper("bench", /^(cool|drop|sheet)-/);
const filled = (pairs) => pairs.some(([name]) => /^(cool|drop)-\d/.test(name));
const pairs = () => texts().filter(([name]) => !name.startsWith("after-"));
const keep = () => kept.save(pairs());

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
    away(error);
  }
}

function swap(id, page) {
  const fresh = page.getElementById(id);
  if (place(id) && fresh) keepOpen(place(id), () => place(id).replaceChildren(...fresh.childNodes));
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
    const other = only && place(only === "cool" ? "drop-result" : "cool-result");
    keepOpen(bench, () => {
      bench.innerHTML = text;
      if (other) place(other.id).replaceWith(other);
    });
    for (const [name, value] of typing) {
      if (name !== "drop-new-grams" || value !== "0") field(name).value = value;
    }
    follow();
    settled();
    keep();
    const again = place(id || "");
    if (again && bench.contains(again)) {
      again.focus();
      try {
        if (typeof from === "number") again.setSelectionRange(from, to);
      } catch {
        // a field without a caret
      }
    }
    if (loud) say(summary());
    loud = false;
  } catch (error) {
    away(error);
  }
}

function settled() {
  here();
  for (const part of bench.querySelectorAll(".stale")) part.classList.remove("stale");
  mark(bench, bench);
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

const away = (error) => lost(error, RESULTS.map(place), () => renew());

// ---- typing and buttons ----

form.addEventListener("input", (event) => {
  const target = event.target;
  typed(target);
  // a reading that is being typed is none yet
  if (/-new-/.test(target.name)) return keep();
  changed(target.name.startsWith("cool-") ? "cool" : target.name.startsWith("drop-") ? "drop" : "both");
});

lead(bench);

bench.addEventListener("click", (event) => {
  const now = event.target.closest("[data-now]")?.dataset.now;
  if (!now) return;
  place(now).value = now === "cool-added" ? clock(new Date()) : new Date().toTimeString().slice(0, 8);
  if (now === "cool-new-time") {
    typed(place(now));
    timeTyped = false;
    keep();
    field("cool-new-temp").focus();
  } else changed("cool");
});

form.addEventListener("submit", (event) => {
  const button = event.submitter;
  if (button?.hasAttribute("data-save")) return;
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
  place(part === "cool" ? "cool-new-temp" : "drop-new-grams").focus();
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
    place(at.startsWith("drop-") ? "drop-new-ph" : "cool-new-temp").focus();
    return;
  }
  follow();
  edition += 1;
  place(went).focus();
  renew(parts.length === 1 ? parts[0] : "", true);
}

// A time that is changed may put its reading elsewhere in the order.
form.addEventListener("change", (event) => {
  if (event.target.name === "cool-new-time" && !event.target.value) timeTyped = false;
  if (!/^cool-\d+-time$/.test(event.target.name)) return;
  edition += 1;
  renew("cool");
});

document.addEventListener("keep", keep);

// ---- start ----

const draft = load();
// the record takes the laboratory's counts along, which are pasted in another view
if (draft) carry([...draft, ...(keeper("after").load() || [])]);
offer(kept, filled, { found: "Typed in another tab for this product: ", go: "Go on with the readings of" }, (readings) => {
  for (const [name, value] of readings) {
    const box = field(name);
    if (box) box.value = value;
    else bench.append(hidden(name, value));
  }
  renew();
});
