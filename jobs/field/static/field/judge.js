// The phone's provisional word on what was read: the office judges again. Numbers and limits come from the work pack.

import { judgeAir as airCode, litresIn, residualAir } from "../sums/calc/air.js";
import { changeoverAt, diagnose } from "../sums/calc/colour.js";
import { heat, judgePurge as purgeCode, velocity } from "../sums/calc/flow.js";
import { freezingOf, inBand, mixed, reading, volumeOf } from "../sums/calc/fluid.js";
import { rowAt } from "../sums/calc/number.js";
import { h, put, state } from "./dom.js";
import { figure, tidy } from "./parts.js";
import { CANNOT, last, minutesBetween, momentOf, noted, numberIn, of, told } from "./given.js";
import { judgeTest } from "./judge_test.js";

const loopOf = (app, code) => (app.job.numbers?.loops || []).find((loop) => loop.code === code) || null;

export function expectedFill(app, loop, payload) {
  const plan = loopOf(app, loop)?.changeover;
  const run = app.job.calc?.runs[loop];
  const read = numberIn(payload, "flow", "L/min", app.pack.units);
  if (!plan || !run) return null;
  return changeoverAt({ ...plan, length_m: run.length_m, bore_mm: run.bore_mm }, read || plan.flow_l_min, app.job.calc.changeover);
}

// What the seen colour times of a loop say; `now` counts while nothing was seen yet.
export function judgeFill(app, loop, payload, now = null) {
  const due = expectedFill(app, loop, payload);
  const started = momentOf(payload, "started");
  if (!due || started === null) return null;
  if (payload.only_this_open?.value === false) return { ...noted(app, "another loop was open"), due };
  const seconds = (name) => (momentOf(payload, name) === null ? null : (momentOf(payload, name) - started) / 1000);
  const clear = now === null ? null : (now - started) / 1000;
  const rules = { ...app.job.calc.changeover, sharp: due.sharp ? 1 : 0 };
  const answer = diagnose({ expected_first: due.first, expected_full: due.full, transit: due.transit, seen: [seconds("first_colour"), seconds("full_colour"), clear], rules });
  const [outcome, code] = answer;
  return { ...told(app, "changeover", code), outcome, due };
}

// Nobody sees a fluid without colour arrive: the strength at the return hose of this loop says whether it did.
function judgeFilled(app, { subject, payload }) {
  const seen = judgeFill(app, subject, payload);
  if (app.job.fluid?.colour !== "" || seen?.outcome === "fail") return seen;
  const read = judgeBatch(app, subject) || { outcome: CANNOT };
  return momentOf(payload, "full_colour") === null || !seen ? read : [seen, read].reduce((a, b) => (GRAVER.indexOf(b.outcome) > GRAVER.indexOf(a.outcome) ? b : a));
}

// Speed in the pipe, time, and what came out of it.
export function judgeFlush(app, subject, payload) {
  const { runs, flush: limits } = app.job.calc;
  const read = numberIn(payload, "flow", "L/min", app.pack.units);
  const minutes = numberIn(payload, "minutes", "min", app.pack.units);
  if (!read || !runs[subject]) return null;
  const speed = velocity(read, runs[subject].bore_mm);
  const words = `${speed.toFixed(2)} m/s in ${subject === "H" ? "the main header" : subject}; ${limits.velocity} m/s carries dirt out.`;
  if (speed < limits.velocity) return { outcome: "fail", words, wayOut: "More flow, and every other loop shut.", speed };
  if (minutes === null) return { outcome: CANNOT, words, wayOut: "", speed };
  if (minutes < limits.minutes) return { outcome: "fail", words, wayOut: `${tidy(minutes)} of ${limits.minutes} min: flush on.`, speed };
  if (payload.clear?.value === false) return { outcome: "fail", words, wayOut: "Flush on until the water runs clear.", speed };
  return { outcome: "pass", words, wayOut: "", speed };
}

// The slowest open loop: the flow is shared as in the design. No loop named: all of them are open.
function slowest(app, payload, read) {
  const { runs } = app.job.calc;
  const loops = openLoops(app, payload);
  const shares = loops.map((code) => loopOf(app, code)?.running?.share_pct || 1);
  const whole = shares.reduce((sum, share) => sum + share, 0);
  return Math.min(...loops.map((code, at) => velocity((read * shares[at]) / whole, runs[code].bore_mm)));
}

function openLoops(app, payload) {
  const { runs } = app.job.calc;
  const named = (payload.open?.value || []).filter((code) => code in runs && code !== "H");
  return named.length ? named : Object.keys(runs).filter((code) => code !== "H");
}

