// Afterwards: what is pasted is kept in this browser beside the formula, and judged after each change.

import { ask, here, postDraft } from "/static/ask.js";
import { keeper, load } from "/static/keep.js";
import { carry, field, form, lead, lost, mark, offer, parsed, place, texts } from "/static/view.js";

const WAIT_MS = 300;
const PARTS = ["counts", "ph"];
const view = place("after");
const told = place("told");
const box = (part) => place(`after-${part}`);
const result = (part) => place(`${part}-result`);
const filled = (pairs) => pairs.some(([name, value]) => /^after-(counts|ph)$/.test(name) && value.trim());
const kept = keeper("after", /^after-/);

function keep() {
  if (kept.save(texts())) return;
  place("kept").textContent = "This browser does not keep what is pasted: a reload takes it away. Save the result as a file.";
  place("kept").hidden = false;
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
  result(part).setAttribute("aria-busy", "true");
  try {
    const answer = await postDraft("/after", [...texts(), ["only", part]], under[part].signal);
    await show(answer, part, aloud);
  } catch (error) {
    away(error);
  }
}

async function show(answer, part, aloud) {
  const shown = result(part);
  shown.removeAttribute("aria-busy");
  shown.classList.remove("stale");
  here();
  if (answer.status === 413) {
    const message = document.createElement("p");
    message.className = "notice faulty";
    message.textContent = await answer.text();
    shown.replaceChildren(message);
    return null;
  }
  const page = parsed(await answer.text());
  for (const id of [shown.id, "after-formula"]) place(id).replaceChildren(...page.getElementById(id).childNodes);
  mark(place(`${part}-place`), shown);
  if (aloud) told.textContent = summary(shown);
  return page;
}

// What the result says, in a sentence for those who do not see it.
function summary(shown) {
  const faults = [...shown.querySelectorAll(".faults li")].map((f) => f.textContent.trim());
  const first = shown.querySelector(".stamp, .notice, .blank-sheet");
  return faults.length ? faults.join(". ") : first?.textContent.replace(/\s+/g, " ").trim() || "";
}

const judgeAll = () => PARTS.forEach((part) => judge(part));
const away = (error) => lost(error, PARTS.map(result), judgeAll);

// An example is offered where nothing stands, and only what stands there can be removed.
function offers() {
  for (const button of view.querySelectorAll("[data-when]")) {
    const part = button.value.split(" ")[1];
    button.hidden = (button.dataset.when === "filled") !== Boolean(box(part).value.trim());
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
  if (button?.hasAttribute("data-save")) return;
  event.preventDefault();
  const [does, part] = (button?.value || "").split(" ");
  if (!PARTS.includes(part)) return;
  if (does === "judge") judge(part, true);
  if (does === "example") fill(part);
  if (does === "clear" && confirm("This removes what is pasted. Go on?")) {
    box(part).value = "";
    box(part).focus();
    keep();
    offers();
    judge(part, true);
  }
});

async function fill(part) {
  try {
    const answer = await postDraft("/after", [...texts(), ["do", `example ${part}`], ["only", part]]);
    take(await show(answer, part, true), part);
    box(part).focus();
  } catch (error) {
    away(error);
  }
}

async function open(part, file) {
  if (!file) return;
  under[part]?.abort();
  clearTimeout(timers[part]);
  const body = new FormData();
  for (const [name, value] of texts()) body.append(name, value);
  body.append("do", `open ${part}`);
  body.append(`file-${part}`, file);
  try {
    take(await show(await ask("/after/open", body), part, true), part);
  } catch (error) {
    away(error);
  }
  field(`file-${part}`).value = "";
}

// The text that the program put there.
function take(page, part) {
  const fresh = page?.getElementById(`after-${part}`);
  if (!fresh) return;
  box(part).value = fresh.value;
  box(part).setSelectionRange(0, 0);
  box(part).scrollTop = 0;
  keep();
  offers();
}

form.addEventListener("change", (event) => {
  if (event.target.type === "file") open(event.target.name.slice("file-".length), event.target.files[0]);
});

for (const part of PARTS) {
  const target = box(part);
  const hasFile = (event) => [...(event.dataTransfer?.types || [])].includes("Files");
  target.addEventListener("dragover", (event) => {
    if (!hasFile(event)) return;
    event.preventDefault();
    target.classList.add("dropping");
  });
  target.addEventListener("dragleave", () => target.classList.remove("dropping"));
  target.addEventListener("drop", (event) => {
    target.classList.remove("dropping");
    if (!hasFile(event)) return;
    event.preventDefault();
    open(part, event.dataTransfer.files[0]);
  });
}

// Select the line that a message speaks of, and bring it into sight.
lead(view, (area, fault) => {
  const line = Number(area.matches("textarea") && fault.dataset.line);
  if (!line) return;
  const lines = area.value.split("\n");
  const from = lines.slice(0, line - 1).reduce((sum, one) => sum + one.length + 1, 0);
  area.setSelectionRange(from, from + (lines[line - 1] || "").length);
  area.scrollTop = Math.max(0, (line - 4) * parseFloat(getComputedStyle(area).lineHeight));
});

document.addEventListener("keep", keep);

// ---- start ----

const draft = load();
if (draft) carry(draft);
offer(kept, filled, { found: "Pasted in another tab for this product: ", go: "Go on with the results of" }, (typed) => {
  for (const [name, value] of typed) {
    const target = field(name);
    if (target) target.value = value;
  }
  offers();
  judgeAll();
});
