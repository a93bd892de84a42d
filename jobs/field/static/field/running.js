// Two screens with a running clock: the pressure test and the filling of one loop. Clocks are differences of timestamps.

import { alarmKey, wakeSwitch } from "./aids.js";
import { claimWords, fillings } from "./aside.js";
import { h, key, put, say, state } from "./dom.js";
import { fillRun } from "./lines.js";
import { ask, caution, figure, minutesAndSeconds, ticking } from "./parts.js";
import { before, pad } from "./answers.js";
import { newDraft, saveDraft } from "./form.js";
import { momentOf } from "./given.js";
import { expectedFill, judgeFill, verdict } from "./judge.js";
import { judgeTest, plate, testRun } from "./judge_test.js";
import { clockTime } from "./outbox.js";
import { heldBecause } from "./standing.js";
import { openFills, picture } from "./ports.js";
import { sitting, TYPED } from "./source.js";
import * as store from "./store.js";

const PHASES = [
  ["hold", "Held by pumping"],
  ["rest", "Shut off, rest"],
  ["bleed", "Let down at once"],
  ["isolated", "Shut off, main reading"],
];
const EVERY_MIN = 10;
const SHARED = "Two loops at once share the flow, and neither time says anything.";

function head(words, code, back) {
  return h("header.top", {}, h("button.back", { type: "button", onclick: back }, "‹ Back"), h("h1", {}, words, code ? h("span.code", {}, code) : null));
}

function phasesOf(run) {
  return run.start?.payload.method?.value === "en805_a27_2000" ? PHASES : PHASES.filter(([code]) => code === "hold" || code === "isolated");
}

export function pressureTest(app, place, subject, { back, go, refresh, note }) {
  const judged = judgeTest(app, subject);
  const run = judged ? judged.run : testRun(app, subject);
  if (!run.start) {
    go(`log/pressure_test`);
    return;
  }
  const phases = phasesOf(run);
  let phase = run.readings.length ? run.readings[run.readings.length - 1].phase : "hold";
  const buttons = h("div.toggles.toggles--two", { role: "group", "aria-label": "Phase" });
  const drawPhases = () => put(buttons, phases.map(([code, words]) => h("button.toggle", { type: "button", "aria-pressed": String(code === phase), onclick: () => ((phase = code), drawPhases()) }, h("b", {}, words))));
  drawPhases();
  const reading = async () => {
    if (sitting(app) !== TYPED) return go(`log/pressure_reading/${subject}`);
    const field = app.kinds.pressure_reading.fields.find((each) => each.name === "pressure");
    const value = await pad(field, { units: app.pack.units, next: "Save", unit: lastUnit(run), past: before(app, { kind: "pressure_reading", subject }, "pressure") });
    if (!value) return null;
    const draft = newDraft(app, { kind: "pressure_reading", subject, payload: { phase: { value: phase }, pressure: value } });
    draft.instrument = run.start.instrument || draft.instrument;
    return saved(app, draft, refresh, note);
  };
  put(
    place,
    head("Pressure test", subject, back),
    caution([app.kinds.pressure_test.cautions[1] || app.kinds.pressure_test.cautions[0]]),
    app.folded.held[run.start.id] ? h("p", {}, state("held", `Takes no effect: ${heldBecause(app.pack.words, app.folded.held[run.start.id])}`)) : null,
    clockOf(run),
    drawn(run, judged),
    h("section.says", {}, verdict(judged), run.end ? null : h("p.source", {}, "Worked out on this phone. The office works it out again.")),
    readingsList(app, run),
    run.end ? null : [wakeSwitch("Keep the screen on during this test"), alarmKey("Alarms for the next readings", `readings-${subject}`, readingsDue(app, run, subject))],
    run.end ? null : h("section.field", {}, h("h2", {}, "The next reading is"), buttons),
    run.end
      ? h("div.act", {}, key("Watch pressure reading", () => go(`log/watch_reading/${subject}`), "main"))
      : h("div.act", {}, h("div.keys", {}, key("End the test", () => go(`log/pressure_end/${subject}`)), key("Log a reading", reading, "main"))),
  );
}

// The readings that are still to come until the time after shutting is over.
function readingsDue(app, run, subject) {
  const step = EVERY_MIN * 60000;
  const last = run.readings[run.readings.length - 1]?.at ?? Date.now();
  const count = Math.max(1, Math.ceil((app.job.calc?.pressure.rules.isolated || 0) / EVERY_MIN));
  const until = (run.from ?? last) + count * step;
  const found = [];
  for (let at = last + step; at <= until; at += step) found.push({ at, id: run.start.id, words: `Pressure test ${subject}, job ${app.job.number}: log a reading` });
  return found;
}

