// Line drawings: the pressure curve, the fill run, a signature.

import { fill, h } from "./dom.js";

const SVG = "http://www.w3.org/2000/svg";

export function s(tag, attributes, ...children) {
  return fill(document.createElementNS(SVG, tag), attributes, children);
}

function nice(span) {
  const power = 10 ** Math.floor(Math.log10(span || 1));
  return [1, 2, 5, 10].map((each) => each * power).find((each) => each >= span / 4);
}

// Readings over minutes, with the fall that is allowed as a dashed line.
export function curve(points, { limit = null, from = 0, until = 0, unit = "bar" } = {}) {
  const [left, right, top, bottom] = [38, 312, 10, 130];
  const values = points.map((point) => point.value).concat(limit === null ? [] : [limit]);
  const low = Math.min(...values) - 0.15;
  const high = Math.max(...values) + 0.15;
  const end = Math.max(until, ...points.map((point) => point.minutes), from + 1);
  const x = (minutes) => left + ((minutes - from) / (end - from)) * (right - left);
  const y = (value) => bottom - ((value - low) / (high - low)) * (bottom - top);
  const step = nice(high - low);
  const rules = [];
  for (let at = Math.ceil(low / step) * step; at <= high; at += step) {
    rules.push(s("path", { d: `M${left} ${y(at)}H${right}`, class: "chart__rule" }), s("text", { x: left - 4, y: y(at) + 4, class: "chart__label chart__label--end" }, Number(at.toFixed(2))));
  }
  const line = points.map((point, at) => `${at ? "L" : "M"}${x(point.minutes).toFixed(1)} ${y(point.value).toFixed(1)}`).join("");
  return s(
    "svg",
    { class: "drawing chart", viewBox: "0 0 320 156", role: "img", "aria-label": `${points.length} pressure readings` },
    rules,
    s("path", { d: `M${left} ${top}V${bottom}H${right}`, class: "chart__axis" }),
    limit === null ? null : s("path", { d: `M${left} ${y(limit)}H${right}`, class: "chart__limit" }),
    s("path", { d: line, class: "chart__line" }),
    points.map((point) => s("circle", { cx: x(point.minutes), cy: y(point.value), r: 4, class: "chart__point" })),
    s("text", { x: left, y: 148, class: "chart__label" }, `${Math.round(from)} min`),
    s("text", { x: right, y: 148, class: "chart__label chart__label--end" }, `${Math.round(end)} min`),
    s("text", { x: left + 4, y: top + 8, class: "chart__label" }, unit),
  );
}

// Where colour is to be expected on the way through the loop, and where the clock stands.
export function fillRun({ first, full, elapsed, seenFirst, seenFull }) {
  const end = Math.max(full * 1.6, elapsed * 1.1, 1);
  const x = (seconds) => 8 + (Math.min(seconds, end) / end) * 304;
  const seen = (at, words, y) =>
    at ? [s("path", { d: `M${x(at)} 20V62`, class: "chart__line" }), s("text", { x: Math.min(x(at), 280), y, class: "chart__label" }, words)] : null;
  return s(
    "svg",
    { class: "drawing chart", viewBox: "0 0 320 92", role: "img", "aria-label": "Fill run" },
    s("rect", { x: x(first), y: 28, width: Math.max(2, x(full) - x(first)), height: 26, class: "chart__band" }),
    s("path", { d: "M8 54H312", class: "chart__axis" }),
    s("path", { d: `M8 41H${x(elapsed)}`, class: "chart__run" }),
    s("text", { x: x((first + full) / 2), y: 72, class: "chart__label chart__label--middle" }, "colour expected here"),
    seen(seenFirst, "first", 16),
    seen(seenFull, "full", 88),
  );
}

// A signature as strokes of whole numbers on a 1000 x 400 sheet; drawn again in print as lines.
export function signature(strokes, changed) {
  const canvas = h("canvas.sign", { width: "640", height: "256", "aria-label": "Sign here", tabindex: "0" });
  const pen = canvas.getContext("2d");
  let line = null;
  const redraw = () => {
    pen.clearRect(0, 0, canvas.width, canvas.height);
    pen.lineWidth = 3;
    pen.lineCap = "round";
    pen.lineJoin = "round";
    for (const stroke of strokes) {
      pen.beginPath();
      stroke.forEach(([x, y], at) => {
        const [px, py] = [(x / 1000) * canvas.width, (y / 400) * canvas.height];
        if (at) pen.lineTo(px, py);
        else pen.moveTo(px, py);
      });
      pen.stroke();
    }
  };
  const point = (event) => {
    const box = canvas.getBoundingClientRect();
    return [Math.round(((event.clientX - box.left) / box.width) * 1000), Math.round(((event.clientY - box.top) / box.height) * 400)];
  };
  canvas.addEventListener("pointerdown", (event) => {
    canvas.setPointerCapture(event.pointerId);
    line = [point(event)];
    strokes.push(line);
  });
  canvas.addEventListener("pointermove", (event) => {
    if (!line) return;
    line.push(point(event));
    redraw();
  });
  const stop = () => {
    if (!line) return;
    line = null;
    redraw();
    changed();
  };
  canvas.addEventListener("pointerup", stop);
  canvas.addEventListener("pointercancel", stop);
  redraw();
  return { canvas, clear: () => (strokes.splice(0), redraw(), changed()) };
}
