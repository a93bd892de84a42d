// From a heap of entries to the state of a job; the same as the server's fold, line by line, checked by the same vectors.

import { inOrder, isYes, moment, names, sortOut, strike, value } from "./order.js";
import { notMeasured, remember, stillCooling } from "./remember.js";

const HOUR_S = 3600;
const LOOP_BY_LOOP = "loop_by_loop";

export function fold(given, table) {
  const [standing, held, leftOut] = sortOut(given.entries);
  const [struck, conflicts] = strike(standing);
  const current = inOrder(standing, struck);
  const state = newState(given, held);
  state.allowed = overridesIn(current);
  for (const entry of current) take(entry, state, table);
  return {
    order: current.map((entry) => entry.id),
    superseded: struck,
    conflicts,
    held: state.held,
    left_out: leftOut,
    void: state.void,
    facts: state.facts,
    hold_points: holdPoints(state, table),
    overrides: state.overrides,
    covered_early: state.covered_early,
    joints: state.joints,
    steps: steps(state, table),
    state: reached(state, table),
    run: state.run,
    ask_on_leaving: waterMayFreeze(state),
  };
}

function newState(given, held) {
  return {
    plan: given.plan,
    outcomes: given.outcomes,
    given: given.given,
    facts: {},
    held,
    void: {},
    allowed: {},
    overrides: [],
    covered_early: [],
    tests: {},
    joints: [],
    expected_joints: {},
    positions: {},
    permit: {},
    inspected_at: {},
    run: {},
    last_at: 0,
    any_ground: false,
    any_water: false,
  };
}

function overridesIn(current) {
  const found = {};
  for (const entry of current) {
    if (entry.kind === "override" && entry.reason !== "withdrawn" && !(entry.subject in found)) found[entry.subject] = entry.id;
  }
  return found;
}

function take(entry, state, table) {
  const at = moment(entry.at) || 0;
  if (entry.reason === "withdrawn") return;
  const code = closedAt(entry, state, table);
  if (code) {
    state.held[entry.id] = `hold_point:${code}`;
    return;
  }
  state.last_at = Math.max(state.last_at, at);
  remember(entry, state, table);
  for (const row of table.facts) if (row.kind === entry.kind) establish(entry, row, state, table);
  derive(state, table);
}

// Is this row part of the way in which this array is filled?
const applies = (row, state) => !("procedures" in row) || row.procedures.includes(state.given.fill || LOOP_BY_LOOP);

// `Pressure test by others: …` when the phase is not ours, else empty.
function notOurs(phase, state, table) {
  const words = (state.given.scope || {})[phase] || "";
  return words ? `${table.phases[phase]} ${words}` : "";
}

const phaseOf = (need, table) => ("fact" in need ? table.phase_of[need.fact] : need.phase || "");

// How this hold point gates entries of a kind; null when it does not.
export const gateOf = (row, kind) => (row.kind === kind ? row : (row.also || []).find((other) => other.kind === kind) || null);

function closedAt(entry, state, table) {
  for (const row of table.hold_points) {
    const gate = gateOf(row, entry.kind);
    if (gate === null || !applies(row, state)) continue;
    const subject = subjectAt(row, gate, entry, state);
    if (subject === null || !missing(row, subject, entry, state, table).length) continue;
    const key = row.code + (subject ? `:${subject}` : "");
    const by = state.allowed[key] || state.allowed[row.code] || null;
    if (by === null && entry.decision !== "taken") return row.code;
    state.overrides.push({ entry: entry.id, hold_point: row.code, subject, by: by || "office" });
  }
  return "";
}

function subjectAt(row, gate, entry, state) {
  const way = gate.subject_from || "";
  if (way === "section_of_loop") return (state.plan.loops[entry.subject] || {}).section || null;
  if (way) {
    const named = value(entry, way);
    return typeof named === "string" && named && named !== "H" ? named : null;
  }
  return row.each === "job" ? "" : entry.subject;
}

