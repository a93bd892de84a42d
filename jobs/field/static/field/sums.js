// Quick sums with no job and no signal. What is typed here lives as long as this page and is never stored.

import { block, pad } from "./answers.js";
import { h, key, put, say } from "./dom.js";
import { ask, caution, ticking } from "./parts.js";
import { counts } from "./form.js";
import { figuresOf, phasesOf, seriesOf } from "./reckon.js";

// By person and question, so that a look at another page costs nothing.
const typed = new Map();

export function route(app, place, parts, { go }) {
  const { sums } = app.pack;
  if (!sums) return put(place, head("Quick sums", "‹ Visits", () => go("")), h("p", {}, "The tables for this are not on this phone yet. Go where there is signal and get the newest work."));
  const question = sums.questions.find((each) => each.code === parts[0]);
  document.title = question ? question.label : "Quick sums";
  return question ? page(app, place, question, go) : list(place, sums.questions, go);
}

function head(words, back, press) {
  return h("header.top", {}, h("button.back", { type: "button", onclick: press }, back), h("h1", {}, words));
}

function list(place, questions, go) {
  const groups = [...new Set(questions.map((each) => each.group))];
  put(place, head("Quick sums", "‹ Visits", () => go("")),
    h("p.lead", {}, "Worked out on this phone, with or without signal. Nothing is kept."),
    groups.map((group) => h("section.rows", {}, h("h2", {}, group), questions.filter((each) => each.group === group).map((each) =>
      h("button.row.row--sum", { type: "button", onclick: () => go(`sums/${each.code}`) }, h("b", {}, each.label), h("small", {}, each.line))))));
}

// Every answer is strict here: a sum of something impossible says nothing.
function asked(app, question) {
  const own = (app.pack.jobs || []).filter((job) => job.fluid).map((job) => [`job:${job.id}`, `${job.fluid.product}, job ${job.number}`]);
  return question.fields.map((field) => ({ ...field, strict: true, choices: field.name === "fluid" ? own.concat(field.choices) : field.choices }));
}

const nameOf = (app, question) => `${app.person.id} ${question.code}`;

function draftOf(app, question, fields) {
  const name = nameOf(app, question);
  if (!typed.has(name)) typed.set(name, { payload: {}, text: {}, kind: question.code, readings: [] });
  const draft = typed.get(name);
  // The job whose product was chosen may have left this phone.
  const fluids = fields.find((field) => field.name === "fluid")?.choices || [];
  if (!fluids.some(([value]) => value === draft.payload.fluid?.value)) delete draft.payload.fluid;
  return draft;
}

function page(app, place, question, go) {
  const fields = asked(app, question);
  const draft = draftOf(app, question, fields);
  const blocks = new Map();
  // A clock that is read out every second would drown everything else.
  const says = h("section.says", { "aria-live": question.goes_on ? "off" : "polite" });
  const tell = (now) => put(says, h("h2", {}, "What this says"), answer(app, question, draft, fields, now), h("p.help", {}, "Not kept. To keep it, log it in a visit."));
  const series = h("section.field", { hidden: true });
  const limits = h("div");
  const update = () => {
    for (const field of fields) blocks.get(field.name).node.hidden = !counts(field, draft);
    drawWalls(app, blocks, draft, changed);
    foldFluids(blocks.get("fluid"), draft, changed);
    drawSeries(app, series, question, draft, update);
    put(limits, sources(question, draft));
    tell(Date.now());
  };
  const changed = (name) => {
    blocks.get(name)?.draw();
    update();
  };
  const inside = { ...app, job: {} };
  for (const field of fields) blocks.set(field.name, block({ app: inside, draft, changed, keep: () => null }, field));
  put(place, head(question.label, "‹ Quick sums", () => go("sums")), h("p.lead", {}, question.help), caution(question.cautions),
    [...blocks.values()].map((each) => each.node), series, says, limits,
    h("button.quiet", { type: "button", onclick: () => clear(app, place, question, go) }, "Clear all answers"));
  update();
  if (question.goes_on) ticking(says, tell);
}

async function clear(app, place, question, go) {
  if (!(await ask("Clear all answers of this page?", { yes: "Clear them", no: "Leave them" }))) return;
  typed.delete(nameOf(app, question));
  page(app, place, question, go);
  window.scrollTo(0, 0);
  say("Cleared.");
}

