// One entry being written: made from the kind's own list of fields, kept on the phone as it is typed.

import { movedBy, noted } from "./clock.js";
import { h, key, put, say } from "./dom.js";
import { ask, caution } from "./parts.js";
import { clockTime } from "./outbox.js";
import { block, choice, codes, toggles } from "./answers.js";
import { calcBox, recipe, suited } from "./judge.js";
import { sitting, sourceBlock, TYPED, unseen } from "./source.js";
import { newEntry } from "./standing.js";
import * as store from "./store.js";
import { releasePhotos } from "./sync.js";

const SOON = 300;
// What somebody answers for takes a second tap.
const CONFIRM = {
  backfill_release: ({ subject }) => `Release ${subject} for backfill?`,
  override: ({ subject }) => `Go past hold point ${subject}?`,
  sheet_submit: () => "Hand in the sheet?",
};

export function newDraft(app, { kind, subject = null, supersedes = null, reason = "", payload = {}, text = {}, askedField = "" }) {
  return {
    id: crypto.randomUUID(),
    kind,
    subject: subject === null ? firstSubject(app, kind) : subject,
    job: app.job.id,
    visit: app.visit ? app.visit.id : null,
    author: app.person.id,
    payload,
    text,
    supersedes,
    reason,
    askedField,
    instrument: lastInstrument(app, kind),
    opened_at: new Date().toISOString(),
    observed_at: "",
    seen_at: "",
    source: sitting(app),
    photos: {},
  };
}

function firstSubject(app, code) {
  const choices = subjects(app, code);
  return choices.length === 1 ? choices[0].value : null;
}

function instrumentsFor(app, code) {
  const wanted = app.kinds[code].instrument;
  return wanted ? app.job.instruments.filter((each) => each.kind === wanted) : [];
}

function lastInstrument(app, code) {
  const there = instrumentsFor(app, code);
  const used = localStorage.getItem(`field.instrument.${app.kinds[code].instrument}`);
  const found = there.find((each) => each.id === used) || (there.length === 1 ? there[0] : null);
  return found ? found.id : null;
}

function known(app, letter) {
  const found = new Set();
  for (const entry of app.current) if (entry.subject && entry.subject.startsWith(letter)) found.add(entry.subject);
  return [...found].sort((a, b) => Number(a.slice(letter.length)) - Number(b.slice(letter.length)));
}

function minted(app, letter) {
  const numbers = known(app, letter).map((each) => Number(each.slice(letter.length)) || 0);
  return `${letter}${Math.max(0, ...numbers) + 1}`;
}

// For what this kind can be logged on this job.
export function subjects(app, code) {
  const { of, mints } = app.kinds[code];
  const { job } = app;
  const header = job.header ? [choice("H", "Main header")] : [];
  const ways = {
    job: () => [choice("", "The whole job")],
    loop: () => codes(job.loops),
    loop_or_header: () => [...codes(job.loops), ...header],
    header: () => header,
    borehole: () => codes(job.boreholes),
    point: () => [...known(app, "J").map((each) => choice(each, `Joint ${each}`)), ...codes(job.boreholes), ...known(app, "P").map((each) => choice(each)), choice(minted(app, "P"), "Another point")],
    section: () => codes(job.sections),
    sample: () => [...known(app, "M").map((each) => choice(each, `Batch ${each}`)), ...codes(job.loops), choice("system", "Whole system")],
    hold_point: () => app.holdPoints().map((each) => choice(each.subject, each.label)),
  };
  if (ways[of]) return ways[of]();
  const starts = ["pressure_test", "joint", "mix_batch", "final_reading"].includes(code);
  return starts ? [choice(minted(app, mints))] : known(app, mints).map((each) => choice(each));
}

export function counts(field, draft) {
  if (!field.only_if) return true;
  const other = draft.payload[field.only_if.field];
  const value = other && other.value;
  return field.only_if.values.includes(typeof value === "boolean" ? String(value) : value);
}

