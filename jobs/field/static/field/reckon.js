// What a quick sum comes to: from typed answers and the tables of the work pack to figures and a word.

import { changeoverAt, diagnose, planned } from "../sums/calc/colour.js";
import { effectiveLength, flowAt, litresOf, velocity } from "../sums/calc/flow.js";
import { between, correction, densityOf, freezingOf, frost, inBand, massFor, topUp } from "../sums/calc/fluid.js";
import { cooling, waiting } from "../sums/calc/joint.js";
import { converted } from "../sums/calc/number.js";
import { allowable, leakRate } from "../sums/calc/pressure.js";
import { h } from "./dom.js";
import { figure, minutesAndSeconds, tidy } from "./parts.js";
import { momentOf, noted, numberIn, told } from "./given.js";
import { judgeAir, lookedUp, purgeWord, verdict } from "./judge.js";
import { decayWord, plate, sequenceWord, shortWord } from "./judge_test.js";
import { clockTime } from "./outbox.js";

// The series of readings that a test's method asks for: code, heading, help.
export function phasesOf(question, payload) {
  return question.phases?.[payload.method?.value] || [];
}

// Minutes and bar of one phase.
export function seriesOf(app, readings, phase) {
  const { units } = app.pack;
  const there = readings.filter((each) => each.phase === phase);
  return [there.map((each) => numberIn(each, "minutes", "min", units)), there.map((each) => numberIn(each, "pressure", "bar", units))];
}

function fluidOf(sums, pack, code) {
  const job = code.startsWith("job:") && pack.jobs.find((each) => `job:${each.id}` === code);
  const base = sums.fluids[job ? job.fluid.base : code];
  if (!base) return null;
  const plain = Object.fromEntries(Object.entries(base.scales).map(([scale, rows]) => [scale, { "": rows }]));
  return { ...base, scales: plain, ...(job ? job.fluid : {}), table: base.table, fronts: base.fronts };
}

// A strength typed as freezing point, by mass or by volume; null where the table does not reach.
function massOf(fluid, given, units) {
  if (given.unit === "mass %") return given.value;
  if (given.unit === "vol %") return between(fluid.table, 1, 0, given.value);
  return massFor(fluid.table, converted(given.value, given.unit, "°C", units));
}

const boreOf = (has) => has("od", "mm") - 2 * has("wall", "mm");

// A figure, or nothing where there is no number.
const shown = (value, unit, label, digits) => (Number.isFinite(value) ? figure(tidy(value, digits), unit, label) : null);
const lasting = (seconds, label) => (Number.isFinite(seconds) ? figure(minutesAndSeconds(seconds), "min", label) : null);

function refractometer({ app, has, chosen, fluid, sums }) {
  const scale = chosen("scale");
  const found = lookedUp(app, fluid, scale, has(scale === "brix" ? "brix" : "degrees", scale === "brix" ? "°Bx" : "°C"), has("sample_temperature", "°C"));
  if (found.mass === undefined) return [found];
  const { mass, freezing } = found;
  const u = Math.abs(freezingOf(fluid.table, mass + found.u) - freezing) || 0;
  const required = has("wanted", "°C");
  const [area, [code, outcome]] = required !== null ? ["frost", frost({ freezing, required, u, rules: sums.limits.frost })] : ["strength", fluid.band_pct ? inBand({ ...found, target: fluid.target_mass_pct, band: fluid.band_pct }) : []];
  return [code && { ...told(app, area, code), outcome }, shown(freezing, "°C", `freezes at, ± ${tidy(2 * u, 2)} K`), shown(mass, "% by mass", `strength, ± ${tidy(2 * found.u, 2)}`), shown(found.volume, "% by volume", "strength")];
}

function litres({ app, has, chosen, fluid, payload, units }) {
  const [measured, target] = ["measured", "target"].map((name) => massOf(fluid, payload[name], units));
  if (measured === null || target === null) return [noted(app, "no such strength")];
  const massPct = has("concentrate", "mass %") ?? fluid.concentrate_mass_pct;
  // Beyond the table a product without a density of its own is taken as pure.
  const density = (massPct === fluid.concentrate_mass_pct ? null : densityOf(fluid.table, massPct)) ?? fluid.concentrate_kg_m3;
  const isBin = chosen("where") === "bin";
  const found = (isBin ? topUp : correction)({ table: fluid.table, volume: has("volume", "L"), measured, target, concentrate: { massPct, density } });
  if (found === null) return [noted(app, "out of reach")];
  const what = target < measured ? "water" : `concentrate of ${tidy(massPct)} % by mass`;
  const said = h("p.help", {}, `From ${tidy(measured)} to ${tidy(target)} % by mass.`);
  if (isBin) return [null, shown(found, "L", `pour on top: ${what}`), said];
  return [null, shown(found.drain, "L", "drain first"), shown(found.add, "L", `then add: ${what}`), shown(found.feed, "L", "or feed this while as much runs over"), said];
}

