// The chart of courses on a canvas, in the same language as the server's drawing: zones, cone, line, fixes, marks.
// A library's lines and axes would be the smaller part of it (uPlot: 22 kB compressed; this: 4), so it is our own.
// Colours are read from the tokens of lights.css, so that one drawing serves all three lights.
const TOKENS = ["paper", "ink", "soft", "edge", "deep", "shoal", "land", "hatch", "unsurveyed", "mag", "course", "cone",
  "cone-ahead", "halo"];
export const HEIGHT = 340;
const BELOW = 44;

export function colours() {
  const style = getComputedStyle(document.documentElement);
  return Object.fromEntries(TOKENS.map((t) => [t, style.getPropertyValue(`--${t}`).trim()]));
}

// first index of a rising array whose value is at least t
export function from(array, t) {
  let low = 0;
  let high = array.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (array[middle] < t) low = middle + 1; else high = middle;
  }
  return low;
}

function hatching(ctx, c, ratio) {
  const tile = document.createElement("canvas");
  tile.width = tile.height = Math.round(8.5 * ratio);
  const t = tile.getContext("2d");
  t.scale(ratio, ratio);
  t.fillStyle = c.land;
  t.fillRect(0, 0, 9, 9);
  t.strokeStyle = c.hatch;
  t.lineWidth = 1.2;
  t.beginPath();
  for (const k of [-8.5, 0, 8.5]) { t.moveTo(k, 8.5); t.lineTo(k + 8.5, 0); }
  t.stroke();
  const pattern = ctx.createPattern(tile, "repeat");
  pattern.setTransform(new DOMMatrix().scale(1 / ratio));
  return pattern;
}

// `plot`: canvas, left and wide of the survey [css px]; `view`: from and to [s]; `said`: as the server answered
export function draw(plot, view, said, word) {
  const { canvas, left, wide } = plot;
  const ratio = window.devicePixelRatio || 1;
  const full = canvas.parentElement.clientWidth;
  const tall = HEIGHT + BELOW;
  if (canvas.width !== Math.round(full * ratio) || canvas.height !== Math.round(tall * ratio)) {
    canvas.width = Math.round(full * ratio);
    canvas.height = Math.round(tall * ratio);
    canvas.style.width = `${full}px`;
    canvas.style.height = `${tall}px`;
  }
  const c = colours();
  const ctx = canvas.getContext("2d");
  ctx.setTransform(ratio, 0, 0, ratio, 0, 0);
  ctx.clearRect(0, 0, full, tall);
  ctx.translate(left, 0);
  ctx.font = `13px ${getComputedStyle(document.body).fontFamily}`;
  const x = (t) => ((t - view.from) / (view.to - view.from)) * wide;
  const kept = { ctx, c, x, wide, view, now: Date.parse(said.now) / 1000, ratio };
  ctx.save();
  ctx.beginPath();
  ctx.rect(0, 0, wide, HEIGHT);
  ctx.clip();
  const depths = said.courses.map((course) => scale(course));
  zones(kept, said.courses[0], depths[0]);
  said.courses.forEach((course, i) => cone(kept, course, depths[i], i > 0));
  said.courses.forEach((course, i) => line(kept, course, depths[i], i > 0));
  said.courses.forEach((course, i) => probes(kept, course, depths[i], i > 0));
  lines(kept, said.courses[0], word);
  marks(kept, said.courses[0]);
  said.courses.forEach((course, i) => fixes(kept, course, depths[i], i > 0));
  ctx.restore();
  ctx.strokeStyle = c.edge;
  ctx.lineWidth = 1;
  ctx.strokeRect(0.5, 0.5, wide - 1, HEIGHT - 1);
  sides(kept, said.courses, depths);
  dial(kept, said.axis);
}

function scale(course) {
  const { low, high } = course.depth;
  const { factor, offset } = course.shown;
  const y = (shown) => ((high - shown) / (high - low)) * HEIGHT;
  return { low, high, shown: y, y: (v) => Math.min(Math.max(y(v * factor + offset), -40), HEIGHT + 40) };
}

function zones({ ctx, c, wide, ratio }, course, depth) {
  const fill = (a, b, style) => {
    const top = Math.max(Math.min(a, b), 0);
    const foot = Math.min(Math.max(a, b), HEIGHT);
    if (foot - top < 0.05) return;
    ctx.fillStyle = style;
    ctx.fillRect(0, top, wide, foot - top);
  };
  if (!course.aim) { fill(0, HEIGHT, c.unsurveyed); return; }
  const edge = (v) => depth.shown(v * course.shown.factor + course.shown.offset);
  fill(0, HEIGHT, c.shoal);
  if (course.limit) {
    const land = hatching(ctx, c, ratio);
    fill(-1, edge(course.limit[1]), land);
    fill(edge(course.limit[0]), HEIGHT + 1, land);
  }
  fill(edge(course.aim[0]), edge(course.aim[1]), c.deep);
}

// the indices of a track that are in sight, and one beyond at each side
function sight(t, view) {
  return [Math.max(from(t, view.from) - 1, 0), Math.min(from(t, view.to) + 1, t.length)];
}

