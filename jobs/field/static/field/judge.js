// The phone's provisional word on what was read: the office judges again. Numbers and limits come from the work pack.

import * as circuit from "../sums/calc/circuit.js";
import * as pressure from "../sums/calc/pressure.js";
import { figure, h, put, state, tidy } from "./dom.js";

const { converted } = circuit;

const CANNOT = "cannot tell";

// A number of an entry or draft in the unit asked for; null when there is none.
export function numberIn(payload, name, unit, units) {
  const given = payload[name];
  if (!given || typeof given.value !== "number") return null;
  return given.unit === unit ? given.value : converted(given.value, given.unit, unit, units);
}

export function momentOf(payload, name) {
  const at = Date.parse(payload[name]?.value);
  return Number.isNaN(at) ? null : at;
}

const minutesBetween = (from, to) => (to - from) / 60000;
const of = (app, kind, subject) => app.current.filter((entry) => entry.kind === kind && (subject === undefined || entry.subject === subject));
const last = (list) => list[list.length - 1] || null;
const loopOf = (app, code) => (app.job.numbers?.loops || []).find((loop) => loop.code === code) || null;

// Everything about one pressure test as logged so far; the phases are told by the crew with each reading.
export function testRun(app, subject) {
  const units = app.pack.units || {};
  const start = last(of(app, "pressure_test", subject));
  const end = last(of(app, "pressure_end", subject));
  const readings = of(app, "pressure_reading", subject)
    .map((entry) => ({ at: Date.parse(entry.at), bar: numberIn(entry.payload, "pressure", "bar", units), phase: entry.payload.phase?.value, entry }))
    .filter((reading) => reading.bar !== null);
  const hold = readings.filter((reading) => reading.phase === "hold");
  const shut = readings.filter((reading) => reading.phase === "rest" || reading.phase === "isolated");
  return { start, end, readings, hold, shut, from: shut.length ? shut[0].at : null };
}

// Step of the gauge in bar, or of the decimals that were typed when the gauge is not named.
function resolutionOf(app, entry) {
  const { units } = app.pack;
  const inBar = (step, unit) => {
    const [high, zero] = [converted(step, unit, "bar", units), converted(0, unit, "bar", units)];
    return high === null ? null : high - zero;
  };
  const gauge = app.job.instruments.find((each) => each.id === entry.instrument);
  if (gauge?.resolution) {
    const step = inBar(gauge.resolution, gauge.unit);
    if (step) return step;
  }
  const typed = entry.payload.pressure;
  const decimals = (String(typed.text || typed.value).split(/[.,]/)[1] || "").length;
  return inBar(10 ** -decimals, typed.unit) ?? 1;
}

// Of the thinnest-walled pipe in the test; all of the job's when none is named.
function waterShare(app, start) {
  const { runs, pressure: usual } = app.job.calc;
  const covers = (start.payload.covers?.value || []).filter((code) => code in runs);
  const rows = (covers.length ? covers : Object.keys(runs)).map((code) => runs[code]);
  return rows.length ? Math.min(...rows.map((row) => row.water_share)) : usual.water_share;
}

function warming(app, run, rules) {
  const { units } = app.pack;
  const [first, after] = [run.start, run.end].map((entry) => (entry ? numberIn(entry.payload, "pipe_temperature", "°C", units) : null));
  return first === null || after === null ? 0 : Math.abs(after - first) * rules.bar_per_kelvin;
}

const LIES = { free: ["free"], backfilled: ["backfilled"], grouted: ["grouted"] };

function oneCode(codes) {
  if (new Set(codes).size === 1) return codes[0];
  return codes.includes("too short") ? "too short" : "restraint unknown";
}

// Code, outcome and the fall that is still allowed.
export function judgeTest(app, subject) {
  const run = testRun(app, subject);
  if (!app.job.calc?.pressure || !run.start) return null;
  if (run.end?.payload.joints_dry?.value === false) return { run, outcome: "fail", words: "A joint is not dry.", wayOut: "Let the pressure down, mend it and test again.", falls: null };
  if (run.start.payload.method?.value !== "short_tightness") return { run, outcome: CANNOT, words: "The office judges this method. Log every phase with its readings.", falls: null };
  if (!run.hold.length || run.shut.length < 2) return { run, outcome: CANNOT, words: "Readings of the hold and of the time after shutting are both needed.", falls: null };
  return { run, ...judgeShort(app, run) };
}

