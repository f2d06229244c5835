// Moves through a course: a cursor that says the number under it, and a window that zooms and pans on a canvas.
// Without it the page is whole: the server draws every window, and the tables hold the numbers.
import { draw, from } from "./survey-draw.js";

const look = document.getElementById("look");
const box = look.querySelector(".plotted");
const readout = document.getElementById("readout");
const still = window.matchMedia("(prefers-reduced-motion: reduce)");
const LEAST = 600;
const MOST = 60 * 365.25 * 86400;


let said = null; // the server's answer, wider than the view
let view = { from: Number(look.dataset.from), to: Number(look.dataset.to) };
let target = view;
let cursor = null; // [s]
let asking = null;
let settling = 0;
let moving = 0;

const canvas = document.createElement("canvas");
canvas.setAttribute("aria-hidden", "true");
const pointer = document.createElement("div");
pointer.className = "pointer";
pointer.tabIndex = 0;
for (const [name, value] of [["role", "slider"], ["aria-label", "Moment on the chart"], ["aria-controls", "readout"],
  ["aria-orientation", "horizontal"]]) pointer.setAttribute(name, value);
const hair = document.createElement("i");
pointer.append(hair);
box.append(canvas, pointer);

const wide = () => pointer.clientWidth;
const length = (v) => v.to - v.from;
const word = () => box.querySelector(".date.now")?.textContent || (look.dataset.frozen ? "as of" : "today");

// -- data ----------------------------------------------------------------------------------------------

async function ask(v) {
  asking?.abort();
  asking = new AbortController();
  const url = new URL(look.dataset.survey, location.href);
  url.searchParams.delete("span");
  url.searchParams.set("from", moment(v.from));
  url.searchParams.set("to", moment(v.to));
  url.searchParams.set("px", String(Math.min(Math.max(Math.round(wide()), 40), 1000)));
  url.searchParams.set("beside", "0.5");
  try {
    const answer = await fetch(url, { signal: asking.signal });
    if (!answer.ok) {
      const told = new DOMParser().parseFromString(await answer.text(), "text/html").querySelector("main p");
      trouble(told?.textContent);
      return;
    }
    said = await answer.json();
    said.from_s = Date.parse(said.from) / 1000;
    said.to_s = Date.parse(said.to) / 1000;
    said.of = length(v);
    box.querySelector(".unsent")?.remove();
    show();
    if (cursor === null) begin(); else tell();
  } catch (error) {
    if (error.name !== "AbortError") trouble();
  }
}

function trouble(words) {
  if (box.querySelector(".unsent")) return;
  const p = document.createElement("p");
  p.className = "error unsent";
  p.setAttribute("role", "alert");
  p.textContent = words || "Nobody answered: the chart shows what was there before. Move it again when you are back.";
  box.append(p);
}

const moment = (s) => `${new Date(Math.round(s) * 1000).toISOString().slice(0, 19)}Z`;
const covers = (v) => said && said.from_s <= v.from && said.to_s >= v.to && length(v) > said.of * 0.67
  && length(v) < said.of * 1.5;

// -- the window ----------------------------------------------------------------------------------------

function within(v) {
  const span = Math.min(Math.max(length(v), LEAST), MOST);
  // no further past now than half a window: there is little to see
  const last = said ? Date.parse(said.now) / 1000 + span / 2 : Infinity;
  const to = Math.min((v.from + v.to) / 2 + span / 2, last);
  return { from: to - span, to };
}

function go(v, at_once) {
  target = within(v);
  if (said) box.classList.add("taken");
  if (!covers(target)) ask(target);
  if (at_once || still.matches) { view = target; show(); settle(); return; }
  const start = view;
  const began = performance.now();
  cancelAnimationFrame(moving);
  const step = (time) => {
    const part = Math.min(Math.max((time - began) / 220, 0), 1);
    const eased = 1 - (1 - part) ** 3;
    view = { from: start.from + (target.from - start.from) * eased, to: start.to + (target.to - start.to) * eased };
    show();
    if (part < 1) moving = requestAnimationFrame(step); else settle();
  };
  moving = requestAnimationFrame(step);
}

