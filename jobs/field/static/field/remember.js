// What the fold keeps in mind while entries take effect; the same as the server's remembering, line by line.

import { isYes, moment, names, value } from "./order.js";

const DAY_S = 86400;

export function remember(entry, state, table) {
  const { kind } = entry;
  rememberTrench(entry, state);
  if (["pressure_test", "flush"].includes(kind)) state.any_water = true;
  if (kind === "pressure_test") {
    const covers = value(entry, "covers");
    state.tests[entry.subject] = Array.isArray(covers) ? covers : [];
  }
  if (kind === "position") state.positions[entry.subject] = entry.id;
  if (kind === "joint") {
    const joint = jointOf(entry);
    state.joints.push(joint);
    undo(joint, state, table);
  }
  if (kind === "deaeration_start") state.run = runOf(entry, state);
  if (kind === "covered" && !(entry.subject in (state.facts.released || {}))) state.covered_early.push(entry.subject);
}

function rememberTrench(entry, state) {
  const { kind } = entry;
  if (["trench_section", "pipe_laid", "joint", "pressure_test"].includes(kind)) state.any_ground = true;
  if (kind === "services_permit") state.permit = { from: moment(value(entry, "valid_from")), to: moment(value(entry, "valid_to")) };
  if (["trench_section", "excavation_inspection"].includes(kind)) state.inspected_at[entry.subject] = moment(entry.at) || 0;
  if (kind === "trench_section") {
    const count = value(entry, "joints");
    state.expected_joints[entry.subject] = typeof count === "number" ? count : 1;
  }
}

function jointOf(entry) {
  const made = moment(value(entry, "ended_at")) || moment(entry.at) || 0;
  const ready = made + minutesOf(entry, "cooling_min") * 60;
  const held = made + minutesOf(entry, "hold_min") * 60;
  return {
    id: entry.id,
    subject: entry.subject,
    section: value(entry, "section") || "",
    loop: value(entry, "loop") || "",
    made,
    may_move: held > made ? Math.min(held, ready) : ready,
    ready,
    buried: value(entry, "buried") === true,
    good: isYes(entry, "visual_ok"),
  };
}

function minutesOf(entry, name) {
  const given = value(entry, name);
  const minutes = typeof given === "number" ? given : 0;
  const { unit } = entry.payload[name] || {};
  return unit === "h" ? minutes * 60 : unit === "s" ? minutes / 60 : minutes;
}

function runOf(entry, state) {
  const started = moment(value(entry, "started")) || moment(entry.at) || 0;
  const days = value(entry, "planned_days");
  const ends = started + (typeof days === "number" ? days : 0) * DAY_S;
  const later = moment(state.given.run_ends_at);
  return { entry: entry.id, started, ends: later === null ? ends : Math.max(ends, later) };
}

export function stillCooling(entry, state) {
  const covers = value(entry, "covers") || [];
  const at = moment(entry.at) || 0;
  return state.joints.filter((joint) => (covers.includes(joint.section) || covers.includes(joint.loop)) && joint.ready > at).map((joint) => joint.subject);
}

// Buried joints of a section whose position nobody took.
export function notMeasured(section, state) {
  const open = state.joints.filter((joint) => joint.section === section && joint.buried && joint.good && !(joint.subject in state.positions));
  return [...new Set(open.map((joint) => joint.subject))];
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
