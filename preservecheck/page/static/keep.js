// Keeps what is typed in this browser: each tab has a formula of its own, with what the views keep beside it.

const TAB = "preservecheck-tab";
const MOST_KEPT = 20;
const DRAFT = "draft";

// ---- the browser's memory; where it is full or switched off, what is typed stays on the page alone ----

function write(key, value) {
  try {
    localStorage.setItem(key, JSON.stringify(value));
    return true;
  } catch {
    return false;
  }
}

function read(key) {
  try {
    return JSON.parse(localStorage.getItem(key));
  } catch {
    return null;
  }
}

function keys(begin) {
  try {
    return Object.keys(localStorage).filter((key) => key.startsWith(begin));
  } catch {
    return [];
  }
}

function remove(key) {
  try {
    localStorage.removeItem(key);
  } catch {
    // nothing is kept then
  }
}

// ---- the tab ----

const fresh = () => Array.from(crypto.getRandomValues(new Uint32Array(3)), (n) => n.toString(36)).join("");

function tab(id) {
  try {
    id ||= sessionStorage.getItem(TAB) || fresh();
    sessionStorage.setItem(TAB, id);
    return id;
  } catch {
    return id || "";
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
      id = tab(fresh());
      if (mine) save(mine);
    }
  };
  channel.postMessage({ kind: "new", id, me });
}

// ---- fields ----

// Keeps the fields of one kind, those that a pattern names.
export function keeper(kind, fields = /^/) {
  const key = () => `${kind}-${id}`;
  const pairsOf = (entry) => (Array.isArray(entry?.pairs) ? entry.pairs : null);

  // False where the browser does not keep it.
  function save(pairs) {
    const name = pairs.find(([n]) => n === "product-name")?.[1] || "";
    const done = write(key(), { saved: Date.now(), name, pairs: pairs.filter(([n]) => fields.test(n)) });
    tidy();
    return done;
  }

  // What was typed in this tab.
  const load = () => pairsOf(read(key()));

  // What was typed in other tabs, the latest first.
  function others() {
    const entries = keys(`${kind}-`).map((found) => ({ id: found.slice(kind.length + 1), ...read(found) }));
    return entries.filter((entry) => entry.id !== id && pairsOf(entry)).sort((a, b) => b.saved - a.saved);
  }

  // An old formula goes with all that is kept beside it; what is kept beside none goes too.
  function tidy() {
    if (kind === DRAFT) {
      for (const old of others().slice(MOST_KEPT)) keys("").filter((found) => found.endsWith(`-${old.id}`)).forEach(remove);
    } else {
      for (const old of others()) if (!read(`${DRAFT}-${old.id}`)) remove(`${kind}-${old.id}`);
    }
  }

  return { save, load, others };
}

export const { save, load, others } = keeper(DRAFT);

// ---- anything else that a view keeps beside the formula of this tab ----

export const keepBeside = (kind, value) => write(`${kind}-${id}`, value);
export const beside = (kind) => read(`${kind}-${id}`);
export const forget = (kind) => remove(`${kind}-${id}`);