function zoom(by, at, at_once) {
  const middle = at ?? (cursor !== null && cursor >= target.from && cursor <= target.to ? cursor
    : (target.from + target.to) / 2);
  const span = Math.min(Math.max(length(target) * by, LEAST), MOST) / length(target);
  go({ from: middle + (target.from - middle) * span, to: middle + (target.to - middle) * span }, at_once);
}

function pan(by, at_once) {
  const d = length(target) * by;
  go({ from: target.from + d, to: target.to + d }, at_once);
}

function show() {
  if (said && box.classList.contains("taken")) {
    draw({ canvas, left: pointer.offsetLeft, wide: wide() }, view, said, word());
  }
  place();
}

// once the hand rests, the server's own drawing, tables and links follow, and so does the address
function settle() {
  clearTimeout(settling);
  settling = setTimeout(async () => {
    if (!covers(view)) ask(view);
    const url = new URL(location.href);
    url.searchParams.delete("span");
    url.searchParams.set("from", moment(view.from));
    url.searchParams.set("to", moment(view.to));
    try {
      const answer = await fetch(url);
      if (!answer.ok) return;
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      history.replaceState(null, "", url);
      box.querySelector("svg.chart").replaceWith(page.querySelector(".plotted svg.chart"));
      look.dataset.survey = page.getElementById("look").dataset.survey;
      const opened = [...document.querySelectorAll("#beside details")].map((d) => d.open);
      const held = document.activeElement?.dataset?.move;
      for (const part of ["#beside", ".look .spans", ".look .steps", ".look figcaption", ".set"]) {
        const old = document.querySelector(part);
        if (part !== ".set" || !old.contains(document.activeElement)) old.replaceWith(page.querySelector(part));
      }
      if (held) document.querySelector(`.steps [data-move="${held}"][href]`)?.focus({ preventScroll: true });
      document.querySelectorAll("#beside details").forEach((d, i) => { if (i in opened) d.open = opened[i]; });
    } catch { /* the canvas has said it already */ }
  }, 350);
}

// -- the cursor ----------------------------------------------------------------------------------------

// where the server's own sentence stands already: nothing is said twice
function begin() {
  cursor = Math.min(Math.max(Date.parse(said.now) / 1000, view.from), view.to);
  pointer.setAttribute("aria-valuetext", clock(cursor));
  place();
}

function put(t) {
  cursor = Math.min(Math.max(t, view.from), view.to);
  hair.hidden = false;
  place();
  tell();
}

function place() {
  if (cursor === null) return;
  const x = ((cursor - view.from) / length(view)) * wide();
  hair.style.left = `${x}px`;
  if (x < 0 || x > wide()) hair.hidden = true;
  pointer.setAttribute("aria-valuemin", String(Math.round(view.from)));
  pointer.setAttribute("aria-valuemax", String(Math.round(view.to)));
  pointer.setAttribute("aria-valuenow", String(Math.round(Math.min(Math.max(cursor, view.from), view.to))));
}

function clock(t) {
  const parts = new Intl.DateTimeFormat("en-GB", { timeZone: said.time_zone, day: "numeric", month: "short",
    year: "numeric", hour: "2-digit", minute: "2-digit", hourCycle: "h23" }).formatToParts(t * 1000);
  const p = Object.fromEntries(parts.map(({ type, value }) => [type, value]));
  return `${p.day} ${p.month.slice(0, 3)} ${p.year}, ${p.hour}:${p.minute}`;
}

function number(value, digits) {
  const text = value.toFixed(digits);
  const mark = document.documentElement.dataset.decimal || ".";
  return (Number(text) === 0 ? text.replace("-", "") : text).replace("-", "−").replace(".", mark);
}

