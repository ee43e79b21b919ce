// Keeps what is typed at the bench in this browser, beside the formula of the tab.

export const MINE = /^(cool|drop|sheet)-/;
const ROW = /^(cool|drop)-\d/;

// The id of this tab's formula, as carry.js keeps it; it changes where a tab was copied.
function key() {
  try {
    return `bench-${sessionStorage.getItem("preservecheck-tab") || ""}`;
  } catch {
    return "bench-";
  }
}

export function save(pairs) {
  const name = pairs.find(([n]) => n === "product-name")?.[1] || "";
  try {
    localStorage.setItem(key(), JSON.stringify({ saved: Date.now(), name, pairs: pairs.filter(([n]) => MINE.test(n)) }));
    for (const old of Object.keys(localStorage)) {
      if (old.startsWith("bench-") && old !== key() && !localStorage.getItem(`draft-${old.slice(6)}`)) localStorage.removeItem(old);
    }
  } catch {
    // full, or switched off: the readings stay on the page
  }
}

function read(name) {
  try {
    const found = JSON.parse(localStorage.getItem(name));
    return found && Array.isArray(found.pairs) ? found : null;
  } catch {
    return null;
  }
}

// What was typed in this tab.
export function kept() {
  return read(key())?.pairs || [];
}

export const hasReadings = (pairs) => pairs.some(([name]) => ROW.test(name));

// The latest readings of the same product that were typed in another tab.
export function before(product) {
  if (!product) return null;
  try {
    const others = Object.keys(localStorage).filter((name) => name.startsWith("bench-") && name !== key());
    const found = others.map(read).filter((one) => one && one.name === product && hasReadings(one.pairs));
    return found.sort((a, b) => b.saved - a.saved)[0] || null;
  } catch {
    return null;
  }
}
