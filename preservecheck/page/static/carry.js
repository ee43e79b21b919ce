// Keeps the formula in this browser: each tab has its own, and a reload finds it again.

const TAB = "preservecheck-tab";
const MOST_KEPT = 20;

const fresh = () => Array.from(crypto.getRandomValues(new Uint32Array(3)), (n) => n.toString(36)).join("");

function tab() {
  try {
    let id = sessionStorage.getItem(TAB);
    if (!id) sessionStorage.setItem(TAB, (id = fresh()));
    return id;
  } catch {
    return "";
  }
}

let id = tab();

// A tab that was copied brings the id of the first one along: it takes a new one, with a copy of the formula.
const channel = "BroadcastChannel" in window ? new BroadcastChannel("preservecheck-tabs") : null;
const me = fresh();
if (channel) {
  channel.onmessage = ({ data }) => {
    if (data.id !== id || data.me === me) return;
    if (data.kind === "new") channel.postMessage({ kind: "taken", id, me, to: data.me });
    else if (data.kind === "taken" && data.to === me) {
      const mine = load();
      id = fresh();
      try {
        sessionStorage.setItem(TAB, id);
      } catch {
        // goes on without keeping
      }
      if (mine) save(mine);
    }
  };
  channel.postMessage({ kind: "new", id, me });
}

export function save(pairs) {
  const name = (pairs.find(([key]) => key === "product-name") || [])[1] || "";
  try {
    localStorage.setItem(`draft-${id}`, JSON.stringify({ saved: Date.now(), name, pairs }));
    for (const old of others().slice(MOST_KEPT)) {
      for (const key of Object.keys(localStorage)) if (key.endsWith(`-${old.id}`)) localStorage.removeItem(key);
    }
  } catch {
    // full, or switched off: the formula stays on the page
  }
}

function read(key) {
  try {
    const kept = JSON.parse(localStorage.getItem(key));
    return kept && Array.isArray(kept.pairs) ? kept : null;
  } catch {
    return null;
  }
}

export function load() {
  const kept = read(`draft-${id}`);
  return kept && kept.pairs;
}

// Formulas of other tabs, the latest first.
export function others() {
  const found = [];
  try {
    for (const key of Object.keys(localStorage)) {
      if (!key.startsWith("draft-") || key === `draft-${id}`) continue;
      const kept = read(key);
      if (kept) found.push({ id: key.slice(6), ...kept });
    }
  } catch {
    return [];
  }
  return found.sort((a, b) => b.saved - a.saved);
}

// What a view keeps beside the formula of this tab, under a word of its own.
export function keepBeside(kind, value) {
  try {
    localStorage.setItem(`${kind}-${id}`, JSON.stringify(value));
  } catch {
    // full, or switched off: it stays on the page
  }
}

export function beside(kind) {
  try {
    return JSON.parse(localStorage.getItem(`${kind}-${id}`));
  } catch {
    return null;
  }
}

export function forget(kind) {
  try {
    localStorage.removeItem(`${kind}-${id}`);
  } catch {
    // nothing is kept then
  }
}