// as many digits as the doubt leaves worth saying: one of its own, two when the first is a 1
function doubted(sd, most) {
  if (!(sd > 0)) return most;
  const power = Math.floor(Math.log10(sd));
  return Math.max(0, Math.min(most, -power + (sd / 10 ** power < 1.95 ? 1 : 0)));
}

function spell(days) {
  const count = (n, what) => `${n} ${what}${n === 1 ? "" : "s"}`;
  if (days < 1 / 24) return count(Math.max(1, Math.round(days * 1440)), "minute");
  if (days < 2) return count(Math.round(days * 24), "hour");
  if (days < 120) return count(Math.round(days), "day");
  return days < 730 ? count(Math.round(days / 30.44), "month") : count(Math.round(days / 365.25), "year");
}

function numbers(course, t, reach) {
  const { label, digits, factor, offset } = course.shown;
  const shown = (v) => v * factor + offset;
  const unit = label ? ` ${label}` : "";
  const between = (a, b, words) => {
    const [low, high] = [number(shown(a), digits), number(shown(b), digits)];
    return low === high ? `at ${low}` : words ? `between ${low} and ${high}` : `${low} to ${high}`;
  };
  const parts = [];
  const track = course.course;
  const i = from(track.t, t);
  if (!track.t.length || t < track.t[0] - 1 || t > track.t.at(-1) + 1) {
    parts.push("Nothing is reckoned here.");
  } else {
    const b = Math.min(i, track.t.length - 1);
    const a = Math.max(b - 1, 0);
    const share = b === a ? 0 : Math.min(Math.max((t - track.t[a]) / (track.t[b] - track.t[a]), 0), 1);
    const at = (v) => v[a] + (v[b] - v[a]) * share;
    const sd = Math.abs(factor) * at(track.sd);
    const d = doubted(sd, digits);
    const spread = Number(sd.toFixed(d)) === 0 && sd > 0 ? `<${number(10 ** -d, d)}` : number(sd, d);
    parts.push(`${number(shown(at(track.mean)), d)} ± ${spread}${unit}; 9 in 10 ${
      between(at(track.q05), at(track.q95), true)}.`);
  }
  let low = Infinity;
  let high = -Infinity;
  for (const p of course.probes) {
    for (let k = from(p.t, t - reach / 8 - p.width); k < p.t.length && p.t[k] <= t + reach / 8; k += 1) {
      low = Math.min(low, p.least[k]);
      high = Math.max(high, p.greatest[k]);
    }
  }
  if (low <= high) parts.push(`Probe ${between(low, high)}.`);
  const inside = course.fixes.filter((f) => f.t >= view.from && f.t <= view.to);
  if (inside.length) {
    const f = inside.reduce((a, b) => (Math.abs(b.t - t) < Math.abs(a.t - t) ? b : a));
    const away = (f.t - t) / 86400;
    const when = Math.abs(away) < 1 / 1440 ? "here" : `${spell(Math.abs(away))} ${away < 0 ? "before" : "after"}`;
    parts.push(`Nearest reading ${number(shown(f.value), digits)}${unit}, ${when}${f.doubtful ? ", in doubt" : ""}.`);
  }
  const near = course.marks.filter((m) => Math.abs(m.t - t) <= reach).map((m) => m.words);
  if (near.length) {
    parts.push(`Near: ${near.slice(0, 3).join("; ")}${near.length > 3 ? `, and ${near.length - 3} more` : ""}.`);
  }
  return parts.join(" ");
}

function tell() {
  if (!said || cursor === null) return;
  const two = said.courses.length > 1;
  const systems = new Set(said.courses.map((c) => c.system)).size > 1;
  const when = document.createElement("p");
  when.className = "at";
  when.textContent = clock(cursor);
  const rows = said.courses.map((course) => {
    const p = document.createElement("p");
    if (two) {
      const b = document.createElement("b");
      b.textContent = `${course.title}${systems ? ` of ${course.name}` : ""}. `;
      p.append(b);
    }
    p.append(numbers(course, cursor, length(view) / 100));
    return p;
  });
  pointer.setAttribute("aria-valuetext", when.textContent);
  readout.replaceChildren(when, ...rows);
}

