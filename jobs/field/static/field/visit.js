// One visit: what comes next, what a hold point still lacks, the loops as a picture, what was logged last.

import { afterBreak, cautionsBox, conflictsBox, fluidBox, leave, leavingBox, limitsBox, othersBox, siteBox } from "./aside.js";
import { alarmKey } from "./aids.js";
import { h, key, put, state } from "./dom.js";
import { ask, sheet } from "./parts.js";
import { correct, entryPage, log, resume, stateLine, summary, takeBack } from "./entry.js";
import { fold, gateOf } from "./fold.js";
import { outcomes } from "./judge.js";
import { currentOf } from "./order.js";
import { clockTime, dayAndTime } from "./outbox.js";
import { picture, portSheet } from "./ports.js";
import { fillLoop, pressureTest } from "./running.js";
import { sittingBox, TYPED } from "./source.js";

export { takeBack };

// What the office sent and what this phone holds, folded into the state of the job.
export function open(app, visit) {
  const job = app.pack.jobs.find((each) => each.id === visit.job);
  if (!job) return null;
  const inside = { ...app, visit, job, kinds: app.pack.kinds, zone: job.site.time_zone };
  const known = new Map();
  for (const wire of job.entries) known.set(wire.id, { ...entryOf(wire), held: wire.held || "", decision: wire.decision || "", name: wire.person_name, verdicts: wire.verdicts || [] });
  for (const record of app.entries) {
    if (record.job !== job.id || record.author !== app.person.id) continue;
    const there = known.get(record.id);
    const held = record.state === "held" ? record.why : "";
    known.set(record.id, there ? { ...there, record } : { ...entryOf({ ...record.wire, device: app.device }), held, decision: "", name: app.person.name, verdicts: [], record });
  }
  inside.entry = (id) => known.get(id);
  const given = { plan: job.plan, entries: [...known.values()], outcomes: job.outcomes || {}, given: job.given || {} };
  inside.current = currentOf(given.entries).filter((entry) => entry.reason !== "withdrawn");
  inside.folded = fold({ ...given, outcomes: { ...given.outcomes, ...changed(inside, job) } }, app.pack.procedure);
  inside.known = known;
  inside.holdPoints = () => inside.folded.hold_points.map((row) => ({ subject: keyOf(row), label: `${keyOf(row)} ${labelOf(app, row.code)}` }));
  return inside;
}

function entryOf(wire) {
  const { id, kind, subject, payload, text, supersedes, reason, instrument, device, seq, source } = wire;
  return { id, kind, subject, payload, text: text || {}, supersedes, reason: reason || "", instrument, device: device || "", seq: seq || 0, source: source || TYPED, at: wire.observed_at };
}

// The office's word stands for what only the office has; the phone judges where it holds something newer.
function changed(inside, job) {
  const own = outcomes(inside);
  const sent = new Set(job.entries.map((entry) => entry.id));
  const newer = new Set(inside.current.filter((entry) => !sent.has(entry.id)).flatMap((entry) => [entry.id, entry.subject, entry.kind]));
  return Object.fromEntries(Object.entries(own).filter(([id]) => newer.has(id) || !(id in (job.outcomes || {}))));
}

const keyOf = (row) => row.code + (row.subject ? `:${row.subject}` : "");
const labelOf = (app, code) => app.pack.procedure.hold_points.find((row) => row.code === code)?.label || "";

// Work that was stored before these screens lacks their words; it is fetched anew as soon as there is signal.
export const isOld = (app) => !app.pack.words?.said || !app.pack.procedure.ports;

export function route(app, place, parts, tools) {
  if (isOld(app)) return put(place, h("h1", {}, "This work is older than the app"), h("p", {}, "Go where there is signal and get the newest work. What you logged is safe on this phone."), key("To your visits", () => tools.go(""), "main"));
  const visit = app.pack.visits.find((each) => each.id === parts[0]);
  const inside = visit && open(app, visit);
  if (!inside) return missingVisit(place, tools);
  const here = `visit/${visit.id}`;
  const local = { ...tools, back: () => tools.go(here), go: (path) => tools.go(`${here}/${path}`) };
  const [, screen, ...rest] = parts.map(decodeURIComponent);
  if (screen === "log") return log(inside, place, rest, local);
  if (screen === "draft") return resume(inside, place, rest[0], local);
  if (screen === "test") return pressureTest(inside, place, rest[0], local);
  if (screen === "fill") return fillLoop(inside, place, rest[0], local);
  if (screen === "entry") return entryPage(inside, place, rest[0], local);
  if (screen === "correct") return correct(inside, place, rest, local);
  return page(inside, place, local, tools);
}

