// Sets the page up: what all views share, then the view that is shown.

const SCRIPTS = { "/": ["formula", "applied"], "/which": ["ranking"], "/bench": ["bench"], "/after": ["results"] };

document.documentElement.classList.add("script");

// With scripting the formula stays in the browser, so that a view is opened by its address alone.
document.addEventListener("click", (event) => {
  const go = event.target.closest("[data-go]");
  if (!go) return;
  event.preventDefault();
  document.dispatchEvent(new Event("keep"));
  location.assign(go.dataset.go);
});

for (const name of SCRIPTS[document.body.dataset.view]) import(`/static/${name}.js`);
