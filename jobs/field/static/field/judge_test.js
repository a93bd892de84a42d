// The phone's provisional word on a pressure test: the office judges again. Limits and words come from the work pack.

import { converted } from "../sums/calc/number.js";
import * as pressure from "../sums/calc/pressure.js";
import { h } from "./dom.js";
import { curve } from "./lines.js";
import { tidy } from "./parts.js";
import { last, minutesBetween, noted, numberIn, of, told } from "./given.js";

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

// Loops and header inside the test; all of the job's when none is named.
function covered(app, start) {
  const { runs } = app.job.calc;
  const named = (start.payload.covers?.value || []).filter((code) => code in runs);
  return (named.length ? named : Object.keys(runs)).map((code) => runs[code]);
}

// By how many kelvin the pipe changed; covered pipe is not judged by the air above it.
function warmed(app, run) {
  const { units } = app.pack;
  const [first, after] = [run.start, run.end].map((entry) => (entry ? numberIn(entry.payload, "pipe_temperature", "°C", units) : null));
  const held = ["backfilled", "grouted"].includes(run.start.payload.restraint?.value);
  return first === null || after === null || held ? 0 : Math.abs(after - first);
}

const said = (app, code, more = {}) => ({ ...told(app, "tightness", code), falls: null, ...more });

const kindsOf = (lies, all) => (all.includes(lies) ? [lies] : all);

function oneCode(codes) {
  if (new Set(codes).size === 1) return codes[0];
  return codes.includes("too short") ? "too short" : "restraint unknown";
}

// Word on a short tightness check: minutes since shutting and bar, how it was loaded, how it lies, kelvin of change.
export function shortWord(app, { minutes, bars, how, lies, kelvin = 0 }, rules) {
  const kinds = kindsOf(lies, ["free", "backfilled", "grouted"]);
  const band = pressure.bandOf(rules, kinds[0]);
  let code = oneCode(kinds.map((kind) => pressure.shortTightness(minutes, bars, how, pressure.bandOf(rules, kind), rules)));
  const falls = minutes.length > 2 && pressure.isRising(minutes) && minutes[minutes.length - 1] > 0 ? pressure.falls(minutes, bars, how, band) : null;
  if (["tight", "air", "leak"].includes(code) && falls && kelvin * rules.bar_per_kelvin > rules.temperature_share * falls.leak) code = "temperature";
  return said(app, code, { falls, start: bars[0], bands: kinds.map((kind) => pressure.bandOf(rules, kind)) });
}

// Word on a run of the sequence after EN 805 A.27; `run` as `sequence` takes it, with kelvin of change.
export function sequenceWord(app, run, rules) {
  return said(app, pressure.sequence({ ...run, warmedBar: (run.kelvin || 0) * rules.bar_per_kelvin }, rules));
}

// Word on a decay test with its two slopes; the grouted band has no lower end, so an unknown pipe is judged by two.
export function decayWord(app, run, lies, rules) {
  const kinds = lies === "grouted" ? [lies] : kindsOf(lies, ["free", "backfilled"]);
  const codes = kinds.map((kind) => pressure.typeTwo(run, pressure.bandOf(rules, kind), rules, false));
  return said(app, new Set(codes).size === 1 ? codes[0] : "restraint unknown", { slopes: pressure.slopesOf(run, rules) });
}

// Code, outcome and the fall that is still allowed.
export function judgeTest(app, subject) {
  const run = testRun(app, subject);
  if (!app.job.calc?.pressure || !run.start) return null;
  if (run.end?.payload.joints_dry?.value === false) return { run, ...noted(app, "a wet joint") };
  return { run, ...(run.start.payload.method?.value === "en805_a27_2000" ? judgeSequence(app, run) : judgeShort(app, run)) };
}

function judgeShort(app, run) {
  if (!run.hold.length || run.shut.length < 2) return noted(app, "hold and shut");
  const { pressure: usual } = app.job.calc;
  const shares = covered(app, run.start).map((row) => row.water_share);
  const how = {
    loading: minutesBetween(Date.parse(run.start.at), run.hold[0].at),
    hold: minutesBetween(run.hold[0].at, run.from),
    resolution: resolutionOf(app, run.shut[0].entry),
    water_share: shares.length ? Math.min(...shares) : usual.water_share,
  };
  if (!(how.loading > 0)) return noted(app, "before the start");
  const seen = { minutes: run.shut.map((reading) => minutesBetween(run.from, reading.at)), bars: run.shut.map((reading) => reading.bar) };
  return shortWord(app, { ...seen, how, lies: run.start.payload.restraint?.value, kelvin: warmed(app, run) }, usual.rules);
}

// Minutes from the first of these readings, and bar.
function series(readings) {
  return [readings.map((reading) => minutesBetween(readings[0].at, reading.at)), readings.map((reading) => reading.bar)];
}

function judgeSequence(app, run) {
  const rules = app.job.calc.pressure.sequence;
  const { hold, readings, start } = run;
  const testPressure = numberIn(start.payload, "test_pressure", "bar", app.pack.units);
  const resting = readings.filter((reading) => reading.phase === "rest");
  if (!rules || testPressure === null || !resting.length) return noted(app, "no rest");
  const litres = readings.filter((reading) => reading.phase === "bleed").map((reading) => numberIn(reading.entry.payload, "litres", "L", app.pack.units)).filter((value) => value !== null);
  const [rest, restBar] = series(resting);
  const [main, mainBar] = series(readings.filter((reading) => reading.phase === "bleed" || reading.phase === "isolated"));
  const rows = covered(app, start);
  const given = {
    testPressure, rest, restBar, main, mainBar,
    bled: litres.length ? litres.reduce((sum, value) => sum + value, 0) : null,
    volume: rows.reduce((sum, row) => sum + row.volume_l, 0),
    ratio: Math.max(0, ...rows.map((row) => row.bore_to_wall)),
    resolution: resolutionOf(app, resting[0].entry),
    restraint: start.payload.restraint?.value || "unknown",
    kelvin: warmed(app, run),
    raised: hold.length ? minutesBetween(Date.parse(start.at), hold[0].at) : null,
    held: hold.length ? minutesBetween(hold[0].at, resting[0].at) : null,
  };
  return sequenceWord(app, given, rules);
}

// The curve of a test with the fall that is allowed by now.
export function plate(points, judged) {
  const limit = judged?.falls ? judged.start - judged.falls.leak : null;
  return h("figure.plate", {}, curve(points, { limit, from: points[0].minutes }),
    limit === null ? null : h("figcaption", {}, `Dashed: ${tidy(limit)} bar, the least that a sound pipe's own creep explains by now.`));
}