function missingVisit(place, { go }) {
  put(place, h("h1", {}, "This visit is not on this phone"), h("p", {}, "It may have been given to somebody else. Get the work again where there is signal."), key("To your visits", () => go(""), "main"));
}

function page(inside, place, local, tools) {
  const { visit, job } = inside;
  place.dataset.live = "1";
  const mine = stepsFor(inside, (step) => step.phase === visit.kind);
  const others = stepsFor(inside, (step) => step.phase !== visit.kind);
  const next = mine.find((step) => step.toDo.length);
  const [marked, howTheyComeIn] = sittingBox(inside, local.refresh);
  put(
    place,
    h("header.top", {}, h("button.back", { type: "button", onclick: () => leave(inside, local, () => tools.go("")) }, "‹ Visits"), h("h1", {}, visit.kind_label), h("p.lead", {}, `Job ${job.number} · ${job.title}`)),
    marked,
    asks(inside, local),
    conflictsBox(inside, local),
    running(inside, local),
    unfinished(inside, local),
    siteBox(job),
    picture(inside, (code) => tapLoop(inside, code, local)),
    inside.folded.covered_early.length ? h("p", {}, state("fail", `Covered before release: ${inside.folded.covered_early.join(", ")}`)) : null,
    h("section.rows", {}, h("h2", {}, "Steps"), h("ul", {}, mine.map((step) => stepRow(inside, step, local)))),
    leavingBox(inside, local),
    othersBox(inside),
    lastEntries(inside, local),
    drawing(job),
    cautionsBox(inside, mine),
    fluidBox(inside),
    limitsBox(inside),
    h("details", {}, h("summary", {}, "Other steps"), h("ul", {}, others.map((step) => stepRow(inside, step, local)))),
    howTheyComeIn,
    h("details", {}, h("summary", {}, "Log something else"), h("div.keys.keys--stack", {}, inside.pack.procedure.anywhere.filter((code) => inside.kinds[code]).map((code) => key(inside.kinds[code].label, () => other(inside, code, local))))),
    h("div.act", {}, next ? key(`Next: ${next.label}${next.toDo[0] && next.kind !== "pressure_test" && next.toDo[0] !== "system" ? ` ${next.toDo[0]}` : ""}`, () => begin(inside, next, next.toDo[0], local), "main") : key("Log a photo or note", () => local.go("log/photo"))),
  );
}

function stepsFor(inside, wanted) {
  const found = new Map(inside.folded.steps.map((step) => [step.code, step]));
  return inside.pack.procedure.steps.filter((row) => found.has(row.code) && wanted(row)).map((row) => {
    const { done, to_do: toDo, not_ours: notOurs } = found.get(row.code);
    return { ...row, done, toDo, notOurs, closed: closedFor(inside, row.kind) };
  });
}

// Subject -> what the hold point before this kind still lacks; empty where it is open or somebody went past it.
function closedFor(inside, kind) {
  const codes = inside.pack.procedure.hold_points.filter((row) => gateOf(row, kind)).map((row) => row.code);
  const rows = inside.folded.hold_points.filter((row) => codes.includes(row.code) && !row.open && !row.overridden_by);
  return new Map(rows.map((row) => [row.subject, row]));
}

// Pipe is laid loop by loop, and waits for the trench of its section.
function closedRow(inside, step, subject) {
  const place = step.kind === "pipe_laid" ? inside.job.plan.loops[subject]?.section : subject;
  return step.closed.get(place) || step.closed.get("") || null;
}

// A joint is begun for a section; its hold points are those of the loops there, or of all while no section is named.
function closedRows(inside, step, subject) {
  if (step.kind === "joint") return [...step.closed.values()].filter((row) => !subject || inside.job.plan.loops[row.subject]?.section === subject);
  return [closedRow(inside, step, subject ?? "")].filter(Boolean);
}

