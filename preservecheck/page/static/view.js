// What the views share: their form, pieces of the page that are put anew, messages that lead to their fields.

import { Unanswered, away } from "/static/ask.js";

export const form = document.getElementById("draft");
export const place = (id) => document.getElementById(id);
export const field = (name) => form.elements.namedItem(name);
export const parsed = (text) => new DOMParser().parseFromString(text, "text/html");
export const texts = () => [...new FormData(form)].filter(([, value]) => typeof value === "string");

export function hidden(name, value) {
  const box = document.createElement("input");
  box.type = "hidden";
  box.name = name;
  box.value = value;
  return box;
}

// Take the formula along in a view that does not show it.
export function carry(draft) {
  place("carried").replaceChildren(...draft.map(([name, value]) => hidden(name, value)));
}

// Change a part of the page; what was open in it stays open.
export function keepOpen(part, change) {
  const open = [...part.querySelectorAll("details[open][id]")].map((d) => d.id);
  change();
  for (const id of open) {
    const details = place(id);
    if (details) details.open = true;
  }
}

// The fields of one part that the messages of another are about say so.
export function mark(fields, messages) {
  for (const box of fields.querySelectorAll("[aria-invalid]")) {
    box.removeAttribute("aria-invalid");
    box.removeAttribute("aria-describedby");
  }
  for (const fault of messages.querySelectorAll("[data-field]")) {
    const box = place(fault.dataset.field);
    box?.setAttribute("aria-invalid", "true");
    if (fault.id) box?.setAttribute("aria-describedby", fault.id);
  }
}

// A message leads to its field.
export function lead(part, arrive = () => {}) {
  part.addEventListener("click", (event) => {
    const fault = event.target.closest("a[data-field]");
    const box = fault && place(fault.dataset.field);
    if (!box) return;
    event.preventDefault();
    const inside = box.closest("details");
    if (inside) inside.open = true;
    box.scrollIntoView({ block: "center" });
    arrive(box, fault);
    box.focus();
  });
}

// The program is away: what stands there is of before, and is asked for again.
export function lost(error, parts, again) {
  if (error.name === "AbortError") return;
  if (!(error instanceof Unanswered)) throw error;
  for (const part of parts) {
    part?.classList.add("stale");
    part?.removeAttribute("aria-busy");
  }
  away(error.message, again);
}

export function button(text, act) {
  const made = document.createElement("button");
  made.type = "button";
  made.textContent = text;
  made.addEventListener("click", act);
  return made;
}

// Offer what was typed for the same product in another tab, where nothing is typed in this one.
export function offer(keeper, filled, words, start) {
  const product = field("product-name")?.value;
  const typed = keeper.load() || [];
  const old = product && !filled(typed) && keeper.others().find((entry) => entry.name === product && filled(entry.pairs));
  start(typed);
  if (!old) return;
  const kept = place("kept");
  const go = button(`${words.go} ${new Date(old.saved).toLocaleString()}`, () => {
    kept.hidden = true;
    start(old.pairs);
    document.dispatchEvent(new Event("keep"));
  });
  kept.append(words.found, go);
  kept.hidden = false;
}