export function judgePurge(app, payload, now = null) {
  const read = numberIn(payload, "flow", "L/min", app.pack.units);
  const { runs, purge: limits } = app.job.calc;
  if (!read || !openLoops(app, payload).length) return null;
  const [started, bubble, end] = [momentOf(payload, "started"), momentOf(payload, "last_bubble"), momentOf(payload, "ended") ?? now];
  const speed = slowest(app, payload, read);
  const volume = openLoops(app, payload).reduce((sum, code) => sum + runs[code].volume_l, 0);
  const minutes = bubble !== null && end ? minutesBetween(bubble, end) : 0;
  const turnovers = started !== null && end ? (read * minutesBetween(started, end)) / volume : 0;
  const said = purgeWord(app, { speed, minutes, turnovers, limits });
  const isOver = said.code === "slow" || momentOf(payload, "ended") !== null;
  return { ...said, outcome: isOver || said.outcome === "pass" ? said.outcome : CANNOT };
}

// Was it fast and long enough; `speed` in the slowest open loop.
export function purgeWord(app, { speed, minutes, turnovers, limits }) {
  const answer = purgeCode({ velocity: speed, minutes, turnovers, limits });
  const [outcome, code] = answer;
  const figures = { speed: speed.toFixed(2), velocity: limits.velocity, minutes: Math.floor(minutes), asked: limits.minutes, times: turnovers.toFixed(1), turns: limits.turnovers };
  return { ...told(app, "purge", code, figures), outcome, speed, minutes, turnovers };
}

// Every loop inside a run that was good.
function judgePurges(app) {
  const good = of(app, "purge").filter((entry) => judgePurge(app, entry.payload)?.outcome === "pass");
  const done = new Set(good.flatMap((entry) => openLoops(app, entry.payload)));
  const left = Object.keys(app.job.calc.runs).filter((code) => code !== "H" && !done.has(code));
  return { outcome: good.length && !left.length ? "pass" : CANNOT };
}

export function judgeAir(app, payload) {
  const { units } = app.pack;
  const [wide, before, after] = ["bin_diameter", "level_before", "level_after"].map((name) => numberIn(payload, name, "mm", units));
  const bar = numberIn(payload, "dead_head_pressure", "bar", units);
  const start = numberIn(payload, "start_pressure", "bar", units) || 0;
  const calc = app.job.calc.residual_air;
  if ([wide, before, after, bar].includes(null) || !calc) return null;
  if (after > before) return noted(app, "the level rose");
  const wentIn = litresIn(wide, before - after);
  const air = residualAir({ ...calc.squeeze, start: start * 100, end: bar * 100 }, wentIn);
  if (!air) return noted(app, "no rise");
  const [outcome, code] = airCode(air, calc.rules);
  return { ...told(app, "air", code, { litres: air.volume.toFixed(1) }), outcome, air, wentIn };
}

// What a reading on a scale stands for in this product, or why it stands for nothing.
export function lookedUp(app, product, scale, value, at, instrument = "") {
  const rows = product.scales[scale];
  if (!rows) return noted(app, "another scale");
  const found = reading(rows[instrument] || rows[""], value, at);
  if (!found) return noted(app, "outside the table");
  return { ...found, freezing: freezingOf(product.table, found.mass), volume: volumeOf(product.table, found.mass) };
}

// What this look through the refractometer says about this product.
export function judgeReading(app, payload, instrument = "") {
  const { fluid: product } = app.job;
  const { units } = app.pack;
  const scale = payload.scale?.value;
  if (typeof payload.value?.value !== "number" || !scale || !product) return null;
  const value = numberIn(payload, "value", scale === "brix" ? "°Bx" : "°C", units);
  if (value === null) return noted(app, "another unit");
  const found = lookedUp(app, product, scale, value, numberIn(payload, "sample_temperature", "°C", units) ?? 20, instrument);
  if (found.mass === undefined) return found;
  const answer = inBand({ mass: found.mass, u: found.u, target: product.target_mass_pct, band: product.band_pct });
  const [code, outcome] = answer;
  if (payload.zeroed?.value !== false) return { ...found, ...told(app, "strength", code), outcome };
  return { ...found, ...noted(app, "not zeroed") };
}

const GRAVER = ["pass", "warn", CANNOT, "fail"];

