// Tells above the formula what putting a system in has done, until it is closed, undone, or no longer so.

import { beside, forget, keepBeside, load, save } from "/static/carry.js";

const KIND = "picked";
const kept = beside(KIND);
const draft = load() || [];
const stillIn = kept && draft.some(([name, value]) => name.endsWith("-preservative") && value === kept.system);

if (kept && !stillIn) forget(KIND);
if (stillIn) {
  const place = document.getElementById("notice");
  place.innerHTML = kept.notice;
  const note = place.firstElementChild;
  const same = (a, b) => JSON.stringify([...a].sort()) === JSON.stringify([...b].sort());
  note.addEventListener("click", (event) => {
    if (event.target.closest("[data-undo]")) {
      event.preventDefault();
      const now = (load() || []).filter(([, value]) => value !== "");
      const changed = kept.seen ? !same(now, kept.seen) : false;
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
  if (location.hash === "#picked") {
    history.replaceState(null, "", "/");
    note.focus();
  }
  // the fields as the page keeps them, to tell later whether more was typed
  if (!kept.seen) {
    setTimeout(() => keepBeside(KIND, { ...kept, seen: (kept.seen = (load() || []).filter(([, value]) => value !== "")) }), 1500);
  }
}