function halves(t, now, a, b) {
  const turn = Math.min(Math.max(from(t, now + 0.6), a), b);
  return [[a, turn, false], [Math.max(turn - 1, a), b, true]];
}

function cone({ ctx, c, x, view, now }, course, depth, other) {
  const { t, q05, q95 } = course.course;
  for (const [a, b, ahead] of halves(t, now, ...sight(t, view))) {
    if (b - a < 2) continue;
    ctx.beginPath();
    for (let i = a; i < b; i += 1) ctx.lineTo(x(t[i]), depth.y(q95[i]));
    for (let i = b - 1; i >= a; i -= 1) ctx.lineTo(x(t[i]), depth.y(q05[i]));
    ctx.closePath();
    if (other) {
      ctx.setLineDash([1, 3]);
      ctx.lineWidth = 1;
      ctx.strokeStyle = c.soft;
      ctx.stroke();
      ctx.setLineDash([]);
    } else {
      ctx.fillStyle = ahead ? c["cone-ahead"] : c.cone;
      ctx.fill();
    }
  }
}

function line({ ctx, c, x, view, now }, course, depth, other) {
  const { t, mean } = course.course;
  ctx.strokeStyle = c.course;
  ctx.lineJoin = "round";
  for (const [a, b, ahead] of halves(t, now, ...sight(t, view))) {
    ctx.setLineDash(ahead ? (other ? [2, 5] : [2, 4]) : (other ? [9, 4] : []));
    ctx.lineWidth = ahead ? 1.2 : other ? 1.5 : 1.7;
    ctx.beginPath();
    for (let i = a; i < b; i += 1) ctx.lineTo(x(t[i]), depth.y(mean[i]));
    ctx.stroke();
  }
  ctx.setLineDash([]);
}

function probes({ ctx, c, x, view }, course, depth, other) {
  ctx.strokeStyle = ctx.fillStyle = c.course;
  ctx.lineCap = other ? "butt" : "round";
  for (const p of course.probes) {
    const a = from(p.t, view.from - p.width);
    const b = from(p.t, view.to + p.width);
    ctx.globalAlpha = other ? 0.8 : 0.55;
    ctx.lineWidth = other ? 1.4 : 1.8;
    ctx.beginPath();
    for (let i = a; i < b; i += 1) {
      const at = x(p.t[i] + p.width / 2);
      const top = depth.y(p.greatest[i]);
      const foot = depth.y(p.least[i]);
      if (other && foot - top >= 1.5) {
        ctx.moveTo(at - 1, top); ctx.lineTo(at + 1, top);
        ctx.moveTo(at - 1, foot); ctx.lineTo(at + 1, foot);
      } else {
        ctx.moveTo(at, foot); ctx.lineTo(at, foot - top < 0.05 ? foot + 0.01 : top);
      }
    }
    ctx.stroke();
    ctx.globalAlpha = 1;
    let high = -99;
    let low = -99;
    for (let i = a; i < b; i += 1) {
      const at = x(p.t[i] + p.width / 2);
      if (depth.y(p.greatest[i]) < 0 && at - high > 10) { arrow(ctx, at, 1, 6); high = at; }
      if (depth.y(p.least[i]) > HEIGHT && at - low > 10) { arrow(ctx, at, HEIGHT - 1, -6); low = at; }
    }
  }
  ctx.lineCap = "butt";
}

function arrow(ctx, at, tip, by) {
  ctx.beginPath();
  ctx.moveTo(at, tip); ctx.lineTo(at - 4, tip + by); ctx.lineTo(at + 4, tip + by);
  ctx.closePath();
  ctx.fill();
}

function lines({ ctx, c, x, wide, now, view }, course, word) {
  const at = x(now);
  if (now >= view.from && now <= view.to) {
    ctx.strokeStyle = c.soft;
    ctx.lineWidth = 1;
    ctx.beginPath();
    ctx.moveTo(at, 0); ctx.lineTo(at, HEIGHT);
    ctx.stroke();
    ctx.fillStyle = c.ink;
    ctx.textAlign = at > 0.9 * wide ? "right" : "left";
    ctx.fillText(word, at + (at > 0.9 * wide ? -5 : 5), 14);
  }
  const met = course.meets_edge;
  if (met === null || !course.aim || met < view.from || met > view.to) return;
  ctx.strokeStyle = c.mag;
  ctx.lineWidth = 1.6;
  ctx.setLineDash([5, 3]);
  ctx.beginPath();
  ctx.moveTo(x(met), 20); ctx.lineTo(x(met), HEIGHT);
  ctx.stroke();
  ctx.setLineDash([]);
  const right = x(met) > 0.52 * wide;
  const font = ctx.font;
  ctx.font = `italic ${font}`;
  ctx.textAlign = right ? "right" : "left";
  ctx.lineJoin = "round";
  ctx.strokeStyle = c.halo;
  ctx.lineWidth = 4;
  ctx.fillStyle = c.mag;
  for (const way of ["strokeText", "fillText"]) ctx[way](course.meets_said, x(met) + (right ? -6 : 6), HEIGHT - 16);
  ctx.font = font;
}