function answered(field, draft) {
  const given = draft.payload[field.name];
  if (given && given.unknown) return true;
  if (field.answer === "text" || field.answer === "strokes") {
    const text = draft.text[field.name];
    return Boolean(text && text.length >= (field.shortest || 1));
  }
  if (!given) return false;
  return Array.isArray(given.value) ? given.value.length > 0 : given.value !== undefined && given.value !== null;
}

export function missing(app, draft) {
  const errors = [];
  if (draft.subject === null) errors.push({ name: "subject", words: "What this is for" });
  for (const field of app.kinds[draft.kind].fields) {
    if (field.required === false || !counts(field, draft) || answered(field, draft)) continue;
    const words = field.shortest > 1 ? `${field.label}: write at least ${field.shortest} characters` : field.label;
    errors.push({ name: field.name, words });
  }
  return [...errors, ...unseen(draft)];
}

function trimmed(app, draft) {
  const payload = {};
  const text = {};
  for (const field of app.kinds[draft.kind].fields) {
    if (!counts(field, draft)) continue;
    if (draft.payload[field.name]) payload[field.name] = draft.payload[field.name];
    if (draft.text[field.name]?.length) text[field.name] = draft.text[field.name];
  }
  return { payload, text };
}

export async function saveDraft(app, draft) {
  const record = newEntry({ ...draft, now: Date.now(), zone: app.zone });
  Object.assign(record.wire, trimmed(app, draft));
  const at = draft.seen_at || draft.observed_at;
  if (at) record.wire.observed_at = at;
  const jump = movedBy();
  if (jump) record.wire.clock_moved_s = jump;
  const saved = await store.saveEntry(record, draft.id);
  noted(jump);
  if (Object.keys(draft.photos).length) await releasePhotos(draft.id);
  return saved;
}

// Draws the form into `place`; `done(record)` after it is saved, `leave()` when it is put aside.
export function form(app, place, draft, { done, leave }) {
  const kind = app.kinds[draft.kind];
  const blocks = new Map();
  const summary = h("div.errors", { role: "alert", tabindex: "-1" });
  const kept = h("p.kept", { role: "status" });
  const box = calcBox(kind.calc, app, draft);
  let timer = 0;
  let saving = false;

  const keep = async () => {
    clearTimeout(timer);
    if (saving) return;
    try {
      await store.keepDraft(draft);
      put(kept, `Not finished. Kept on this phone ${clockTime(new Date().toISOString())}`);
    } catch (error) {
      put(kept, `NOT KEPT – write it down. ${store.whyNot(error)}`);
    }
  };
  const changed = (name) => {
    draft.observed_at = draft.observed_at || new Date().toISOString();
    clearTimeout(timer);
    timer = setTimeout(keep, SOON);
    if (name) blocks.get(name)?.draw();
    for (const field of kind.fields) if (blocks.has(field.name)) blocks.get(field.name).node.hidden = !counts(field, draft);
    if (box) box.update();
    if (tool) tool.update();
  };
  // A form that was left by the phone's own back key must not write again later.
  const hidden = () => {
    if (!kept.isConnected) document.removeEventListener("visibilitychange", hidden);
    else if (document.visibilityState === "hidden" && draft.observed_at) keep();
  };
  document.addEventListener("visibilitychange", hidden);

  const save = async () => {
    if (saving) return;
    const errors = missing(app, draft);
    put(summary, errors.length ? [h("p", {}, errors.length === 1 ? "One answer is missing. Enter it, or say why it is not known." : `${errors.length} answers are missing. Enter each, or say why it is not known.`), h("ul", {}, errors.map((error) => h("li", {}, h("a", { href: `#field-${error.name}`, onclick: (event) => jump(event, error.name) }, error.words))))] : []);
    if (errors.length) {
      summary.focus();
      summary.scrollIntoView({ block: "start" });
      return;
    }
    if (CONFIRM[draft.kind] && !(await ask(CONFIRM[draft.kind](draft), { yes: "Yes, with my name", no: "Not yet" }))) return;
    if (saving) return;
    saving = true;
    clearTimeout(timer);
    try {
      const record = await saveDraft(app, draft);
      document.removeEventListener("visibilitychange", hidden);
      say("Saved. On this phone.");
      done(record);
    } catch (error) {
      saving = false;
      put(summary, h("p.alarm", {}, `NOT SAVED – write it down. ${store.whyNot(error)}`));
      summary.scrollIntoView({ block: "start" });
    }
  };

  // Nothing was answered: nothing is left lying about.
  const putAside = async () => {
    document.removeEventListener("visibilitychange", hidden);
    if (draft.observed_at || draft.supersedes) await keep();
    await leave();
  };
  draft.source ||= TYPED;
  const context = { app, draft, changed, keep };
  const tool = instrumentBlock(context);
  for (const field of kind.fields) blocks.set(field.name, block(context, field));
  put(
    place,
    h("header.top", {}, h("button.back", { type: "button", onclick: putAside }, "‹ Back"), h("h1", {}, kind.label, draft.subject ? h("span.code", {}, draft.subject.replace(":", " ")) : null)),
    draft.supersedes ? h("p.note", {}, "A correction. The first entry stays in the record beside it.") : null,
    kind.help ? h("p.lead", {}, kind.help) : null,
    draft.askedField && blocks.has(draft.askedField) ? [blocks.get(draft.askedField).node, h("p.lead", {}, "The rest stands as you logged it.")] : caution(app.job.cautions?.[kind.code] || kind.cautions || []),
    recipe(kind.calc, app),
    summary,
    draft.source === TYPED ? null : sourceBlock(context),
    subjectBlock(context),
    tool ? tool.node : null,
    [...blocks].filter(([name]) => name !== draft.askedField).map(([, each]) => each.node),
    box ? box.node : null,
    draft.source === TYPED ? sourceBlock(context) : null,
    kept,
    h("div.act", {}, key("Save", save, "main")),
  );
  changedVisibility(kind, blocks, draft);
  if (box) box.update();
}