function judgeShort(app, run) {
  const { rules } = app.job.calc.pressure;
  const minutes = run.shut.map((reading) => minutesBetween(run.from, reading.at));
  const bars = run.shut.map((reading) => reading.bar);
  const how = {
    loading: minutesBetween(Date.parse(run.start.at), run.hold[0].at),
    hold: minutesBetween(run.hold[0].at, run.from),
    resolution: resolutionOf(app, run.shut[0].entry),
    water_share: waterShare(app, run.start),
  };
  if (!(how.loading > 0)) return { outcome: CANNOT, words: "The first reading must come after the start of the test.", falls: null };
  const kinds = LIES[run.start.payload.restraint?.value] || ["free", "backfilled", "grouted"];
  let code = oneCode(kinds.map((kind) => pressure.shortTightness(minutes, bars, how, pressure.bandOf(rules, kind), rules)));
  const falls = minutes.length > 2 && pressure.isRising(minutes) && minutes[minutes.length - 1] > 0 ? pressure.falls(minutes, bars, how, pressure.bandOf(rules, kinds[0])) : null;
  const open = kinds.length > 1 || kinds[0] === "free";
  if (["tight", "air", "leak"].includes(code) && falls && open && warming(app, run, rules) > rules.temperature_share * falls.leak) code = "temperature";
  const [outcome, reason, wayOut] = app.pack.words?.tightness?.[code] || [CANNOT, code, ""];
  return { code, outcome, words: reason, wayOut, falls, start: bars[0] };
}

export function expectedFill(app, loop, payload) {
  const plan = loopOf(app, loop)?.changeover;
  const run = app.job.calc?.runs[loop];
  const read = numberIn(payload, "flow", "L/min", app.pack.units);
  if (!plan || !run) return null;
  return circuit.changeoverAt({ ...plan, length_m: run.length_m, bore_mm: run.bore_mm }, read || plan.flow_l_min, app.job.calc.changeover);
}

// What the seen colour times of a loop say; `now` counts while nothing was seen yet.
export function judgeFill(app, loop, payload, now = null) {
  const due = expectedFill(app, loop, payload);
  const started = momentOf(payload, "started");
  if (!due || started === null) return null;
  if (payload.only_this_open?.value === false) return { outcome: "fail", code: "open", words: "Another loop was open: this one may not have been swept.", wayOut: "Shut all others and fill it again from the start.", due };
  const seconds = (name) => (momentOf(payload, name) === null ? null : (momentOf(payload, name) - started) / 1000);
  const clear = now === null ? null : (now - started) / 1000;
  const rules = { ...app.job.calc.changeover, sharp: due.sharp ? 1 : 0 };
  const [outcome, code] = circuit.diagnose({ expected_first: due.first, expected_full: due.full, transit: due.transit, seen: [seconds("first_colour"), seconds("full_colour"), clear], rules });
  const [reason, wayOut] = app.pack.words?.changeover?.[code] || [code, ""];
  return { outcome, code, words: reason, wayOut, due };
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
  const speed = circuit.velocity(read, runs[subject].bore_mm);
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
  return Math.min(...loops.map((code, at) => circuit.velocity((read * shares[at]) / whole, runs[code].bore_mm)));
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
  const [outcome, code] = circuit.judgePurge({ velocity: speed, minutes, turnovers, limits });
  const words = {
    slow: `${speed.toFixed(2)} m/s in the slowest open loop; air is carried out from ${limits.velocity} m/s on.`,
    short: `${Math.floor(minutes)} of ${limits.minutes} min since the last bubble.`,
    turnovers: `The volume went round ${turnovers.toFixed(1)} of ${limits.turnovers} times.`,
    enough: "Fast enough and long enough.",
  }[code];
  const wayOut = code === "slow" ? "Open fewer loops at once and purge them in turn." : "";
  return { outcome: code === "slow" || momentOf(payload, "ended") !== null ? outcome : outcome === "pass" ? "pass" : CANNOT, code, words, wayOut, speed, minutes, turnovers };
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
  if (after > before) return { outcome: "fail", words: "The level rose.", wayOut: "Correct the levels, or do it again." };
  const wentIn = circuit.litresIn(wide, before - after);
  const air = circuit.residualAir({ ...calc.squeeze, start: start * 100, end: bar * 100 }, wentIn);
  if (!air) return { outcome: CANNOT, words: "The pressure did not rise.", wayOut: "Shut the return slowly with the pump running." };
  const [outcome, code] = circuit.judgeAir(air, calc.rules);
  const words = {
    shut: "Less fluid went in than the pipe itself must take: a valve is shut or the gauge is not on this circuit.",
    good: "Hardly any air is left.",
    unsure: "Little air is left, but the pipe's own stretch is not known well enough to be sure.",
    air: `About ${air.volume.toFixed(1)} L of air is left: keep purging and do it again.`,
  }[code];
  const wayOut = code === "unsure" ? "Purge on for 15 min and do it again, or measure at a lower pressure." : "";
  return { outcome, code, words, wayOut, air, wentIn };
}

