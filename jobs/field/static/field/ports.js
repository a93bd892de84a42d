// The manifold as a picture: how far the loop on each port is, and a tap on it leads to its work.

import { claimWords, fillings, others } from "./aside.js";
import { h, key, state } from "./dom.js";
import { s } from "./lines.js";
import { sheet } from "./parts.js";

const BANK = 5;

// Ports in rows, wide enough for a glove; each loop hangs from its port, as long as its pipe, with the word of how far it is
// and one mark for each thing to be done. `portOf(loop)`: {word, done: [true, false…], mark, spoken}.
export function manifold(loops, portOf, press) {
  const rows = Math.ceil(loops.length / BANK);
  const each = Math.ceil(loops.length / (rows || 1));
  const longest = Math.max(1, ...loops.map((loop) => loop.length_m || 1));
  return Array.from({ length: rows }, (_, at) => bank(loops.slice(at * each, (at + 1) * each), each, longest, portOf, press));
}

function bank(loops, width, longest, portOf, press) {
  const step = 320 / width;
  const half = Math.min(12, step / 5);
  const legs = loops.map((loop, at) => {
    const x = step * (at + 0.5);
    const depth = 36 + 40 * ((loop.length_m || longest) / longest);
    const { word, done, mark, spoken } = portOf(loop);
    const start = x - (done.length - 1) * 4.5;
    return s(
      "g",
      { class: `leg leg--${mark}`, tabindex: press ? "0" : null, role: press ? "button" : "img", "aria-label": spoken, onclick: press && (() => press(loop.code)), onkeydown: press && ((event) => ["Enter", " "].includes(event.key) && (event.preventDefault(), press(loop.code))) },
      s("rect", { x: x - step / 2, y: 0, width: step, height: 144, class: "leg__reach" }),
      s("path", { d: `M${x - half} 26V${depth}a${half} ${half} 0 0 0 ${half * 2} 0V26`, class: "leg__pipe" }),
      s("circle", { cx: x - half, cy: 26, r: 4, class: "leg__port" }),
      s("circle", { cx: x + half, cy: 26, r: 4, class: "leg__port" }),
      s("text", { x, y: 10, class: "leg__note" }, loop.port || ""),
      s("text", { x, y: 106, class: "leg__name" }, loop.code),
      s("text", { x, y: 122, class: "leg__word" }, word),
      done.map((one, n) => s("circle", { cx: start + n * 9, cy: 134, r: 3.25, class: one ? "leg__pip leg__pip--done" : "leg__pip" })),
    );
  });
  return s("svg", { class: "drawing", viewBox: "0 0 320 144", role: "group", "aria-label": "Manifold and loops" },
    s("path", { d: `M${(320 - step * width) / 2 + 6} 18H${step * loops.length - 6}M6 26H${step * loops.length - 6}`, class: "leg__bar" }), legs);
}

// Which of the ways to a full loop this job knows, as [word, the codes of its steps], nothing that is not ours.
function rows(inside) {
  const ours = new Set(inside.folded.steps.filter((step) => !step.not_ours).map((step) => step.code));
  return inside.pack.procedure.ports.map(([word, codes]) => [word, codes.filter((code) => ours.has(code))]).filter(([, codes]) => codes.length);
}

// The fills that are running on this phone, this loop first.
export const openFills = (inside, subject = "") => inside.drafts.filter((draft) => draft.job === inside.job.id && draft.kind === "loop_fill" && draft.payload.started && !draft.payload.full_colour && draft.subject !== subject).map((draft) => draft.subject);

// How far a loop is: {word, done: [true, false…], mark, spoken} with the furthest word first.
export function portOf(inside, loop) {
  const steps = new Map(inside.folded.steps.map((step) => [step.code, step]));
  const all = rows(inside).map(([word, codes]) => [word, codes.some((code) => ["", loop.code].some((name) => steps.get(code).done.includes(name)))]);
  const reached = all.filter(([, done]) => done).map(([word]) => word);
  const isOpen = [...openFills(inside), ...fillings(inside).map((entry) => entry.subject)].includes(loop.code);
  const last = reached[reached.length - 1] || "to lay";
  const open = all.filter(([, done]) => !done).map(([word]) => word);
  return {
    word: isOpen ? "open" : last,
    done: all.map(([, done]) => done),
    mark: isOpen ? "running" : open.length ? "open" : "done",
    spoken: `${loop.code}${loop.port ? `, port ${loop.port}` : ""}: ${isOpen ? "open, being filled; " : ""}${reached.join(", ") || "nothing yet"}${open.length ? `; not yet ${open.join(", ")}` : ""}`,
  };
}

export function picture(inside, press, only = "") {
  const { job } = inside;
  const found = rows(inside);
  if (!job.loops.length || !found.length) return null;
  const port = (loop) => ({ ...portOf(inside, loop), ...(only === loop.code ? { word: "open", mark: "running" } : {}) });
  const counts = found.map(([word], at) => `${word} ${job.loops.filter((loop) => port(loop).done[at]).length}`);
  return h("figure.plate", {}, manifold(job.loops, port, press), h("figcaption", {}, `● done ○ to do, in the order: ${counts.join(", ")} of ${job.loops.length}.`, press ? " Tap a loop to work on it." : ""));
}

// What can be done on the loop that was tapped: the next step first; what was done can be logged again.
export function portSheet(inside, code, steps, begin) {
  const loop = inside.job.loops.find((each) => each.code === code);
  const { spoken } = portOf(inside, loop);
  const open = openFills(inside, code);
  const own = steps.filter((step) => !step.notOurs && [...step.done, ...step.toDo].includes(code) && step.kind !== "pressure_test");
  const isLeft = (step) => step.toDo.includes(code);
  const [next] = own.sort((a, b) => isLeft(b) - isLeft(a));
  return sheet(spoken, (close) => [
    h("p.over__question", {}, loop.port ? `${code} on port ${loop.port}` : code), h("p", {}, spoken.slice(spoken.indexOf(": ") + 2)),
    others(inside).filter((entry) => entry.subject === code || entry.kind === "fill_start").map((entry) => h("p", {}, state("warn", claimWords(inside, entry)))),
    open.length ? h("p", {}, state("warn", `${open.join(", ")} is open: shut it before you open ${code}.`)) : null,
    h("div.keys.keys--stack", {}, own.map((step) => key(`${step.label}${isLeft(step) ? "" : " – done, log it again"}`, () => (close(null), begin(step)), step === next && isLeft(step) ? "main" : "")), key("Close", () => close(null)))]);
}
