// From a heap of entries to the state of a job; the same as the server's fold, line by line, checked by the same vectors.

const ZONED = /(Z|[+-]\d\d:\d\d)$/;
const DAY_S = 86400;

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
    steps: steps(state, table),
    state: reached(state, table),
    run: state.run,
  };
}

// The current entries in the order of the work, with the place and time under which each counts.
export function currentOf(entries) {
  const [standing] = sortOut(entries);
  const [struck] = strike(standing);
  return inOrder(standing, struck);
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
    run: {},
    last_at: 0,
    any_ground: false,
  };
}

function sortOut(entries) {
  const standing = {};
  const held = {};
  const leftOut = [];
  for (const entry of entries) {
    if (entry.decision === "left_out") {
      if (!leftOut.includes(entry.id)) leftOut.push(entry.id);
    } else if (entry.held && !entry.held.startsWith("hold_point:") && entry.decision !== "taken") {
      held[entry.id] = entry.held;
    } else {
      standing[entry.id] = entry;
    }
  }
  leftOut.sort();
  return [standing, held, leftOut];
}

function strike(standing) {
  const struck = {};
  for (const key of Object.keys(standing).sort()) {
    const entry = standing[key];
    const target = standing[entry.supersedes || ""];
    if (target && target.kind === entry.kind && target.id !== entry.id) (struck[target.id] ||= []).push(entry.id);
  }
  return [struck, Object.keys(struck).sort().filter((key) => struck[key].length > 1)];
}

// A correction takes the place and time of what it corrects.
function inOrder(standing, struck) {
  const current = [];
  for (const key of Object.keys(standing).sort()) {
    if (struck[key]) continue;
    const first = firstOf(standing[key], standing);
    current.push({ ...standing[key], at: first.at, device: first.device, seq: first.seq });
  }
  const places = new Map(current.map((entry) => [entry.id, [moment(entry.at) || 0, entry.device, entry.seq, entry.id]]));
  return current.sort((a, b) => compared(places.get(a.id), places.get(b.id)));
}

function compared(a, b) {
  for (let at = 0; at < a.length; at += 1) {
    if (a[at] < b[at]) return -1;
    if (a[at] > b[at]) return 1;
  }
  return 0;
}

function firstOf(entry, standing) {
  let first = entry;
  const seen = [entry.id];
  while (first.supersedes && standing[first.supersedes]) {
    const following = standing[first.supersedes];
    if (seen.includes(following.id) || following.kind !== entry.kind) break;
    seen.push(following.id);
    first = following;
  }
  return first;
}

export function moment(text) {
  if (typeof text !== "string" || !ZONED.test(text)) return null;
  const found = Date.parse(text);
  return Number.isNaN(found) ? null : found / 1000;
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
  derive(state);
}

function closedAt(entry, state, table) {
  for (const row of table.hold_points) {
    if (row.kind !== entry.kind) continue;
    const subject = subjectAt(row, entry);
    if (subject === null || !missing(row, subject, entry, state, table).length) continue;
    const key = row.code + (subject ? `:${subject}` : "");
    const by = state.allowed[key] || state.allowed[row.code] || null;
    if (by === null && entry.decision !== "taken") return row.code;
    state.overrides.push({ entry: entry.id, hold_point: row.code, subject, by: by || "office" });
  }
  return "";
}

function subjectAt(row, entry) {
  if (row.subject_from) {
    const named = value(entry, row.subject_from);
    return typeof named === "string" && named && named !== "H" ? named : null;
  }
  return row.each === "job" ? "" : entry.subject;
}

const isRow = (found) => found !== null && typeof found === "object" && !Array.isArray(found);

export function value(entry, name) {
  const found = entry.payload[name];
  return isRow(found) && found.value !== undefined ? found.value : null;
}

function isYes(entry, name) {
  const found = entry.payload[name];
  return isRow(found) && (found.value === true || found.unknown === "not_applicable");
}

// In words, what keeps a hold point closed; without an entry its own answers are not asked.
export function missing(row, subject, entry, state, table) {
  const words = [];
  const tell = (need, name) => words.push(need.words.replaceAll("{s}", name));
  for (const need of row.needs) {
    if ("yes" in need) {
      if (entry !== null && !isYes(entry, need.yes)) tell(need, subject);
    } else if ("rule" in need) {
      for (const name of broken(need.rule, entry, state, table)) tell(need, name);
    } else {
      for (const name of without(need, subject, state)) tell(need, name);
    }
  }
  return words;
}

function without(need, subject, state) {
  const have = state.facts[need.fact] || {};
  if (need.of === "any") return Object.keys(have).length ? [] : [""];
  if (need.of === "batch") return Object.keys(have).some((name) => name.startsWith("M")) ? [] : [""];
  return subjects(need.of, subject, state.plan).filter((name) => !(name in have));
}

const names = (found) => (Array.isArray(found) ? [...found] : Object.keys(found));

function subjects(of, subject, plan) {
  const header = plan.header ? ["H"] : [];
  if (of === "borehole") {
    const hole = plan.loops[subject]?.borehole || "";
    return hole ? [hole] : [];
  }
  if (of === "job") return [""];
  if (of === "system") return ["system"];
  if (of === "header") return header;
  if (of === "loops_header") return [...names(plan.loops), ...header];
  if (of === "all") return [...names(plan.sections), ...names(plan.loops), ...header];
  return ["loops", "sections", "boreholes"].includes(of) ? names(plan[of]) : [subject];
}

