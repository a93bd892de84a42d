// Residual air after purging on plain numbers; the same functions as the server's, checked by the same vectors.

const ATMOSPHERE = 101.325;

function stretch(squeeze, wall) {
  const give = 1 / (squeeze.water_modulus * 1000) + squeeze.bore_to_wall / (wall * 1000);
  return squeeze.volume * (squeeze.end - squeeze.start) * give;
}

function atAtmosphere(squeeze, taken) {
  const [start, end] = [squeeze.start + ATMOSPHERE, squeeze.end + ATMOSPHERE];
  return ((taken / (1 - start / end)) * start) / ATMOSPHERE;
}

export function litresIn(diameter, fall) {
  return (Math.PI / 4) * (diameter / 1000) ** 2 * (fall / 1000) * 1000;
}

// Litres of air left at atmospheric pressure. `squeeze`: litres, kPa above atmosphere, MPa; null without a rise of pressure.
export function residualAir(squeeze, wentIn) {
  if (!(squeeze.end > squeeze.start)) return null;
  const [wall, doubt] = [squeeze.wall_modulus, squeeze.modulus_doubt];
  const parts = [wall, wall * (1 - doubt), wall * (1 + doubt)].map((modulus) => stretch(squeeze, modulus));
  const [air, low, high] = parts.map((part) => atAtmosphere(squeeze, wentIn - part));
  return { volume: air, low, high, elastic: parts[0], litres_in: wentIn, loop_volume: squeeze.volume };
}

export function judgeAir(air, rules) {
  const good = Math.max(rules.good_share * air.loop_volume, rules.good_floor);
  const bad = Math.max(rules.fail_share * air.loop_volume, good);
  if (air.litres_in < rules.low_share_of_elastic * air.elastic) return ["cannot tell", "shut"];
  if (air.high <= good) return ["pass", "good"];
  if (air.volume <= good) return ["cannot tell", "unsure"];
  return [air.low > bad ? "fail" : "warn", "air"];
}
