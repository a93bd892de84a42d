// Cooling clocks of a fusion joint on plain numbers, in minutes from the end of fusion; the same functions as the server's,
// checked by the same vectors. `told`: what the fitting's label, the machine's table or the maker's sheet says.

// Rows: outside diameter in mm, minutes to hold still and until stress. Null where neither the table nor a label tells.
export function cooling({ method, od, told }, rows) {
  if (method === "mechanical") return { move: 0, pressurise: 0 };
  const said = told && { move: told.move, pressurise: Math.max(told.move, told.pressurise) };
  if (method !== "socket") return said;
  const row = rows.find(([size]) => Math.abs(size - od) < 0.05);
  if (!row) return null;
  const [, move, pressurise] = row;
  return said ? { move: Math.max(move, said.move), pressurise: Math.max(pressurise, said.pressurise) } : { move, pressurise };
}

// What is left of both clocks, with a code and an outcome.
export function waiting(clock, elapsed) {
  const [move, pressurise] = [Math.max(0, clock.move - elapsed), Math.max(0, clock.pressurise - elapsed)];
  const [code, outcome] = move > 0 ? ["hold", "fail"] : pressurise > 0 ? ["wait", "warn"] : ["cooled", "pass"];
  return { move, pressurise, code, outcome };
}
