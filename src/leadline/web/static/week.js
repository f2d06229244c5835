// The week's sheet: a button that prints, where there is script to press it.
"use strict";
document.querySelector(".week .print")?.addEventListener("click", () => window.print());