function stepRow(inside, step, local) {
  const all = [...step.done.map((code) => [code, true]), ...step.toDo.map((code) => [code, false])];
  const shut = step.toDo.map((code) => closedRow(inside, step, code)).filter(Boolean);
  const everyShut = step.toDo.length > 0 && shut.length === step.toDo.length;
  const mark = step.notOurs ? state("others", step.notOurs) : !step.toDo.length ? state("done", "Done") : !mayLog(inside, step.kind) ? state("open", "Engineer's step") : everyShut ? state("held", `Hold point ${shut[0].code}`) : state("open", step.done.length ? "Under way" : "To do");
  const words = [...new Set(shut.flatMap((row) => row.missing))];
  const codes = step.kind === "pressure_test" ? [] : all.filter(([code]) => code && code !== "system");
  const untested = step.kind === "pressure_test" && step.toDo.length ? h("p.help", {}, `Not in a passed test yet: ${step.toDo.join(", ")}.`) : null;
  return h(
    "li.step",
    {},
    h("div.step__head", {}, h("b", {}, step.label), mark),
    words.length ? h("ul.step__why", {}, words.slice(0, 4).map((each) => h("li", {}, each)), words.length > 4 ? h("li", {}, `and ${words.length - 4} more`) : null) : null,
    untested,
    afterBreak(inside, step.kind, (step.toDo.length && step.done.length) || (step.kind === "pressure_test" && openTest(inside)) || (step.kind === "deaeration_start" && inside.folded.run.ends * 1000 > Date.now())),
    h("div.chips", {}, codes.map(([code, done]) => h(`button.chip${done ? ".chip--done" : ""}`, { type: "button", onclick: () => begin(inside, step, code, local), "aria-label": `${step.label} ${code}, ${done ? "done" : "to do"}` }, done ? `✓ ${code}` : code)),
      codes.length || step.notOurs ? null : h("button.chip", { type: "button", onclick: () => begin(inside, step, step.toDo[0] ?? step.done[0], local) }, onceMore(inside, step))),
  );
}

function onceMore(inside, step) {
  if (step.kind === "pressure_test") return openTest(inside) ? "Go to the running test" : "Start a test";
  return step.toDo.length ? "Log it" : "Log it again";
}

// The manager may log what anybody may, phoned in or from paper.
function mayLog(inside, kind) {
  const { roles } = inside.pack.person;
  return roles.includes("manager") || inside.kinds[kind].roles.some((role) => roles.includes(role));
}

async function begin(inside, step, subject, local) {
  if (!mayLog(inside, step.kind) && !(await ask("This is the heat pump engineer's step.", { yes: "Log it all the same", no: "Back", detail: "Logged by you it is kept, and the office will look at it." }))) return;
  if (!(await past(inside, step.kind, closedRows(inside, step, subject), local))) return;
  leadTo(inside, step, subject, local);
}

async function other(inside, kind, local) {
  if (await past(inside, kind, [...closedFor(inside, kind).values()], local)) local.go(`log/${kind}`);
}

function leadTo(inside, step, subject, local) {
  const { kind } = step;
  const minting = ["pressure_test", "mix_batch", "final_reading"].includes(kind);
  if (kind === "pressure_test") return startTest(inside, local);
  if (kind === "loop_fill" && subject) return local.go(`fill/${subject}`);
  if (kind === "strength_reading" && step.each === "system") return local.go("log/strength_reading/system");
  if (kind === "joint" && subject) return local.go(`log/joint/in/${subject}`);
  const named = subject && !minting && inside.kinds[kind].of !== "job";
  return local.go(named ? `log/${kind}/${subject}` : `log/${kind}`);
}

function startTest(inside, local) {
  const open = openTest(inside);
  return local.go(open ? `test/${open}` : "log/pressure_test");
}

function openTest(inside) {
  const of = (kind) => inside.current.filter((entry) => entry.kind === kind).map((entry) => entry.subject);
  const ended = of("pressure_end");
  return of("pressure_test").filter((code) => !ended.includes(code)).pop() || "";
}

// A closed hold point is told, never hidden: the entry is kept all the same, but takes no effect.
function past(inside, kind, rows, local) {
  if (!rows.length) return true;
  const [{ code }] = rows;
  const { label, stop = "Do not go on with this step." } = inside.pack.procedure.hold_points.find((row) => row.code === code);
  const names = rows.map((row) => row.subject).filter(Boolean).join(", ");
  const reasons = [...new Set(rows.flatMap((row) => row.missing))];
  return sheet(`Hold point ${code}`, (close) => [
    h("p.over__question", {}, stop.replaceAll("{s}", names)), h("p", {}, `Hold point ${code}: ${label} ${names}`),
    h("ul.step__why", {}, reasons.map((each) => h("li", {}, each))),
    h("p", {}, `You can log it now. ${kind === "joint" ? `A joint of ${names}` : "It"} is kept, but takes no effect until this is put right or the office takes it.`),
    h("div.keys.keys--stack", {}, key("Back to the steps", () => close(false), "main"), key(kind === "joint" ? "Go on to the joint" : "Log it, it will be held", () => close(true)),
      key("Go past it, with a reason", () => (close(false), local.go(rows.length === 1 ? `log/override/${keyOf(rows[0])}` : "log/override"))))]);
}

