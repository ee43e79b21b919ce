// Tells above the formula what putting a system in has done, until it is closed, undone, or no longer so.

import { beside, forget, load, save } from "/static/keep.js";

const KIND = "applied";
const kept = beside(KIND);
const draft = load() || [];
const stillIn = kept && draft.some(([name, value]) => name.endsWith("-preservative") && value === kept.system);

// What is typed, whatever a form adds of its own: units that stand beside empty fields, and fields that are empty.
function typed(pairs) {
  const said = pairs.filter(([name, value]) => value.trim() && !/_unit$|^try-/.test(name));
  return JSON.stringify(said.flatMap(([name, value]) => (name === "product-markets" ? value.split(", ") : [value]).map((v) => [name, v])).sort());
}

if (kept && !stillIn) forget(KIND);
if (stillIn) {
  const notice = document.getElementById("notice");
  notice.innerHTML = kept.notice;
  const note = notice.firstElementChild;
  note.addEventListener("click", (event) => {
    if (event.target.closest("[data-undo]")) {
      event.preventDefault();
      const changed = typed(load() || []) !== typed(kept.after);
      if (changed && !confirm("What you have changed since then goes back too. Go on?")) return;
      save(kept.before);
      forget(KIND);
      location.replace("/");
    } else if (event.target.closest("[data-close]")) {
      forget(KIND);
      note.remove();
      document.getElementById("product-name")?.focus();
    }
  });
  if (location.hash === "#applied") {
    history.replaceState(null, "", "/");
    note.focus();
  }
}