// In words, what keeps a hold point closed; without an entry its own answers are not asked.
function missing(row, subject, entry, state, table) {
  const words = [];
  for (const need of row.needs) {
    const forOthers = entry !== null && "kinds" in need && !need.kinds.includes(entry.kind);
    if (forOthers || !applies(need, state) || notOurs(phaseOf(need, table), state, table)) continue;
    words.push(...lacking(need, subject, entry, state, table).map((name) => need.words.replaceAll("{s}", name)));
  }
  return words;
}

// The subjects for which a need does not stand.
function lacking(need, subject, entry, state, table) {
  if ("yes" in need) return entry !== null && !isYes(entry, need.yes) ? [subject] : [];
  if ("rule" in need) return broken(need.rule, subject, entry, state, table);
  const have = state.facts[need.fact] || {};
  if (need.of === "any") return Object.keys(have).length ? [] : [""];
  if (need.of === "batch") return Object.keys(have).some((name) => name.startsWith("M")) ? [] : [""];
  const wanted = need.of === "tested_sections" ? testedSections(entry, state) : subjects(need.of, subject, state.plan);
  return wanted.filter((name) => !(name in have));
}

// The sections inside the test that an entry is about; all of the job's without an entry.
function testedSections(entry, state) {
  const covers = entry === null ? null : state.tests[entry.subject] || null;
  return names(state.plan.sections).filter((name) => covers === null || covers.includes(name));
}

function subjects(of, subject, plan) {
  const header = plan.header ? ["H"] : [];
  if (of === "borehole") {
    const hole = plan.loops[subject]?.borehole || "";
    return hole ? [hole] : [];
  }
  if (of === "job") return [""];
  if (of === "system") return ["system"];
  if (of === "header") return header;
  if (of === "ports") return plan.manifold ? names(plan.loops) : [];
  if (of === "loops_header") return [...names(plan.loops), ...header];
  if (of === "all") return [...names(plan.sections), ...names(plan.loops), ...header];
  return ["loops", "sections", "boreholes"].includes(of) ? names(plan[of]) : [subject];
}

function broken(rule, subject, entry, state, table) {
  if (rule === "run_over") {
    const at = entry === null ? state.last_at : Math.max(state.last_at, moment(entry.at) || 0);
    const { ends } = state.run;
    return ends === undefined || at < ends ? [""] : [];
  }
  if (rule === "stable") return table.good.includes(state.outcomes.run) ? [] : [""];
  if (rule === "approved") return state.given.approved ? [] : [""];
  if (rule === "measured") return notMeasured(subject, state);
  return entry === null ? [] : brokenBy(entry, rule, subject, state);
}

// The rules about the entry itself and its time.
function brokenBy(entry, rule, subject, state) {
  const at = moment(entry.at) || 0;
  const { flammable, pumps = [], inspection_h: hours } = state.given;
  if (rule === "cooled") return stillCooling(entry, state);
  if (rule === "fit_pump") return !flammable || pumps.includes(value(entry, "pump")) ? [] : [""];
  if (rule === "permit_valid") {
    const { from = null, to = null } = state.permit;
    return (from !== null && at < from) || (to !== null && at > to) ? [""] : [];
  }
  if (rule === "fresh") {
    const seen = state.inspected_at[subject];
    return typeof hours === "number" && seen !== undefined && at - seen > hours * HOUR_S ? [subject] : [];
  }
  return [rule];
}

function establish(entry, row, state, table) {
  const holds = stands(entry, row, state, table);
  const have = (state.facts[row.fact] ||= {});
  for (const name of about(entry, row, state)) {
    if (holds) have[name] = { entry: entry.id, at: moment(entry.at) || 0 };
    else delete have[name];
  }
}

function stands(entry, row, state, table) {
  for (const name of row.yes || []) if (!isYes(entry, name)) return false;
  if (!("judged" in row)) return true;
  const keys = { entry: entry.id, subject: entry.subject, kind: entry.kind };
  return table.good.includes(state.outcomes[keys[row.judged]]);
}

