// Parts that many screens are made of: figures, cautions, questions over the page, and numbers in words.

import { h, key } from "./dom.js";

export function figure(value, unit, label) {
  return h("div.figure", {}, h("span.figure__label", {}, label), h("span.figure__value", {}, value, h("small", {}, ` ${unit}`)));
}

export function caution(words) {
  return words.length ? h("ul.caution", { "aria-label": "Caution" }, words.map((each) => h("li", {}, each))) : null;
}

// What must be answered first, over the page; `build(close)` gives what stands in it. Escape closes it without an answer.
export function sheet(label, build) {
  return new Promise((answer) => {
    const close = (value) => {
      node.remove();
      answer(value);
    };
    const node = h("div.over", { role: "dialog", "aria-modal": "true", "aria-label": label, onkeydown: (event) => event.key === "Escape" && close(null) }, h("div.over__sheet", {}, build(close)));
    document.body.append(node);
    node.querySelector("button").focus();
  });
}

// One question, two answers; nothing is pre-chosen. `doubt`: it is the "no" that stands out.
export function ask(question, { yes, no, detail = "", doubt = false }) {
  return sheet(question, (close) => [h("p.over__question", {}, question), detail && h("p", {}, detail),
    h(`div.keys${doubt ? ".keys--stack" : ""}`, {}, key(no, () => close(false), doubt ? "main" : ""), key(yes, () => close(true), doubt ? "" : "main"))]);
}

export function minutesAndSeconds(seconds) {
  const whole = Math.max(0, Math.round(seconds));
  const hours = Math.floor(whole / 3600);
  const pad = (value) => String(value).padStart(2, "0");
  if (hours) return `${hours}:${pad(Math.floor((whole % 3600) / 60))}:${pad(whole % 60)}`;
  return `${Math.floor(whole / 60)}:${pad(whole % 60)}`;
}

export function tidy(value, digits = 3) {
  if (!Number.isFinite(value)) return "–";
  const whole = Math.abs(value) >= 10 ** (digits - 1);
  return (whole ? String(Math.round(value)) : String(Number(value.toPrecision(digits)))).replace("-", "−");
}

// Ticks once a second while it is on the screen and at once after a sleep; times are differences of timestamps.
export function ticking(node, draw) {
  let shown = false;
  const tick = () => {
    if (node.isConnected) {
      shown = true;
      draw(Date.now());
    } else if (shown) {
      clearInterval(beat);
      document.removeEventListener("visibilitychange", tick);
    }
  };
  const beat = setInterval(tick, 1000);
  document.addEventListener("visibilitychange", tick);
  draw(Date.now());
  return node;
}