// What this look through the refractometer says about this product.
export function judgeReading(app, payload, instrument = "") {
  const { fluid: product } = app.job;
  const value = payload.value?.value;
  const scale = payload.scale?.value;
  const at = numberIn(payload, "sample_temperature", "°C", app.pack.units) ?? 20;
  if (typeof value !== "number" || !scale || !product) return null;
  const rows = product.scales[scale];
  if (!rows) return { outcome: CANNOT, words: "This scale is made for another fluid: its degrees are wrong here.", wayOut: "Read the Brix scale, or the scale of this product." };
  const found = circuit.reading(rows[instrument] || rows[""], value, at);
  if (!found) return { outcome: CANNOT, words: "This reading is outside what the table of this product knows.", wayOut: "Clean the prism, zero it and read again." };
  const [code, outcome] = circuit.inBand({ mass: found.mass, u: found.u, target: product.target_mass_pct, band: product.band_pct });
  const words = { inside: "Inside the band.", edge: "Too near the edge of the band for this instrument.", weak: "Too weak.", strong: "Stronger than needed: costs pumping power and concentrate." }[code];
  const wayOut = { edge: "Correct the batch towards the target and read again.", weak: "Add concentrate, stir and read again.", strong: "Add water, stir and read again." }[code] || "";
  const judged = payload.zeroed?.value === false ? { outcome: CANNOT, words: "The refractometer was not zeroed.", wayOut: "Zero it with clean water and read again." } : { outcome, words, wayOut };
  return { ...judged, mass: found.mass, freezing: circuit.freezingOf(product.table, found.mass), volume: circuit.volumeOf(product.table, found.mass) };
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
  if (!first) return { outcome: CANNOT, words: "One reading of a batch is not enough.", wayOut: `Read it again from another depth, or ${gap} minutes later.` };
  const pair = [judged(first), judged(end)].filter(Boolean);
  if (pair.length < 2) return { outcome: CANNOT, words: "A reading cannot be worked out.", wayOut: "" };
  const worst = pair.reduce((a, b) => (GRAVER.indexOf(b.outcome) > GRAVER.indexOf(a.outcome) ? b : a));
  if (worst.outcome === "fail" || worst.outcome === CANNOT) return worst;
  if (Math.abs(pair[0].mass - pair[1].mass) > agree) return { outcome: "fail", words: "The two readings do not agree.", wayOut: "Stir and read twice again." };
  return worst;
}

export function judgeHeat(app, payload) {
  const { units } = app.pack;
  const [warm, cold] = ["t_in", "t_out"].map((name) => numberIn(payload, name, "°C", units));
  const read = numberIn(payload, "flow", "L/min", units);
  const product = app.job.numbers?.fluid;
  if ([warm, cold, read].includes(null) || !product) return null;
  const kilowatts = circuit.heat({ flow: read, difference: warm - cold, density: product.density_kg_m3, heatCapacity: product.heat_capacity_j_kg_k });
  const right = warm > cold;
  return { outcome: right ? "pass" : CANNOT, words: right ? "Heat taken from the ground." : "The fluid leaves warmer than it comes: check which sensor is which.", wayOut: "", kilowatts, difference: warm - cold };
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
  const word = { pass: "In order", warn: "Look again", fail: "Not in order" }[judged.outcome] || "Cannot tell yet";
  return [more, h("p.verdict", {}, state(mark, word)), h("p", {}, judged.words), judged.wayOut ? h("p.help", {}, judged.wayOut) : null];
}

export function verdict(judged, ...more) {
  return said(judged, ...more);
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
  const mass = circuit.mixed({ water, concentrate, concentrateMassPct: product.concentrate_mass_pct, concentrateDensity: product.concentrate_kg_m3, waterDensity: product.water_kg_m3 });
  const freezing = circuit.freezingOf(product.table, mass);
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
