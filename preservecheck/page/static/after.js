// Afterwards: what is pasted is kept in this browser beside the formula, and judged after each change.

import { Unanswered, ask, away, here, postDraft } from "/static/ask.js";
import { load } from "/static/carry.js";
import { keeper } from "/static/keep.js";

const WAIT_MS = 300;
const PARTS = ["counts", "ph"];
const form = document.getElementById("draft");
const carried = document.getElementById("carried");
const view = document.getElementById("after");
const told = document.getElementById("told");
const field = (name) => form.elements.namedItem(name);
const text = (part) => document.getElementById(`after-${part}`);
const pairs = () => [...new FormData(form)].filter(([, value]) => typeof value === "string");
const filled = (all) => all.some(([name, value]) => /^after-(counts|ph)$/.test(name) && value.trim());
const { save, kept, before } = keeper("after", /^after-/, filled);
const parsed = (answer) => new DOMParser().parseFromString(answer, "text/html");

function keep() {
  if (save(pairs())) return;
  const place = document.getElementById("kept");
  place.textContent = "This browser does not keep what is pasted: a reload takes it away. Save the result as a file.";
  place.hidden = false;
}

// ---- answers ----

const under = {};
const timers = {};

function changed(part) {
  keep();
  offers();
  clearTimeout(timers[part]);
  timers[part] = setTimeout(() => judge(part), WAIT_MS);
}

// Ask for the result of one part; aloud where the maker asked for it.
async function judge(part, aloud = false) {
  clearTimeout(timers[part]);
  under[part]?.abort();
  under[part] = new AbortController();
  document.getElementById(`${part}-result`).setAttribute("aria-busy", "true");
  try {
    const answer = await postDraft("/after", [...pairs(), ["only", part]], under[part].signal);
    await show(answer, part, aloud);
  } catch (error) {
    if (error.name !== "AbortError") lost(error);
  }
}

async function show(answer, part, aloud) {
  const place = document.getElementById(`${part}-result`);
  place.removeAttribute("aria-busy");
  place.classList.remove("stale");
  here();
  if (answer.status === 413) {
    const said = document.createElement("p");
    said.className = "notice faulty";
    said.textContent = await answer.text();
    place.replaceChildren(said);
    return null;
  }
  const page = parsed(await answer.text());
  place.replaceChildren(...page.getElementById(`${part}-result`).childNodes);
  document.getElementById("after-formula").replaceChildren(...page.getElementById("after-formula").childNodes);
  for (const box of [...form.querySelectorAll("textarea, select")]) {
    if (box.id === `after-${part}` || (part === "counts" && box.id === "after-standard")) box.removeAttribute("aria-invalid");
  }
  for (const fault of place.querySelectorAll("[data-field]")) {
    document.getElementById(fault.dataset.field)?.setAttribute("aria-invalid", "true");
  }
  if (aloud) told.textContent = summary(place);
  return page;
}

// What the result says, in a sentence for those who do not see it.
function summary(place) {
  const faults = [...place.querySelectorAll(".faults li")].map((f) => f.textContent.trim());
  const said = place.querySelector(".stamp, .notice, .blank-sheet");
  return faults.length ? faults.join(". ") : said?.textContent.replace(/\s+/g, " ").trim() || "";
}

function lost(error) {
  if (!(error instanceof Unanswered)) throw error;
  for (const part of PARTS) {
    const place = document.getElementById(`${part}-result`);
    place.classList.add("stale");
    place.removeAttribute("aria-busy");
  }
  away(error.message, () => PARTS.forEach((part) => judge(part)));
}

// An example is offered where nothing stands, and only what stands there can be removed.
function offers() {
  for (const button of view.querySelectorAll("[data-when]")) {
    const part = button.value.split(" ")[1];
    button.hidden = (button.dataset.when === "filled") !== Boolean(text(part).value.trim());
  }
}

// ---- typing, buttons, files ----

form.addEventListener("input", (event) => {
  const name = event.target.name;
  if (name === "after-ph") changed("ph");
  else if (name === "after-counts" || name === "after-standard") changed("counts");
});