function changedVisibility(kind, blocks, draft) {
  for (const field of kind.fields) blocks.get(field.name).node.hidden = !counts(field, draft);
}

function jump(event, name) {
  event.preventDefault();
  document.getElementById(`field-${name}`)?.scrollIntoView({ block: "center" });
}

// Chosen on the way in it needs no room here; it can still be changed.
function subjectBlock({ app, draft, changed }) {
  const choices = subjects(app, draft.kind);
  if (app.kinds[draft.kind].of === "job" || (choices.length === 1 && draft.subject === choices[0].value)) return null;
  const node = h("section.field", { id: "field-subject" });
  const open = () => put(node, h("h2", {}, "For"), choices.length ? toggles("For", choices, (value) => draft.subject === value, (value) => {
    draft.subject = value;
    close();
    changed();
  }) : h("p", {}, "There is nothing to log this for yet."));
  const close = () => put(node, h("h2", {}, `For ${choices.find((each) => each.value === draft.subject)?.label ?? draft.subject}`), draft.supersedes ? null : h("button.quiet", { type: "button", onclick: open }, "Choose another"));
  if (draft.subject === null) open();
  else close();
  return node;
}

function instrumentBlock({ app, draft, changed }) {
  const there = instrumentsFor(app, draft.kind);
  if (!there.length) return null;
  const node = h("section.field");
  const today = new Date().toISOString().slice(0, 10);
  const note = (each) => (each.calibration_due_date && each.calibration_due_date < today ? `calibration ran out ${each.calibration_due_date}` : each.serial);
  const told = h("div", { "aria-live": "polite" });
  const update = () => put(told, suited(app, draft));
  const draw = () => put(node, h("h2", {}, "Read with"), toggles("Read with", there.map((each) => choice(each.id, each.name, note(each))), (value) => draft.instrument === value, (value) => {
    draft.instrument = value;
    localStorage.setItem(`field.instrument.${app.kinds[draft.kind].instrument}`, value);
    draw();
    changed();
  }), told);
  draw();
  update();
  return { node, update };
}