function asks(inside, local) {
  const open = (inside.job.asks || []).filter((each) => !inside.current.some((entry) => entry.supersedes === each.entry));
  if (!open.length) return null;
  return h("section.asks", {}, h("h2", {}, open.length === 1 ? "The office asks" : `The office asks for ${open.length} things`), open.map((each) => {
    const entry = inside.entry(each.entry);
    return h("div.asks__one", {}, h("p", {}, h("b", {}, "Office asks: "), each.text), h("small", {}, `${entry ? `${inside.kinds[entry.kind].label} ${entry.subject} · ` : ""}${each.by}`),
      entry ? key("Put it right", () => local.go(`correct/${entry.id}/${each.field}`), "main") : h("p.help", {}, "This entry is not on this phone yet."));
  }));
}

function running(inside, local) {
  const test = openTest(inside);
  const fills = inside.drafts.filter((draft) => draft.job === inside.job.id && draft.kind === "loop_fill" && draft.payload.started);
  const cards = fills.map((draft) => key(`Filling ${draft.subject}, started ${clockTime(draft.payload.started.value, inside.zone)}`, () => local.go(`fill/${draft.subject}`), "run"));
  if (test) cards.unshift(key(`Pressure test ${test} is running`, () => local.go(`test/${test}`), "run"));
  const ends = (inside.folded.run.ends || 0) * 1000;
  if (ends > Date.now()) cards.push(h("p", {}, state("open", `De-aeration run until ${dayAndTime(new Date(ends).toISOString(), Date.now())}`)), alarmKey("Alarm for its end", "run", [{ at: ends, id: inside.job.id, words: `Job ${inside.job.number}: the de-aeration run is over` }]));
  return cards.length ? h("section.now", {}, h("h2", {}, "Running"), cards) : null;
}

function unfinished(inside, local) {
  const open = inside.drafts.filter((draft) => draft.job === inside.job.id && !(draft.kind === "loop_fill" && draft.payload.started));
  if (!open.length) return null;
  return h("section.rows", {}, h("h2", {}, "Not finished"), open.map((draft) => [key(`${inside.kinds[draft.kind]?.label || draft.kind} ${draft.subject || ""}`, () => local.go(`draft/${draft.id}`)), afterBreak(inside, draft.kind, true)]));
}

// The survey drawing of the office, as a picture.
function drawing(job) {
  if (!job.svg) return null;
  const image = h("img.drawing", { alt: "The ground array as drawn" });
  const show = () => {
    if (!image.src) image.src = URL.createObjectURL(new Blob([job.svg], { type: "image/svg+xml" }));
  };
  return h("details", { ontoggle: show }, h("summary", {}, "The array as drawn"), image);
}

function tapLoop(inside, code, local) {
  portSheet(inside, code, stepsFor(inside, () => true), (step) => begin(inside, step, code, local));
}

function lastEntries(inside, local) {
  const shown = [...inside.known.values()].filter((entry) => !inside.folded.superseded[entry.id] && entry.reason !== "withdrawn").sort((a, b) => (a.at < b.at ? 1 : -1)).slice(0, 8);
  if (!shown.length) return h("section.rows", {}, h("h2", {}, "Logged"), h("p", {}, "Nothing yet. What you log stands here at once, signal or not."));
  return h("section.rows", {}, h("h2", {}, "Logged last"), h("ul", {}, shown.map((entry) =>
    h("li", {}, h("button.row", { type: "button", onclick: () => local.go(`entry/${entry.id}`) },
      h("b", {}, `${inside.kinds[entry.kind]?.label || entry.kind} ${entry.subject}`), h("span", {}, summary(inside, entry)),
      h("small", {}, `${dayAndTime(entry.at, Date.now())} · ${entry.name || ""}`), stateLine(inside, entry))))));
}
