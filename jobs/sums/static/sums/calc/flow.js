// Flow in a pipe on plain numbers, metres, millimetres, L/min, m/s: what it holds, how fast it runs, what that purges and
// what heat it carries. The same functions as the server's, checked by the same vectors.

function area(bore) {
  return (Math.PI / 4) * (bore / 1000) ** 2;
}

export function litresOf(length, bore) {
  return area(bore) * length * 1000;
}

// m/s from L/min and mm.
export function velocity(flow, bore) {
  return flow / 60000 / area(bore);
}

// L/min that move at m/s in a bore of mm.
export function flowAt(speed, bore) {
  return speed * area(bore) * 60000;
}

// Metres of pipe that a changeover after so many seconds stands for.
export function effectiveLength(seconds, flow, bore) {
  return velocity(flow, bore) * seconds;
}

// Was a purge fast and long enough: m/s, minutes after the last bubble, turnovers.
export function judgePurge({ velocity: speed, minutes, turnovers, limits }) {
  if (speed < limits.velocity) return ["fail", "slow"];
  if (minutes < limits.minutes) return ["fail", "short"];
  if (turnovers < limits.turnovers) return ["fail", "turnovers"];
  return ["pass", "enough"];
}

// kW carried by a flow in L/min at a difference in kelvin; density in kg/m³, heat capacity in J/(kg K).
export function heat({ flow, difference, density, heatCapacity }) {
  return (density * heatCapacity * (flow / 60000) * difference) / 1000;
}
