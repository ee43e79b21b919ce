// Sets the page up: what all views share, then the view that is shown.

import { load } from "/static/carry.js";

document.documentElement.classList.add("script");

// With scripting the formula stays in the browser, so that a view is opened by its address alone.
for (const button of document.querySelectorAll("[data-go]")) {
  button.addEventListener("click", (event) => {
    event.preventDefault();
    document.dispatchEvent(new Event("leaving"));
    location.assign(button.dataset.go);
  });
}

export const draftHere = load;

if (document.body.dataset.view === "/") import("/static/formula.js");
if (document.body.dataset.view === "/") import("/static/picked.js");
if (document.body.dataset.view === "/which") import("/static/which.js");