function marks({ ctx, c, x, view }, course) {
  ctx.strokeStyle = c.soft;
  ctx.lineWidth = 1;
  let last = -99;
  for (const m of course.marks) {
    if (m.t < view.from || m.t > view.to) continue;
    const at = x(m.t);
    ctx.beginPath();
    if (m.kind === "exchange") {
      ctx.moveTo(at - 1.5, HEIGHT); ctx.lineTo(at - 1.5, HEIGHT - 11);
      ctx.moveTo(at + 1.5, HEIGHT); ctx.lineTo(at + 1.5, HEIGHT - 11);
    } else if (m.kind === "addition") {
      ctx.moveTo(at, HEIGHT); ctx.lineTo(at, HEIGHT - 5);
    } else if (at - last >= 9) {
      last = at;
      ctx.moveTo(at, HEIGHT); ctx.lineTo(at, HEIGHT - 4); ctx.lineTo(at - 4, HEIGHT - 9);
      ctx.lineTo(at, HEIGHT - 14); ctx.lineTo(at + 4, HEIGHT - 9); ctx.lineTo(at, HEIGHT - 4);
      ctx.fillStyle = c.paper;
      ctx.fill();
    }
    ctx.stroke();
  }
}

function fixes({ ctx, c, x, view }, course, depth, other) {
  ctx.strokeStyle = ctx.fillStyle = c.course;
  ctx.lineWidth = 1.6;
  const ring = (at, y) => {
    ctx.beginPath();
    if (other) ctx.rect(at - 5, y - 5, 10, 10); else ctx.arc(at, y, 5.5, 0, 7);
    ctx.stroke();
  };
  const right = [...course.fixes].reverse();
  let last = Infinity;
  for (const f of right) {
    if (f.t < view.from || f.t > view.to) continue;
    const at = x(f.t);
    const y = depth.y(f.value);
    if (f.doubtful) {
      const held = Math.min(Math.max(y, 9), HEIGHT - 9);
      ring(at, held);
      ctx.beginPath();
      ctx.moveTo(at - 4.5, held - 4.5); ctx.lineTo(at + 4.5, held + 4.5);
      ctx.moveTo(at - 4.5, held + 4.5); ctx.lineTo(at + 4.5, held - 4.5);
      ctx.stroke();
      if (held !== y) arrow(ctx, at, y < held ? 0 : HEIGHT, y < held ? 4 : -4);
      continue;
    }
    if (last - at >= 7) { ring(at, y); last = at; } // crowded, the dot alone stays
    ctx.beginPath();
    ctx.arc(at, y, 1.5, 0, 7);
    ctx.fill();
  }
}

function sides({ ctx, c, wide }, courses, depths) {
  courses.forEach((course, i) => {
    ctx.fillStyle = i ? c.ink : c.soft;
    ctx.textAlign = i ? "left" : "right";
    for (const [value, text] of course.depth.labels) {
      ctx.fillText(text, i ? wide + 7 : -7, depths[i].shown(value) + 4);
    }
    if (!i || !course.aim) return;
    const [foot, top] = course.aim.map((v) => Math.min(Math.max(depths[i].y(v), 0), HEIGHT));
    ctx.strokeStyle = c.course;
    ctx.lineWidth = 1.5;
    ctx.beginPath();
    ctx.moveTo(wide - 5, top); ctx.lineTo(wide, top); ctx.lineTo(wide, foot); ctx.lineTo(wide - 5, foot);
    ctx.stroke();
  });
}

function dial({ ctx, c, x, wide, view }, axis) {
  const edges = axis.upper.map(([t]) => t).filter((t) => t > view.from && t < view.to);
  const all = [view.from, ...edges, view.to];
  // which stretches are filled must not change while the window moves: it goes by the label's place among all
  const before = axis.upper.findIndex(([t]) => t > view.from);
  ctx.strokeStyle = c.edge;
  ctx.lineWidth = 1;
  for (let i = 0; i + 1 < all.length; i += 1) {
    const a = x(all[i]);
    const b = x(all[i + 1]);
    ctx.fillStyle = (i + before) % 2 ? c.edge : c.paper;
    ctx.fillRect(a, HEIGHT, b - a, 4);
    ctx.strokeRect(a, HEIGHT, b - a, 4);
  }
  ctx.fillStyle = c.soft;
  ctx.textAlign = "left";
  const row = (labels, y, pinned) => {
    let end = -99;
    labels.forEach(([t, text], i) => {
      const following = labels[i + 1] ? x(labels[i + 1][0]) : Infinity;
      const room = ctx.measureText(text).width;
      let at = x(t);
      if (pinned && at < 0) at = Math.min(0, following - room - 10); // what holds at the left end is said there
      if (!text || at < (pinned && following < 0 ? 0 : -1) || at < end + 8 || at + room > wide + 2) return;
      ctx.fillText(text, at, y);
      end = at + room;
    });
  };
  row(axis.upper, HEIGHT + 20, false);
  row(axis.lower, HEIGHT + 38, true);
}