function lastUnit(run) {
  const reading = run.readings[run.readings.length - 1];
  return reading ? reading.entry.payload.pressure.unit : run.start.payload.test_pressure?.unit || "";
}

async function saved(app, draft, refresh, note) {
  try {
    note(await saveDraft(app, draft), app);
  } catch (error) {
    const isWritten = await ask(`NOT SAVED – write it down. ${store.whyNot(error)}`, { yes: "I have written it down", no: "Try again" });
    return isWritten ? null : saved(app, draft, refresh, note);
  }
  say("Saved. On this phone.");
  return refresh();
}

async function kept(draft, refresh) {
  try {
    await store.keepDraft(draft);
  } catch (error) {
    await ask(`NOT SAVED – write the time down. ${store.whyNot(error)}`, { yes: "I have written it down", no: "Close" });
    return false;
  }
  await refresh();
  return true;
}

function clockOf(run) {
  const big = h("span.clock__time");
  const small = h("p.clock__note");
  const node = h("section.clock", { role: "timer" }, big, small);
  if (run.end) return h("section.clock", {}, h("p.clock__note", {}, `Ended ${clockTime(run.end.at)}`));
  const since = run.from ?? run.hold[0]?.at ?? Date.parse(run.start.at);
  const words = run.from ? "since it was shut" : run.hold.length ? "held at pressure" : "since the start";
  return ticking(node, (now) => {
    const last = run.readings[run.readings.length - 1];
    const due = last ? last.at + EVERY_MIN * 60000 : null;
    put(big, minutesAndSeconds((now - since) / 1000));
    const next = due ? (now > due ? `next reading was due ${clockTime(new Date(due).toISOString())}` : `next reading ${clockTime(new Date(due).toISOString())}`) : "log the first reading";
    put(small, `${words} · ${next}`);
  });
}

function drawn(run, judged) {
  if (run.readings.length < 2) return null;
  const zero = run.from ?? run.readings[0].at;
  const points = run.readings.map((reading) => ({ minutes: (reading.at - zero) / 60000, value: reading.bar }));
  return plate(points, judged);
}

function readingsList(app, run) {
  if (!run.readings.length) return null;
  return h("section.rows", {}, h("h2", {}, "Readings"), h("ul", {}, run.readings.slice(-6).reverse().map((reading) =>
    h("li.row", {}, h("b", {}, `${reading.entry.payload.pressure.text} ${reading.entry.payload.pressure.unit}`), h("span", {}, clockTime(reading.entry.at, app.zone)), h("small", {}, (PHASES.find(([code]) => code === reading.phase) || ["", ""])[1])))));
}

// A fill is a draft with its start time until the colour is through; then the rest of its form is asked.
export function fillLoop(app, place, subject, { back, go, refresh, note }) {
  const draft = app.drafts.find((each) => each.kind === "loop_fill" && each.subject === subject && each.payload.started) || null;
  const node = h("section.field");
  const warning = caution(app.job.cautions?.loop_fill || app.kinds.loop_fill.cautions);
  if (draft) {
    put(place, head("Fill", subject, back), node);
    runningFill(app, node, draft, { go, refresh, warning });
  } else {
    put(place, head("Fill", subject, back), warning, node);
    startFill(app, node, subject, { back, go, refresh, note });
  }
}

function startFill(app, node, subject, { back, go, refresh, note }) {
  const fresh = newDraft(app, { kind: "loop_fill", subject });
  const theirs = fillings(app);
  const field = (name) => app.kinds.loop_fill.fields.find((each) => each.name === name);
  const draw = () => {
    const only = fresh.payload.only_this_open?.value;
    const flow = fresh.payload.flow;
    const due = expectedFill(app, subject, fresh.payload);
    put(node,
      picture(app, null, subject),
      theirs.map((entry) => h("p", {}, state("warn", claimWords(app, entry)))),
      h("h2", {}, `Only ${subject} is open`),
      h("div.toggles.toggles--two", {}, [["Yes", true], ["No", false]].map(([words, value]) => h("button.toggle", { type: "button", "aria-pressed": String(only === value), onclick: () => ((fresh.payload.only_this_open = { value }), draw()) }, h("b", {}, words)))),
      only === false ? h("p", {}, state("warn", "Shut all other valves first: two open loops share the flow.")) : null,
      h("h2", {}, field("flow").label),
      h("button.reading", { type: "button", onclick: async () => {
        const value = await pad(field("flow"), { value: flow, units: app.pack.units });
        if (value) fresh.payload.flow = value;
        draw();
      } }, flow ? [h("b", {}, flow.text), h("small", {}, flow.unit)] : h("span", {}, `Enter in ${field("flow").units[0]}`)),
      due ? h("div.figures", {}, figure(minutesAndSeconds(due.first), "min", "first colour due"), figure(minutesAndSeconds(due.full), "min", "full colour due")) : null,
      due && !flow ? h("p.help", {}, "At the planned flow. Enter the flow you read and it follows.") : null,
      h("p.errors", { role: "alert" }),
      h("div.act", {}, key("Start: fluid goes in now", start, "main")));
  };
  const start = async () => {
    const place = node.querySelector(".errors");
    if (fresh.payload.only_this_open === undefined || !fresh.payload.flow) {
      put(place, "Say whether only this loop is open, and enter the flow.");
      return null;
    }
    const [other] = openFills(app, subject);
    if (other && !(await ask(`${other} is still being filled. ${SHARED}`, { yes: "Start all the same", no: `Back to ${other}` }))) return go(`fill/${other}`);
    if (theirs.length && !(await ask(`${claimWords(app, theirs[0])}. ${theirs[0].subject === subject ? "Agree by voice who goes on." : SHARED}`, { yes: "Start all the same", no: "Back to the steps" }))) return back();
    fresh.payload.started = { value: new Date().toISOString() };
    fresh.observed_at = fresh.payload.started.value;
    window.scrollTo(0, 0);
    return (await kept(fresh, refresh)) && claim(app, fresh, note);
  };
  draw();
}