function broken(rule, entry, state, table) {
  if (rule === "cooled") return entry === null ? [] : stillCooling(entry, state);
  if (rule === "run_over") {
    const at = entry === null ? state.last_at : Math.max(state.last_at, moment(entry.at) || 0);
    const { ends } = state.run;
    return ends === undefined || at < ends ? [""] : [];
  }
  if (rule === "stable") return table.good.includes(state.outcomes.run) ? [] : [""];
  if (rule === "approved") return state.given.approved ? [] : [""];
  return [rule];
}

function stillCooling(entry, state) {
  const covers = value(entry, "covers") || [];
  const at = moment(entry.at) || 0;
  return state.joints.filter((joint) => (covers.includes(joint.section) || covers.includes(joint.loop)) && joint.ready > at).map((joint) => joint.subject);
}

function remember(entry, state, table) {
  const { kind } = entry;
  if (["trench_section", "joint", "pressure_test"].includes(kind)) state.any_ground = true;
  if (kind === "pressure_test") {
    const covers = value(entry, "covers");
    state.tests[entry.subject] = Array.isArray(covers) ? covers : [];
  }
  if (kind === "trench_section") {
    const count = value(entry, "joints");
    state.expected_joints[entry.subject] = typeof count === "number" ? count : 1;
  }
  if (kind === "joint") {
    const joint = jointOf(entry);
    state.joints.push(joint);
    undo(joint, state, table);
  }
  if (kind === "deaeration_start") state.run = runOf(entry, state);
  if (kind === "covered" && !(entry.subject in (state.facts.released || {}))) state.covered_early.push(entry.subject);
}

function jointOf(entry) {
  const made = moment(value(entry, "ended_at")) || moment(entry.at) || 0;
  const cooling = value(entry, "cooling_min");
  let minutes = typeof cooling === "number" ? cooling : 0;
  if ((entry.payload.cooling_min || {}).unit === "h") minutes *= 60;
  return {
    id: entry.id,
    subject: entry.subject,
    section: value(entry, "section") || "",
    loop: value(entry, "loop") || "",
    made,
    ready: made + minutes * 60,
    good: isYes(entry, "visual_ok"),
  };
}

function runOf(entry, state) {
  const started = moment(value(entry, "started")) || moment(entry.at) || 0;
  const days = value(entry, "planned_days");
  const ends = started + (typeof days === "number" ? days : 0) * DAY_S;
  const later = moment(state.given.run_ends_at);
  return { entry: entry.id, started, ends: later === null ? ends : Math.max(ends, later) };
}

function undo(joint, state, table) {
  const touched = joint.loop ? [joint.loop] : loopsIn(joint.section, state.plan);
  let undone = strip(table.undone.section, [joint.section], joint, state);
  undone = strip(table.undone.loop, touched, joint, state) || undone;
  if (undone) strip(table.undone.job, [""], joint, state);
}

function loopsIn(section, plan) {
  const found = names(plan.loops).filter((code) => plan.loops[code].section === section);
  if (plan.header && plan.header_section === section) found.push("H");
  return found;
}

function strip(facts, wanted, joint, state) {
  let anyGone = false;
  for (const fact of facts) {
    const have = state.facts[fact] || {};
    for (const name of wanted) {
      if (!(name in have) || have[name].at >= joint.made) continue;
      const row = (state.void[have[name].entry] ||= { by: joint.id, subjects: [] });
      if (!row.subjects.includes(name)) row.subjects.push(name);
      delete have[name];
      anyGone = true;
    }
  }
  return anyGone;
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

function derive(state) {
  const { facts } = state;
  const joined = {};
  for (const section of names(state.plan.sections)) {
    const made = state.joints.filter((joint) => joint.section === section && joint.good);
    const expected = state.expected_joints[section] ?? 1;
    const last = made[made.length - 1];
    if (new Set(made.map((joint) => joint.subject)).size >= expected) joined[section] = { entry: last ? last.id : "", at: last ? last.made : 0 };
  }
  const tested = {};
  for (const [name, row] of Object.entries(facts.passed || {})) {
    if (!names(state.plan.sections).includes(name) || name in joined) tested[name] = row;
  }
  facts.joined = joined;
  facts.tested = tested;
}

function holdPoints(state, table) {
  const rows = [];
  for (const row of table.hold_points) {
    for (const subject of row.each ? subjects(row.each, "", state.plan) : []) {
      const key = row.code + (subject ? `:${subject}` : "");
      const words = missing(row, subject, null, state, table);
      const by = state.allowed[key] || state.allowed[row.code] || "";
      rows.push({ code: row.code, subject, open: !words.length, missing: words, overridden_by: by });
    }
  }
  return rows;
}

function steps(state, table) {
  return table.steps.map((row) => ({ code: row.code, kind: row.kind, ...progress(row, state, table) }));
}

function progress(row, state, table) {
  if ("rule" in row) {
    const waits = broken(row.rule, null, state, table);
    return { done: waits.length ? [] : [""], to_do: waits };
  }
  const have = state.facts[row.fact] || {};
  if (row.each === "any" || row.each === "batch") {
    const found = Object.keys(have).filter((name) => row.each === "any" || name.startsWith("M")).sort();
    const wanted = "count" in row ? (state.given[row.count] ?? 1) : 1;
    return { done: found, to_do: found.length >= wanted ? [] : [""] };
  }
  const wanted = subjects(row.each, "", state.plan);
  return { done: wanted.filter((name) => name in have), to_do: wanted.filter((name) => !(name in have)) };
}

function reached(state, table) {
  let found = state.any_ground ? "in_ground" : "";
  const waits = Object.fromEntries(table.steps.map((row) => [row.code, progress(row, state, table).to_do.length > 0]));
  for (const row of table.states) {
    const late = "rule" in row ? broken(row.rule, null, state, table).length > 0 : false;
    if (!late && !row.steps.some((code) => waits[code])) found = row.state;
  }
  return found;
}
