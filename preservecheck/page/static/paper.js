// A button that prints the paper that is shown; without scripting the browser's own menu does it.

const bar = document.createElement("p");
bar.className = "paper-bar";
const button = document.createElement("button");
button.type = "button";
button.textContent = "Print";
button.addEventListener("click", () => window.print());
bar.append(button);
document.body.prepend(bar);