// For the other phones, with the same tap; the fill itself does not hang on it.
async function claim(app, { subject, observed_at, source }, note) {
  if (!app.kinds.fill_start || source !== TYPED) return;
  const record = await saveDraft(app, { ...newDraft(app, { kind: "fill_start", subject }), observed_at }).catch(() => null);
  if (record) note(record);
}

function runningFill(app, node, draft, { go, refresh, warning }) {
  const { payload, subject } = draft;
  const due = expectedFill(app, subject, payload);
  const mark = async (name) => {
    payload[name] = { value: new Date().toISOString() };
    await kept(draft, refresh);
  };
  const take = async (name) => {
    delete payload[name];
    await kept(draft, refresh);
  };
  // The one number that is still missing is asked for at once; closed without it, the form asks again.
  const goOn = async () => {
    const field = app.kinds.loop_fill.fields.find((each) => each.name === "waste");
    const value = payload.waste || (await pad(field, { units: app.pack.units }));
    if (value && !payload.waste) {
      payload.waste = value;
      await kept(draft, refresh);
    }
    go(`draft/${draft.id}`);
  };
  const seconds = (name) => (momentOf(payload, name) === null ? null : (momentOf(payload, name) - momentOf(payload, "started")) / 1000);
  const [first, full] = [seconds("first_colour"), seconds("full_colour")];
  const clock = h("span.clock__time");
  const plate = h("figure.plate");
  const says = h("section.says", { "aria-live": "polite" });
  node.className = "fill";
  put(node,
    h("section.clock", { role: "timer" }, clock, h("p.clock__note", {}, `since fluid went in at ${clockTime(payload.started.value, app.zone)}`)),
    due ? h("div.figures", {}, figure(minutesAndSeconds(due.first), "min", "first colour due"), figure(minutesAndSeconds(due.full), "min", "full colour due")) : h("p.help", {}, "There is no expected time for this loop. Note the two times all the same."),
    plate, says,
    full === null ? wakeSwitch("Keep the screen on during this fill") : null,
    first === null ? null : h("button.quiet", { type: "button", onclick: () => take(full === null ? "first_colour" : "full_colour") }, "That was too early: take the last one back"),
    warning,
    h("div.act", {}, h("div.keys", {},
      first === null ? key("First colour", () => mark("first_colour"), "main") : null,
      first !== null && full === null ? key("Full colour", () => mark("full_colour"), "main") : null,
      full !== null ? key("Go on: waste and reading", goOn, "main") : key("Stop here", () => go(`draft/${draft.id}`)))));
  ticking(clock, (now) => {
    const elapsed = full ?? (now - momentOf(payload, "started")) / 1000;
    put(clock, minutesAndSeconds(elapsed));
    if (due) put(plate, fillRun({ ...due, elapsed, seenFirst: first, seenFull: full }));
    const judged = first === null && full === null ? overdue(app, draft, now, due) : judgeFill(app, subject, payload);
    put(says, judged && (full !== null || judged.outcome !== "pass") ? verdict(judged) : null);
    says.hidden = !says.childNodes.length;
  });
}

// While nothing is seen yet, only a colour that is long overdue is worth a word.
function overdue(app, draft, now, due) {
  if (!due) return null;
  const judged = judgeFill(app, draft.subject, draft.payload, now);
  return judged && judged.outcome === "fail" ? judged : null;
}