// A batch needs two readings that agree, of different depth or time; any other sample its latest one.
export function judgeBatch(app, subject) {
  const readings = of(app, "strength_reading", subject);
  const end = last(readings);
  if (!end) return null;
  const judged = (entry) => judgeReading(app, entry.payload, entry.instrument);
  if (!subject.startsWith("M")) return judged(end);
  const { agree_pct: agree, gap_min: gap } = app.job.fluid;
  const isSecond = (first) => {
    const [a, b] = [first.payload.place?.value || "", end.payload.place?.value || ""];
    return Math.abs(minutesBetween(Date.parse(first.at), Date.parse(end.at))) >= gap || (a !== b && a !== "" && b !== "");
  };
  const first = last(readings.slice(0, -1).filter(isSecond));
  if (!first) return noted(app, "one reading", { gap });
  const pair = [judged(first), judged(end)].filter(Boolean);
  if (pair.length < 2) return noted(app, "no strength");
  const worst = pair.reduce((a, b) => (GRAVER.indexOf(b.outcome) > GRAVER.indexOf(a.outcome) ? b : a));
  if (worst.outcome === "fail" || worst.outcome === CANNOT) return worst;
  if (Math.abs(pair[0].mass - pair[1].mass) > agree) return noted(app, "two readings");
  return worst;
}

export function judgeHeat(app, payload) {
  const { units } = app.pack;
  const [warm, cold] = ["t_in", "t_out"].map((name) => numberIn(payload, name, "°C", units));
  const read = numberIn(payload, "flow", "L/min", units);
  const product = app.job.numbers?.fluid;
  if ([warm, cold, read].includes(null) || !product) return null;
  const kilowatts = heat({ flow: read, difference: warm - cold, density: product.density_kg_m3, heatCapacity: product.heat_capacity_j_kg_k });
  return { ...noted(app, warm > cold ? "heat" : "sensors"), kilowatts, difference: warm - cold };
}

// Settings of the source side: the frost alarm must act before the fluid freezes.
function judgeSettings(app, entry) {
  const { settings } = app.job.calc;
  const { units } = app.pack;
  const system = last(of(app, "strength_reading", "system"));
  const read = system && judgeReading(app, system.payload, system.instrument);
  const freezes = read?.freezing ?? app.job.fluid?.freezing_point_c;
  const [alarm, flow] = [numberIn(entry.payload, "frost_alarm", "°C", units), numberIn(entry.payload, "flow", "L/min", units)];
  if (alarm === null || freezes === undefined || freezes === null) return { outcome: CANNOT };
  const bad = alarm - freezes < settings.margin_k || entry.payload.fluid_set?.value !== app.job.fluid?.base || (flow !== null && settings.minimum_flow_l_min !== null && flow < settings.minimum_flow_l_min);
  return { outcome: bad ? "fail" : "pass" };
}

const JUDGES = {
  loop_fill: (app, entry) => [entry.id, judgeFilled(app, entry)],
  flush: (app, entry) => [entry.id, judgeFlush(app, entry.subject, entry.payload)],
  residual_air: (app, entry) => [entry.id, judgeAir(app, entry.payload)],
  source_settings: (app, entry) => [entry.id, judgeSettings(app, entry)],
  pressure_end: (app, entry) => [entry.subject, judgeTest(app, entry.subject)],
  strength_reading: (app, entry) => [entry.subject, judgeBatch(app, entry.subject)],
  purge: (app) => ["purge", judgePurges(app)],
};

// Outcomes for the fold: by entry, test, sample and kind, for all that this phone can judge itself.
export function outcomes(app) {
  const found = {};
  if (!app.job.calc) return found;
  for (const entry of app.current) {
    const [id, judged] = JUDGES[entry.kind]?.(app, entry) || [];
    if (judged) found[id] = judged.outcome;
  }
  return found;
}

function said(judged, ...more) {
  if (!judged) return [];
  const mark = { pass: "pass", warn: "warn", fail: "fail" }[judged.outcome] || "unknown";
  const word = judged.title || { pass: "In order", warn: "Look again", fail: "Not in order" }[judged.outcome] || "Cannot tell yet";
  return [more, h("p.verdict", {}, state(mark, word)), h("p", {}, judged.words), judged.wayOut ? h("p.help", {}, judged.wayOut) : null];
}

export function verdict(judged, ...more) {
  return said(judged, ...more);
}