form.addEventListener("submit", (event) => {
  const button = event.submitter;
  if (button?.hasAttribute("data-save") || button?.hasAttribute("data-go")) return;
  event.preventDefault();
  const [does, part] = (button?.value || "").split(" ");
  if (!PARTS.includes(part)) return;
  if (does === "judge") judge(part, true);
  if (does === "example") fill(part);
  if (does === "clear" && confirm("This removes what is pasted. Go on?")) {
    text(part).value = "";
    text(part).focus();
    keep();
    offers();
    judge(part, true);
  }
});

async function fill(part) {
  try {
    const answer = await postDraft("/after", [...pairs(), ["do", `example ${part}`], ["only", part]]);
    take(await show(answer, part, true), part);
    text(part).focus();
  } catch (error) {
    lost(error);
  }
}

async function open(part, file) {
  if (!file) return;
  under[part]?.abort();
  clearTimeout(timers[part]);
  const body = new FormData();
  for (const [name, value] of pairs()) body.append(name, value);
  body.append("do", `open ${part}`);
  body.append(`file-${part}`, file);
  try {
    take(await show(await ask("/after/open", body), part, true), part);
  } catch (error) {
    lost(error);
  }
  field(`file-${part}`).value = "";
}

// The text that the program put there.
function take(page, part) {
  const fresh = page?.getElementById(`after-${part}`);
  if (!fresh) return;
  text(part).value = fresh.value;
  text(part).setSelectionRange(0, 0);
  text(part).scrollTop = 0;
  keep();
  offers();
}

form.addEventListener("change", (event) => {
  if (event.target.type === "file") open(event.target.name.slice("file-".length), event.target.files[0]);
});

for (const part of PARTS) {
  const place = text(part);
  const hasFile = (event) => [...(event.dataTransfer?.types || [])].includes("Files");
  place.addEventListener("dragover", (event) => {
    if (!hasFile(event)) return;
    event.preventDefault();
    place.classList.add("dropping");
  });
  place.addEventListener("dragleave", () => place.classList.remove("dropping"));
  place.addEventListener("drop", (event) => {
    place.classList.remove("dropping");
    if (!hasFile(event)) return;
    event.preventDefault();
    open(part, event.dataTransfer.files[0]);
  });
}

view.addEventListener("click", (event) => {
  const go = event.target.closest("[data-go]");
  if (go) {
    event.preventDefault();
    location.assign(go.dataset.go);
    return;
  }
  const fault = event.target.closest("a[data-field]");
  const place = fault && document.getElementById(fault.dataset.field);
  if (!place) return;
  event.preventDefault();
  place.scrollIntoView({ block: "center" });
  const line = place.matches("textarea") && fault.textContent.match(/\bline ([0-9]+)/i);
  if (line) mark(place, Number(line[1]));
  place.focus();
});

// Select the line that a message speaks of, and bring it into sight.
function mark(place, line) {
  const lines = place.value.split("\n");
  const from = lines.slice(0, line - 1).reduce((sum, one) => sum + one.length + 1, 0);
  place.setSelectionRange(from, from + (lines[line - 1] || "").length);
  const height = parseFloat(getComputedStyle(place).lineHeight);
  place.scrollTop = Math.max(0, (line - 4) * height);
}

document.addEventListener("leaving", keep);

// ---- start ----

function carry(draft) {
  carried.replaceChildren(
    ...draft.map(([name, value]) => {
      const box = document.createElement("input");
      box.type = "hidden";
      box.name = name;
      box.value = value;
      return box;
    }),
  );
}

function start(typed) {
  for (const [name, value] of typed) {
    const box = field(name);
    if (box) box.value = value;
  }
  offers();
  PARTS.forEach((part) => judge(part));
}

const draft = load();
if (draft) carry(draft);
const typedHere = kept();
const old = filled(typedHere) ? null : before(pairs().find(([name]) => name === "product-name")?.[1]);
start(typedHere);
if (old) {
  const place = document.getElementById("kept");
  const button = document.createElement("button");
  button.type = "button";
  button.textContent = `Go on with the results of ${new Date(old.saved).toLocaleString()}`;
  button.addEventListener("click", () => {
    place.hidden = true;
    start(old.pairs);
    keep();
  });
  place.append("Pasted in another tab for this product: ", button);
  place.hidden = false;
}