function about(entry, row, state) {
  if (row.of === "covers") return [...(state.tests[entry.subject] || [])];
  if (row.of === "role") return [value(entry, "role") || ""];
  return row.of === "job" ? [""] : [entry.subject];
}

function derive(state, table) {
  const { facts } = state;
  const othersJoin = Boolean(notOurs("pipe", state, table));
  const joined = {};
  for (const section of names(state.plan.sections)) {
    const made = state.joints.filter((joint) => joint.section === section && joint.good);
    const expected = state.expected_joints[section] ?? 1;
    const last = made[made.length - 1];
    if (new Set(made.map((joint) => joint.subject)).size >= expected) joined[section] = { entry: last ? last.id : "", at: last ? last.made : 0 };
  }
  const tested = {};
  for (const [name, row] of Object.entries(facts.passed || {})) {
    if (!names(state.plan.sections).includes(name) || name in joined || othersJoin) tested[name] = row;
  }
  facts.joined = joined;
  facts.tested = tested;
}

function holdPoints(state, table) {
  const rows = [];
  for (const row of table.hold_points.filter((each) => applies(each, state))) {
    for (const subject of row.each ? subjects(row.each, "", state.plan) : []) {
      const key = row.code + (subject ? `:${subject}` : "");
      const words = missing(row, subject, null, state, table);
      const by = state.allowed[key] || state.allowed[row.code] || "";
      rows.push({ code: row.code, subject, open: !words.length, missing: words, overridden_by: by, not_ours: leansOn(row, state, table) });
    }
  }
  return rows;
}

// The phases that are not ours and count as standing for this hold point.
function leansOn(row, state, table) {
  const found = row.needs.map((need) => (applies(need, state) ? notOurs(phaseOf(need, table), state, table) : ""));
  return [...new Set(found.filter(Boolean))];
}

function steps(state, table) {
  return table.steps.filter((row) => applies(row, state)).map((row) => ({ code: row.code, kind: row.kind, not_ours: notOurs(row.scope, state, table), ...progress(row, state, table) }));
}

function progress(row, state, table) {
  const left = !notOurs(row.scope, state, table);
  if ("rule" in row) {
    const waits = broken(row.rule, "", null, state, table);
    return { done: waits.length ? [] : [""], to_do: left ? waits : [] };
  }
  const have = state.facts[row.fact] || {};
  if (row.each === "any" || row.each === "batch") {
    const found = Object.keys(have).filter((name) => row.each === "any" || name.startsWith("M")).sort();
    const wanted = "count" in row ? (state.given[row.count] ?? 1) : 1;
    return { done: found, to_do: found.length >= wanted || !left ? [] : [""] };
  }
  const wanted = subjects(row.each, "", state.plan);
  return { done: wanted.filter((name) => name in have), to_do: left ? wanted.filter((name) => !(name in have)) : [] };
}

function reached(state, table) {
  let found = state.any_ground ? "in_ground" : "";
  const rows = Object.fromEntries(steps(state, table).map((row) => [row.code, row]));
  let before = state.last_at > 0;
  for (const row of table.states) {
    const asked = row.steps.filter((code) => code in rows).map((code) => rows[code]);
    if (asked.some((step) => !step.not_ours)) {
      const othersRun = "phase" in row && notOurs(row.phase, state, table);
      const late = "rule" in row && !othersRun && broken(row.rule, "", null, state, table).length > 0;
      before = !late && !asked.some((step) => step.to_do.length);
    }
    if (before) found = row.state;
  }
  return found;
}

// Is there water, not mix, in pipe that lies above the frost: whoever leaves the site is then asked about it.
function waterMayFreeze(state) {
  const { facts } = state;
  const fill = state.given.fill || LOOP_BY_LOOP;
  let mixed = fill === "pre_filled";
  if (fill === LOOP_BY_LOOP) mixed = names(state.plan.loops).every((name) => name in (facts.filled || {}));
  if (fill === "circulate") mixed = Object.keys(facts.circulated || {}).length > 0;
  return Boolean(state.any_water && state.given.shallow && !mixed);
}