function changeover({ app, has, chosen, fluid, payload, sums, units }) {
  const [bore, flow, length] = [boreOf(has), has("flow", "L/min"), has("length", "m")];
  if (!(bore > 0)) return [noted(app, "no bore")];
  const rules = sums.limits.changeover;
  const [first, full] = ["first_colour", "full_colour"].map((name) => has(name, "s"));
  const mass = fluid && (fluid.target_mass_pct ?? massOf(fluid, payload.strength, units));
  const viscosity = chosen("fluid") === "water" ? sums.water_mm2_s : fluid && mass !== null && between(fluid.fronts, 0, 1, mass);
  if (fluid && !viscosity) return [noted(app, "no such strength")];
  const due = length && viscosity ? changeoverAt(planned({ length, bore, flow, viscosity }), flow, rules) : null;
  const isSharp = !due || due.sharp;
  const seen = first !== null && full !== null && isSharp ? (first + full) / 2 : (first ?? full);
  const answer = due && seen !== null ? diagnose({ expected_first: due.first, expected_full: due.full, transit: due.transit, seen: [first, full, null], rules: { ...rules, sharp: isSharp ? 1 : 0 } }) : [];
  const [outcome, code] = answer;
  return [code && { ...told(app, "changeover", code), outcome },
    lasting(due?.first, "first colour due"), lasting(due?.full, "full colour due"),
    shown(seen === null ? NaN : effectiveLength(seen, flow, bore), "m", "length by the clock"),
    shown(length ? litresOf(length, bore) : NaN, "L", "in the pipe"), shown(velocity(flow, bore), "m/s", "speed"),
    due && h("p.help", {}, noted(app, isSharp ? "front" : "slow front").words)];
}

function purge({ app, has, sums }) {
  const [bore, flow, loops, length, minutes, ran] = [boreOf(has), has("flow", "L/min"), has("loops", "pcs") ?? 1, has("length", "m"), has("minutes", "min"), has("ran", "min")];
  if (!(bore > 0)) return [noted(app, "no bore")];
  const limits = { velocity: sums.limits.purge.velocity, minutes: sums.limits.purge.minutes_after_last_bubble, turnovers: sums.limits.purge.turnovers };
  const speed = velocity(flow / loops, bore);
  const turnovers = length && ran ? (flow * ran) / (loops * litresOf(length, bore)) : NaN;
  const word = purgeWord(app, { speed, minutes: minutes ?? 0, turnovers, limits });
  const fast = noted(app, "purge on", limits);
  const isOpen = word.code !== "slow" && (minutes === null || (word.code === "enough" && !Number.isFinite(turnovers)));
  return [isOpen ? fast : word, shown(speed, "m/s", loops > 1 ? "in each open loop" : "in the pipe"), shown(flowAt(limits.velocity, bore) * loops, "L/min", `needed for ${limits.velocity} m/s`), shown(turnovers, "times", "went round")];
}

function air({ app, has, payload, sums }) {
  const ratio = boreOf(has) / has("wall", "mm");
  if (!(ratio > 0)) return [noted(app, "no bore")];
  const rules = sums.limits.residual_air;
  const squeeze = { volume: has("volume", "L"), bore_to_wall: ratio, wall_modulus: rules.wall_modulus, modulus_doubt: rules.modulus_doubt, water_modulus: sums.water_modulus };
  const found = judgeAir({ pack: app.pack, job: { calc: { residual_air: { rules, squeeze } } } }, payload);
  const { volume, low, high, elastic } = found.air || {};
  const [least, most] = [low, high].map((value) => tidy(Math.max(0, value), 2));
  return [found, shown(found.wentIn, "L", "went in"), shown(Math.max(0, volume), "L", `air left, between ${least} and ${most}`), shown(elastic, "L", "taken by the stretch of the pipe")];
}

function volume({ app, has }) {
  const [bore, flow, count] = [boreOf(has), has("flow", "L/min"), has("count", "pcs") ?? 1];
  if (!(bore > 0)) return [noted(app, "no bore")];
  const all = litresOf(has("length", "m"), bore) * count;
  return [null, shown(all, "L", count > 1 ? `in all ${count}` : "in the pipe", 4), shown(litresOf(1, bore), "L/m", "per metre"), shown(bore, "mm", "bore"), lasting(flow ? (60 * all) / flow : NaN, "for one turn")];
}

