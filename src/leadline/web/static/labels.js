// A button that prints; without script the browser's own menu does.
"use strict";
const print = document.querySelector("button.print");
if (print) {
  print.hidden = false;
  print.addEventListener("click", () => window.print());
}
