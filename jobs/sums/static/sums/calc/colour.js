// From clear to coloured on plain numbers: when new fluid is due at the return hose and what another time means. The same
// functions as the server's, checked by the same vectors.

import { velocity } from "./flow.js";

const NO_MIXING_BELOW = 3000;
const TAYLOR_FROM = 20000;

// Loop volumes until this share of new fluid leaves a pipe without mixing across its bore.
export function laminarTurnovers(fraction) {
  return Math.sqrt(1 / (4 * (1 - fraction)));
}

function dispersion(bore, speed, reynolds) {
  if (reynolds < TAYLOR_FROM) return bore * speed * (1.17e9 * reynolds ** -2.5 + 0.41);
  return ((10.1 * bore) / 2) * speed * Math.sqrt((0.3164 * reynolds ** -0.25) / 8);
}

// A loop at one flow: metres, mm, L/min and the kinematic viscosity of the front in mm²/s.
export function planned({ length, bore, flow, viscosity }) {
  const speed = velocity(flow, bore);
  return { length_m: length, bore_mm: bore, flow_l_min: flow, transit_s: length / speed, reynolds: (speed * bore * 1000) / viscosity };
}

// When colour is due at the return hose, in seconds. `plan` is one loop of the work pack at its planned flow; the flow
// read at the hose moves all of it. `quantiles` are those of the normal distribution at the two shares of colour.
export function changeoverAt(plan, flow, rules) {
  const factor = flow / plan.flow_l_min;
  const transit = plan.transit_s / factor;
  const reynolds = plan.reynolds * factor;
  if (reynolds < NO_MIXING_BELOW) {
    return { transit, first: transit * laminarTurnovers(rules.first_fraction), full: transit * laminarTurnovers(rules.full_fraction), sharp: false };
  }
  const speed = plan.length_m / transit;
  const spread = Math.sqrt(dispersion(plan.bore_mm / 1000, speed, reynolds) * transit) / speed;
  const first = Math.max(transit + Math.SQRT2 * spread * rules.first_quantile, 0);
  return { transit, first, full: transit + Math.SQRT2 * spread * rules.full_quantile, sharp: true };
}

// The observed time that decides, and the earliest and latest it may be.
function passage(first, full, due, rules) {
  const [early, transit, late] = due;
  const [sharp, less, more] = [rules.sharp > 0, 1 - rules.deviation, 1 + rules.deviation];
  if (first !== null && full !== null && sharp) return [(first + full) / 2, transit * less, transit * more];
  if (first !== null) return [first, early * less, (sharp ? early : transit) * more];
  return [full || 0, (sharp ? late : transit) * less, late * more];
}

function nothingSeen(clear, transit, rules) {
  if (clear === null) return ["cannot tell", "nothing seen"];
  return clear >= rules.no_colour * transit ? ["fail", "no colour"] : ["cannot tell", "too soon to say"];
}

// What the observed seconds say: an outcome and a code.
export function diagnose({ expected_first: early, expected_full: late, transit, seen, rules }) {
  const [first, full, clear] = seen;
  if (first === null && full === null) return nothingSeen(clear, transit, rules);
  if (first !== null && full !== null && full < first) return ["cannot tell", "order"];
  const [when, low, high] = passage(first, full, [early, transit, late], rules);
  if (when <= rules.at_once * transit) return ["fail", "at once"];
  if (when < low) return ["fail", "too fast"];
  if (when > high) return ["fail", "too slow"];
  const longest = Math.max(rules.blur * (late - early), rules.blur_floor);
  if (first !== null && full !== null && full - first > longest) return ["warn", "blurred"];
  return ["pass", "as expected"];
}