const under = (event) => view.from + ((event.clientX - pointer.getBoundingClientRect().left) / wide()) * length(view);

// -- hands ---------------------------------------------------------------------------------------------

const down = new Map(); // pointers on the chart
let hold = null;

pointer.addEventListener("pointerdown", (event) => {
  down.set(event.pointerId, event.clientX);
  const [a, b] = [...down.values()];
  hold = { view: target, a, b, moved: false };
  pointer.setPointerCapture(event.pointerId);
});
pointer.addEventListener("pointermove", (event) => {
  if (!down.has(event.pointerId)) {
    if (event.pointerType === "mouse") put(under(event));
    return;
  }
  down.set(event.pointerId, event.clientX);
  const [a, b] = [...down.values()];
  const per = length(hold.view) / wide();
  const left = pointer.getBoundingClientRect().left;
  if (down.size === 2 && Math.abs(hold.a - hold.b) > 10) {
    hold.moved = true;
    const by = Math.min(Math.max(Math.abs(hold.a - hold.b) / Math.max(Math.abs(a - b), 10), 0.05), 20);
    const middle = hold.view.from + ((hold.a + hold.b) / 2 - left) * per;
    const to = middle - ((a + b) / 2 - left) * per * by;
    go({ from: to, to: to + length(hold.view) * by }, true);
  } else if (down.size === 1 && (hold.moved || Math.abs(a - hold.a) > 8)) {
    hold.moved = true;
    go({ from: hold.view.from - (a - hold.a) * per, to: hold.view.to - (a - hold.a) * per }, true);
  }
});
const lift = (event) => {
  if (!down.delete(event.pointerId)) return;
  if (event.type === "pointerup" && hold && !hold.moved) put(under(event));
  const [a, b] = [...down.values()];
  hold = down.size ? { view: target, a, b, moved: true } : null;
};
pointer.addEventListener("pointerup", lift);
pointer.addEventListener("pointercancel", lift);
pointer.addEventListener("wheel", (event) => {
  if (!event.ctrlKey && document.activeElement !== pointer) return; // the wheel scrolls the page until the chart is held
  event.preventDefault();
  zoom(Math.exp(Math.min(Math.max(event.deltaY, -200), 200) / 400), under(event), true);
}, { passive: false });

pointer.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey || !said) return;
  const pixel = length(view) / wide();
  const here = cursor ?? view.from;
  const readings = said.courses[0].fixes.map((f) => f.t);
  const moves = {
    ArrowLeft: () => put(here - pixel), ArrowRight: () => put(here + pixel),
    PageUp: () => put(here + length(view) / 10), PageDown: () => put(here - length(view) / 10),
    Home: () => put(view.from), End: () => put(view.to),
    ArrowUp: () => put(readings.find((t) => t > here + 0.5 && t <= view.to) ?? here),
    ArrowDown: () => put(readings.findLast((t) => t < here - 0.5 && t >= view.from) ?? here),
    "+": () => zoom(0.5), "=": () => zoom(0.5), "-": () => zoom(2), "−": () => zoom(2),
  };
  if (!moves[event.key]) return;
  event.preventDefault();
  moves[event.key]();
});
pointer.addEventListener("focus", () => { if (cursor !== null) put(cursor); });

look.addEventListener("click", (event) => {
  const step = event.target.closest("a[data-move]");
  if (!step || event.ctrlKey || event.metaKey || event.shiftKey || step.dataset.move === "now") return;
  event.preventDefault();
  ({ earlier: () => pan(-0.5), later: () => pan(0.5), closer: () => zoom(0.5), wider: () => zoom(2) })[step.dataset.move]();
});

new ResizeObserver(() => show()).observe(box);
new MutationObserver(() => show()).observe(document.documentElement, { attributes: true });
window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", show);
hair.hidden = true;
box.dataset.ready = "";
ask(view);
