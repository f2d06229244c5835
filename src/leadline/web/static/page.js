// Small comforts over a page that works without them: a slider that speaks, steps without a round trip,
// words for a screen reader after a swap, and a plain line when the connection drops.
"use strict";
document.documentElement.classList.add("scripted");
const here = document.querySelector(".tabs [aria-current]");
if (here && here.parentElement.scrollWidth > here.parentElement.clientWidth) {
  here.parentElement.scrollLeft = here.offsetLeft - here.parentElement.offsetLeft - 14;
}
document.addEventListener("input", (event) => {
  if (event.target.id === "minutes") {
    document.getElementById("minutes-said").textContent = event.target.value;
  }
});
document.addEventListener("click", (event) => {
  const step = event.target.closest("[data-step]");
  if (!step) return;
  event.preventDefault();
  const field = step.parentElement.querySelector("input[name=value]");
  const size = Number(field.dataset.size);
  const digits = (field.dataset.size.split(".")[1] || "").length;
  const comma = field.value.trim() === "" ? document.documentElement.dataset.decimal === "," : field.value.includes(",");
  const typed = field.value.trim() === "" ? Number(field.dataset.start) : Number(field.value.replace(",", "."));
  if (!Number.isFinite(typed)) return;
  const moved = (typed + Number(step.dataset.step) * size).toFixed(digits);
  field.value = comma ? moved.replace(".", ",") : moved;
});
document.addEventListener("toggle", (event) => {
  if (event.target.matches("details.entry") && event.target.open) {
    event.target.querySelector("input[name=value], select, input[type=text]")?.focus({ preventScroll: true });
    const send = event.target.querySelector(".send"); // never under the bar at the foot of a phone's page
    (send || event.target).scrollIntoView({ block: "nearest" });
  }
}, true);
document.addEventListener("htmx:afterSwap", () => {
  if (document.querySelector("[data-live]")) return; // a page that renewed itself moves no focus and says nothing
  const flash = document.querySelector("#round .flash p");
  const wrong = document.querySelector("[aria-invalid=true]");
  if (flash && flash.getBoundingClientRect().bottom < 0) flash.parentElement.classList.add("fresh"); // or nobody would see it
  document.getElementById("said").textContent = flash ? flash.textContent : "";
  if (wrong) wrong.focus();
  else if (flash && document.activeElement === document.body) flash.parentElement.focus({ preventScroll: true });
});
// the watch's page renews itself, but never under a form that somebody has open, and what was opened stays open
const renewed = () => [...document.querySelectorAll("[data-live]")];
document.addEventListener("htmx:beforeRequest", (event) => {
  if (event.target.id === "live-head" && renewed().some((part) => part.querySelector("details.entry[open]"))) {
    event.preventDefault();
  }
});
let held = "";
let asked = false;
document.addEventListener("htmx:beforeSwap", (event) => {
  if (event.target.id === "live-head") asked = !!document.querySelector("#why-gap[open]");
});
document.addEventListener("htmx:oobBeforeSwap", (event) => {
  const { target, fragment } = event.detail;
  for (const old of target.querySelectorAll("details[open][data-of]")) {
    const fresh = fragment.querySelector(`details[data-of="${CSS.escape(old.dataset.of)}"]`);
    if (fresh) fresh.open = true;
  }
  if (target.contains(document.activeElement)) held = document.activeElement.getAttribute("aria-label") || "";
});
document.addEventListener("htmx:afterSettle", () => {
  const gap = document.getElementById("why-gap");
  if (asked && gap) gap.open = true;
  asked = false;
  if (!held) return;
  const same = document.querySelector(`[data-live] [aria-label="${CSS.escape(held)}"]`);
  if (same && document.activeElement === document.body) same.focus({ preventScroll: true });
  held = "";
});
for (const name of ["htmx:sendError", "htmx:responseError", "htmx:timeout"]) {
  document.addEventListener(name, (event) => {
    const form = event.detail.elt.closest("form") || event.detail.elt;
    let line = form.querySelector(".error.unsent");
    if (!line) {
      line = document.createElement("p");
      line.className = "error unsent";
      line.setAttribute("role", "alert");
      form.append(line);
    }
    const said = event.detail.xhr && event.detail.xhr.responseText
      ? new DOMParser().parseFromString(event.detail.xhr.responseText, "text/html").querySelector(".error") : null;
    if (event.detail.elt.id === "live-head") {
      line.textContent = "The watch did not answer: this page is old. It asks again by itself.";
      return;
    }
    line.textContent = said ? `${said.textContent} What you typed is still here.`
      : "Not sent: nobody answered. What you typed is still here; press again when you are back.";
  });
}