// Whether the instrument that was picked can decide this step, by what the office has worked out, and its calibration.
export function suited(app, { kind, subject, instrument, payload, seen_at: at }) {
  const { instruments, suits } = app.job;
  const due = instruments.find((each) => each.id === instrument)?.calibration_due_date;
  const late = due && due < (at || new Date().toISOString()).slice(0, 10) && said(noted(app, "calibration", { due }));
  const found = suits?.kinds[kind]?.[instrument];
  const given = { ...last(of(app, "pressure_test", subject))?.payload, ...payload };
  const bar = found ? numberIn(given, found.pressure, "bar", app.pack.units) ?? found.usual : null;
  if (bar === null) return [late];
  const rows = found.rows[found.by.map((name) => given[name]?.value || "").join("/")] || found.rows[""];
  const [outcome, words, wayOut] = suits.said[rowAt(rows, bar)[1]];
  return [late, said({ outcome, words, wayOut, title: app.pack.words.suits[outcome] })];
}

const asked = {
  refractometer: (app, { payload, instrument }) => {
    const found = judgeReading(app, payload, instrument || "");
    return said(found, found?.mass !== undefined && h("div.figures", {}, figure(tidy(found.freezing), "°C", "freezes at"), figure(tidy(found.mass), "% by mass", "strength"), found.volume ? figure(tidy(found.volume), "% by volume", "strength") : null));
  },
  mix: mixBox,
  purge: (app, { kind, subject, payload }) => {
    if (kind === "purge") return said(judgePurge(app, payload, Date.now()));
    return said(judgeFlush(app, subject, payload));
  },
  residual_air: (app, { payload }) => {
    const found = judgeAir(app, payload);
    return said(found, found?.air && h("div.figures", {}, figure(tidy(found.wentIn), "L", "went in"), figure(tidy(Math.max(0, found.air.volume)), "L", "air left")));
  },
  changeover: (app, { subject, payload }) => said(judgeFill(app, subject, payload)),
  heat: (app, { payload }) => {
    const found = judgeHeat(app, payload);
    return said(found, found && h("div.figures", {}, figure(tidy(found.kilowatts), "kW", "from the ground"), figure(tidy(found.difference), "K", "difference")));
  },
};

// What was poured, and what that comes to.
function mixBox(app, { payload }) {
  const product = app.job.fluid;
  const [water, concentrate] = ["water", "concentrate"].map((name) => numberIn(payload, name, "L", app.pack.units));
  if (water === null || concentrate === null || !product) return [];
  const mass = mixed({ water, concentrate, concentrateMassPct: product.concentrate_mass_pct, concentrateDensity: product.concentrate_kg_m3, waterDensity: product.water_kg_m3 });
  const freezing = freezingOf(product.table, mass);
  const apart = mass - product.target_mass_pct;
  const outcome = Math.abs(apart) <= product.band_pct ? "pass" : "fail";
  const words = outcome === "pass" ? "As planned." : `${apart < 0 ? "Weaker" : "Stronger"} than planned (${tidy(product.target_mass_pct)} % by mass).`;
  return said({ outcome, words }, h("div.figures", {}, figure(tidy(mass), "% by mass", "comes to"), freezing === null ? null : figure(tidy(freezing), "°C", "freezes at")));
}

// The bins of the plan, told before anything is poured.
export function recipe(calc, app) {
  const fill = app.job.numbers?.fill;
  if (calc !== "mix" || !fill?.batches?.length) return null;
  const bins = new Map();
  for (const batch of fill.batches) bins.set(batch.volume_l.toFixed(0), [...(bins.get(batch.volume_l.toFixed(0)) || []), batch]);
  return h("section.says", {}, h("h2", {}, "By the plan"), [...bins.values()].map((same) => [
    h("p.recipe", {}, `${same.length === 1 ? "One bin" : `${same.length} bins`} of ${tidy(same[0].volume_l)} L`),
    h("div.figures", {}, figure(tidy(same[0].water_l), "L", "water"), figure(tidy(same[0].concentrate_l), "L", "concentrate"))]),
    h("p.source", {}, `${app.job.fluid?.product || ""}, to freeze at ${tidy(app.job.fluid?.freezing_point_c)} °C.`));
}

// The live box under a form whose kind names a calculation; null when this phone has nothing to say.
export function calcBox(calc, app, draft) {
  if (!asked[calc] || !app.job.calc) return null;
  const node = h("section.says", { "aria-live": "polite" });
  const update = () => {
    const found = [asked[calc](app, draft)].flat(Infinity).filter(Boolean);
    node.hidden = !found.length;
    put(node, found.length ? h("h2", {}, "What this says") : null, found, found.length ? h("p.source", {}, "Worked out on this phone. The office works it out again.") : null);
  };
  return { node, update };
}
