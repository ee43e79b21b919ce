// Keeps what is typed in a view in this browser, beside the formula of the tab.

// kind: the word that the view keeps under; mine: the names of its fields; filled: whether fields hold something.
export function keeper(kind, mine, filled) {
  // The id of this tab's formula, as carry.js keeps it; it changes where a tab was copied.
  function key() {
    try {
      return `${kind}-${sessionStorage.getItem("preservecheck-tab") || ""}`;
    } catch {
      return `${kind}-`;
    }
  }

  // False where the browser does not keep it.
  function save(pairs) {
    const name = pairs.find(([n]) => n === "product-name")?.[1] || "";
    try {
      localStorage.setItem(key(), JSON.stringify({ saved: Date.now(), name, pairs: pairs.filter(([n]) => mine.test(n)) }));
      for (const old of Object.keys(localStorage)) {
        if (old.startsWith(`${kind}-`) && old !== key() && !localStorage.getItem(`draft-${old.slice(kind.length + 1)}`)) localStorage.removeItem(old);
      }
    } catch {
      // full, or switched off: it stays on the page
      return false;
    }
    return true;
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
  const kept = () => read(key())?.pairs || [];

  // The latest of the same product that was typed in another tab.
  function before(product) {
    if (!product) return null;
    try {
      const others = Object.keys(localStorage).filter((name) => name.startsWith(`${kind}-`) && name !== key());
      const found = others.map(read).filter((one) => one && one.name === product && filled(one.pairs));
      return found.sort((a, b) => b.saved - a.saved)[0] || null;
    } catch {
      return null;
    }
  }

  return { save, kept, before };
}