// Figures and word, or what is still to be entered.
function answer(app, question, draft, fields, now) {
  const open = fields.filter((field) => field.required !== false && counts(field, draft) && draft.payload[field.name] === undefined);
  if (open.length) return h("p", {}, `Still to enter: ${open.map((field) => field.label.toLowerCase()).join(", ")}.`);
  const phases = phasesOf(question, draft.payload);
  if (phases.length && !seriesOf(app, draft.readings, phases[0][0])[0].length) return h("p", {}, "Still to enter: the readings.");
  return figuresOf(app, question, draft, now);
}

function sources(question, draft) {
  const method = draft.payload.method?.value;
  const areas = Object.entries(question.sources).filter(([area]) => !(method in question.sources) || area === method);
  return areas.length ? h("details", {}, h("summary", {}, "Where the limits come from"), h("ul.sources", {}, areas.flatMap(([, lines]) => lines.map((line) => h("li", {}, line))))) : null;
}

// Once chosen, the long list of fluids needs no room.
function foldFluids(fluid, draft, changed) {
  if (!fluid) return;
  const isChosen = Boolean(draft.payload.fluid);
  fluid.node.classList.toggle("field--chosen", isChosen);
  fluid.node.querySelector(".quiet")?.remove();
  if (isChosen) fluid.node.append(h("button.quiet", { type: "button", onclick: () => (delete draft.payload.fluid, changed("fluid")) }, "Choose another fluid"));
}

// The walls in which pipe of this diameter is sold: one tap instead of the pad.
function drawWalls(app, blocks, draft, changed) {
  const wall = blocks.get("wall");
  if (!wall || wall.node.hidden) return;
  wall.node.querySelector(".chips")?.remove();
  const od = draft.payload.od;
  const there = od?.unit === "mm" ? app.pack.sums.pipes.filter((row) => Math.abs(row[0] - od.value) < 0.5) : [];
  const press = (value) => {
    draft.payload.wall = { text: String(value), value, unit: "mm" };
    changed("wall");
  };
  const isOn = (value) => draft.payload.wall?.unit === "mm" && draft.payload.wall.value === value;
  if (there.length) wall.node.append(h("div.chips", { role: "group", "aria-label": "Usual walls" }, there.map(([, value, name]) => h("button.chip", { type: "button", "aria-pressed": String(isOn(value)), onclick: () => press(value) }, `${value} `, h("small", {}, name)))));
}

// The readings of a test, typed one by one; a tap on one changes it.
function drawSeries(app, node, question, draft, update) {
  const phases = phasesOf(question, draft.payload);
  node.hidden = !phases.length;
  if (!phases.length) return;
  const spoken = (given) => `${given.text} ${given.unit}`;
  const row = (reading) => h("li.reading-row", {},
    h("button.row", { type: "button", "aria-label": `${spoken(reading.pressure)} ${spoken(reading.minutes)}, change`, onclick: () => enter(reading) }, h("b", {}, spoken(reading.pressure)), h("span", {}, spoken(reading.minutes))),
    h("button.quiet", { type: "button", "aria-label": `Take out ${spoken(reading.pressure)} ${spoken(reading.minutes)}`, onclick: () => (draft.readings.splice(draft.readings.indexOf(reading), 1), update()) }, "Take out"));
  const enter = async (reading, phase) => {
    const units = app.pack.units;
    const before = draft.readings[draft.readings.length - 1];
    const [clock, gauge] = question.reading.map((field) => ({ ...field, strict: true }));
    const minutes = await pad(clock, { value: reading?.minutes, units, next: "Next", unit: before?.minutes.unit });
    const pressure = minutes && (await pad(gauge, { value: reading?.pressure, units, unit: before?.pressure.unit, target: `After ${spoken(minutes)}` }));
    if (!pressure) return;
    if (reading) Object.assign(reading, { minutes, pressure });
    else draft.readings.push({ minutes, pressure, phase });
    update();
  };
  put(node, phases.map(([phase, words, help]) => [h("h2", {}, words), h("p.help", {}, help), h("ul", {}, draft.readings.filter((each) => each.phase === phase).map(row)), key("Add a reading", () => enter(null, phase))]));
}