function shortTest({ app, has, chosen, rules, draft, sums }) {
  const [minutes, bars] = seriesOf(app, draft.readings, "shut");
  const how = { loading: has("loading", "min"), hold: has("hold", "min"), resolution: has("resolution", "bar"), water_share: sums.water_share };
  const found = shortWord(app, { minutes, bars, how, lies: chosen("restraint") }, rules);
  const { seen, leak, air: least } = found.falls || {};
  const given = { minutes, bar: bars, how, bands: found.bands, volume: has("held", "L"), ratio: sums.usual_ratio };
  const lost = ["leak", "slope in doubt"].includes(found.code) && given.volume ? leakRate(given, { wall: sums.wall_one_hour, water: sums.water_modulus, doubt: sums.limits.residual_air.modulus_doubt }) : null;
  return [found, lost && shown(lost.likely, "L/h", `lost, between ${tidy(lost.low, 2)} and ${tidy(lost.high, 2)}`), shown(seen, "bar", "fall seen"), shown(leak, "bar", "more than this is a leak"), shown(least || NaN, "bar", "less than this is air")];
}

function sequenceTest({ app, has, chosen, rules, draft }) {
  const [[rest, restBar], [main, mainBar]] = ["rest", "main"].map((phase) => seriesOf(app, draft.readings, phase));
  const ratio = boreOf(has) / has("wall", "mm");
  if (!(ratio > 0)) return [noted(app, "no bore")];
  const [testPressure, inside] = [has("test_pressure", "bar"), has("volume", "L")];
  const found = sequenceWord(app, { testPressure, rest, restBar, main, mainBar, bled: has("bled", "L"), volume: inside, ratio, resolution: has("resolution", "bar"), restraint: chosen("restraint"), raised: has("loading", "min"), held: has("hold", "min") }, rules);
  const [end, first] = [restBar[restBar.length - 1], mainBar[0]];
  const percent = tidy((100 * (testPressure - end)) / testPressure, 2);
  return [found, shown(testPressure - end, "bar", `fall at rest, ${percent} % of the test pressure`),
    shown(1000 * allowable(inside, ratio, end - first, rules) || NaN, "mL", "may come out at this let-down"),
    shown(mainBar.length ? Math.max(...mainBar) - mainBar[mainBar.length - 1] : NaN, "bar", "fall from the highest in the main phase", 2)];
}

function decayTest({ app, has, chosen, rules, draft }) {
  const [minutes, bar] = seriesOf(app, draft.readings, "shut");
  const found = decayWord(app, { minutes, bar, loading: has("loading", "min"), resolution: has("resolution", "bar") }, chosen("restraint"), rules);
  return [found, ...(found.slopes || []).map(({ slope, u }, at) => figure(slope.toFixed(3), "", `slope N${at + 1}, ± ${(2 * u).toFixed(3)}`))];
}

function test(given) {
  const method = given.chosen("method");
  const rules = given.sums.limits[method];
  return ({ short_tightness: shortTest, type_ii: decayTest }[method] || sequenceTest)({ ...given, rules });
}

// Clocks that go on: `now` in milliseconds.
function joint({ app, has, chosen, payload, sums, now }) {
  const [method, ended, move, pressurise] = [chosen("method"), momentOf(payload, "ended"), has("move", "min"), has("pressurise", "min")];
  const label = move === null && pressurise === null ? null : { move: move ?? 0, pressurise: pressurise ?? 0 };
  const clock = cooling({ method, od: has("od", "mm"), told: label }, sums.sockets);
  if (!clock) return [noted(app, "no clock")];
  const left = waiting(clock, (now - ended) / 60000);
  const at = (minutes, words) => figure(clockTime(new Date(ended + minutes * 60000).toISOString()), "", words);
  return [{ ...told(app, "cooling", left.code), outcome: left.outcome, title: left.pressurise ? "Not yet" : "" }, lasting(60 * left.move || NaN, "still clamped for"), lasting(60 * left.pressurise || NaN, "no pressure for"), at(clock.move, "may be moved from"), at(clock.pressurise, "pressure from")];
}

const SUMS = { air, changeover, joint, litres, purge, refractometer, test, volume };

// The readings of the phase that decides.
function picture(app, question, draft, word) {
  const phases = phasesOf(question, draft.payload);
  const [minutes, bars] = phases.length ? seriesOf(app, draft.readings, phases[phases.length - 1][0]) : [[], []];
  if (minutes.length < 2) return null;
  return plate(minutes.map((at, k) => ({ minutes: at, value: bars[k] })), word);
}

// The nodes that say what the answers to one question come to.
export function figuresOf(app, question, draft, now) {
  const { pack } = app;
  const { payload } = draft;
  const { sums, units } = pack;
  const has = (name, unit) => numberIn(payload, name, unit, units);
  const chosen = (name) => payload[name]?.value ?? null;
  const fluid = chosen("fluid") ? fluidOf(sums, pack, chosen("fluid")) : null;
  const answer = SUMS[question.code]({ app, draft, payload, sums, units, has, chosen, fluid, now });
  const [word, ...nodes] = answer;
  const isFigure = (node) => node?.className === "figure";
  return [picture(app, question, draft, word), word && verdict(word), h("div.figures", {}, nodes.filter(isFigure)), nodes.filter((node) => !isFigure(node)), fluid && h("p.source", {}, `Tables: ${fluid.sources.join("; ")}.`)];
}
