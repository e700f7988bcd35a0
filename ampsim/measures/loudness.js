// How loud and how bright, as `loudness.py` has it in Python: gains to loudness (ISO 532-1, stationary, free field) and
// sharpness (DIN 45692) of a guitar-like sound, at equal loudness. Functions only; nothing runs by itself.
//
//   const ear = makeEar(frequency);        // [Hz], of the gains
//   compareBrightness(ear, [stock, modded]) // rows [dB]: { offset [dB], acum, difference [dB, by frequency] } of each

const GRID_STEP = 5; // Hz
const GRID_LAST = 24000;
const NOTES = Array.from({ length: 49 }, (_, place) => 440 * 2 ** ((place - 29) / 12));
const TOP_HERTZ = 14130; // upper edge of the highest band
const CONE_HERTZ = 5000; // a fall of 24 dB per octave above stands for the loudspeaker's cone
const HEARD_DB = 70;
const CLOSE_DB = 4e-3;
const WIDEST_DB = 60;

// ISO 532-1, tables A.3 to A.9.
const LOW_LEVELS = [45, 55, 65, 71, 80, 90, 100, 120];
const LOW_STEPS = [
  [-32, -24, -16, -10, -5, 0, -7, -3, 0, -2, 0], [-29, -22, -15, -10, -4, 0, -7, -2, 0, -2, 0],
  [-27, -19, -14, -9, -4, 0, -6, -2, 0, -2, 0], [-25, -17, -12, -9, -3, 0, -5, -2, 0, -2, 0],
  [-23, -16, -11, -7, -3, 0, -4, -1, 0, -1, 0], [-20, -14, -10, -6, -3, 0, -4, -1, 0, -1, 0],
  [-18, -12, -9, -6, -2, 0, -3, -1, 0, -1, 0], [-15, -10, -8, -4, -2, 0, -3, -1, 0, -1, 0],
];
const THRESHOLD = [30, 18, 12, 8, 7, 6, 5, 4, ...Array(12).fill(3)];
const TO_EAR = [0, 0, 0, 0, 0, 0, 0, 0, 0, 0, -0.5, -1.6, -3.2, -5.4, -5.6, -4, -1.5, 2, 5, 12];
const TO_CRITICAL = [-0.25, -0.6, -0.8, -0.8, -0.5, 0, 0.5, 1.1, 1.5, 1.7, 1.8, 1.8, 1.7, 1.6, 1.4, 1.2, 0.8, 0.5, 0, -0.5];
const BARK_ENDS = [0.9, 1.8, 2.8, 3.5, 4.4, 5.4, 6.6, 7.9, 9.2, 10.6, 12.3, 13.8, 15.2, 16.7, 18.1, 19.3, 20.6, 21.8, 22.7, 23.6, 24];
const SLOPE_RANGES = [21.5, 18, 15.1, 11.5, 9, 6.1, 4.4, 3.1, 2.13, 1.36, 0.82, 0.42, 0.3, 0.22, 0.15, 0.1, 0.035, 0];
const SLOPES = [
  [13, 8.2, 6.3, 5.5, 5.5, 5.5, 5.5, 5.5], [9, 7.5, 6, 5.1, 4.5, 4.5, 4.5, 4.5], [7.8, 6.7, 5.6, 4.9, 4.4, 3.9, 3.9, 3.9],
  [6.2, 5.4, 4.6, 4, 3.5, 3.2, 3.2, 3.2], [4.5, 3.8, 3.6, 3.2, 2.9, 2.7, 2.7, 2.7], [3.7, 3, 2.8, 2.35, 2.2, 2.2, 2.2, 2.2],
  [2.9, 2.3, 2.1, 1.9, 1.8, 1.7, 1.7, 1.7], [2.4, 1.7, 1.5, 1.35, 1.3, 1.3, 1.3, 1.3],
  [1.95, 1.45, 1.3, 1.15, 1.1, 1.1, 1.1, 1.1], [1.5, 1.2, 0.94, 0.86, 0.82, 0.82, 0.82, 0.82],
  [0.72, 0.67, 0.64, 0.63, 0.62, 0.62, 0.62, 0.62], [0.59, 0.53, 0.51, 0.5, 0.42, 0.42, 0.42, 0.42],
  [0.4, 0.33, 0.26, 0.24, 0.24, 0.22, 0.22, 0.22], [0.27, 0.21, 0.2, 0.18, 0.17, 0.17, 0.17, 0.17],
  [0.16, 0.15, 0.14, 0.12, 0.11, 0.11, 0.11, 0.11], [0.12, 0.11, 0.1, 0.08, 0.08, 0.08, 0.08, 0.08],
  [0.09, 0.08, 0.07, 0.06, 0.06, 0.06, 0.06, 0.05], [0.06, 0.05, 0.03, 0.02, 0.02, 0.02, 0.02, 0.02],
];

// Which lines of the grid sound, where each lies between the frequencies of the gains, and what each third-octave band
// (a Butterworth filter of order 3, ANSI S1.1-1986) takes of it.
function makeEar(frequency) {
  const share = new Map();
  for (const note of NOTES) {
    for (let order = 1; order <= Math.floor(TOP_HERTZ / note); order += 1) {
      const line = Math.round((order * note) / GRID_STEP);
      share.set(line, (share.get(line) ?? 0) + order ** -2);
    }
  }
  const lines = [...share.keys()].sort((one, other) => one - other);
  const total = [...share.values()].reduce((sum, each) => sum + each, 0);
  const logs = Float64Array.from(frequency, Math.log);
  const power = Float64Array.from(lines, (line) => share.get(line) / total / (1 + ((line * GRID_STEP) / CONE_HERTZ) ** 8));
  const cell = new Int32Array(lines.length);
  const within = new Float64Array(lines.length);
  lines.forEach((line, at) => {
    const here = Math.log(line * GRID_STEP);
    let place = 0;
    while (place < logs.length - 2 && logs[place + 1] < here) place += 1;
    cell[at] = place;
    within[at] = Math.min(1, (here - logs[place]) / (logs[place + 1] - logs[place]));
  });
  const count = GRID_LAST / GRID_STEP + 1;
  const bent = Float64Array.from(lines, (line) => Math.tan((Math.PI * line) / count / 2));
  const bands = Array.from({ length: 28 }, (_, place) => bandWeights(1000 * 10 ** ((place - 16) / 10), bent));
  return { frequency, power, cell, within, bands };
}

function bandWeights(centre, bent) {
  const quotient = 1 / (2 ** (1 / 6) - 2 ** (-1 / 6));
  const design = (Math.PI / 6 / Math.sin(Math.PI / 6)) * quotient;
  const ratio = (1 + Math.sqrt(1 + 4 * design ** 2)) / 2 / design;
  const [low, high] = [centre / ratio, centre * ratio].map((edge) => Math.tan((Math.PI * edge) / GRID_LAST / 2));
  return Float64Array.from(bent, (at) => 1 / (1 + ((at * at - low * high) / ((high - low) * at)) ** 6));
}

// Power in each third-octave band behind a gain [dB], and in all of them, for a sound of power 1.
function bandPowers(ear, gain) {
  const lines = new Float64Array(ear.power.length);
  let total = 0;
  for (let at = 0; at < lines.length; at += 1) {
    const below = gain[ear.cell[at]];
    lines[at] = ear.power[at] * 10 ** ((below + ear.within[at] * (gain[ear.cell[at] + 1] - below)) / 10);
    total += lines[at];
  }
  const bands = ear.bands.map((weights) => {
    let sum = 0;
    for (let at = 0; at < lines.length; at += 1) sum += weights[at] * lines[at];
    return sum;
  });
  return { bands, total };
}

// Main loudness of the critical bands from levels of the third-octave bands [dB].
function mainLoudness(levels) {
  const low = levels.slice(0, 11).map((level, band) => {
    const step = LOW_LEVELS.findIndex((most, place) => place === 7 || level <= most - LOW_STEPS[place][band]);
    return 10 ** ((level + LOW_STEPS[step][band]) / 10);
  });
  const together = [[0, 6], [6, 9], [9, 11]].map(([from, to]) => 10 * Math.log10(low.slice(from, to).reduce((a, b) => a + b, 0)));
  const found = [...together, ...levels.slice(11)].map((level, band) => {
    const heard = level - TO_EAR[band];
    if (!(heard > THRESHOLD[band])) return 0;
    const above = heard - TO_CRITICAL[band] - THRESHOLD[band];
    return Math.max(0, 0.0635 * 10 ** (0.025 * THRESHOLD[band]) * ((0.75 + 0.25 * 10 ** (0.1 * above)) ** 0.25 - 1));
  });
  found[0] *= Math.min(1, 0.4 + 0.32 * found[0] ** 0.2);
  return [...found, 0];
}

// Loudness [sone], rounded as the standard does, and sharpness [acum]: the slopes of masking are attached to each band.
function loudnessOf(levels) {
  const main = mainLoudness(levels);
  const weight = (z) => (z > 15.8 ? 0.15 * Math.exp(0.42 * (z - 15.8)) + 0.85 : 1);
  let [sone, moment, z, from, height, range] = [0, 0, 0.1, 0, 0, 17];
  const walk = (to, specific) => {
    for (; z <= to + 1e-9 && z < 24.05; z += 0.1) moment += specific(z) * weight(z) * z * 0.1;
  };
  main.forEach((wanted, band) => {
    const end = BARK_ENDS[band];
    const column = Math.min(Math.max(band - 1, 0), 7);
    while (from < end - 1e-9) {
      let [to, after] = [end, wanted];
      if (height <= wanted) {
        if (height < wanted) range = SLOPE_RANGES.findIndex((least, place) => place === 17 || least <= wanted);
        sone += wanted * (to - from);
        walk(to, () => wanted);
      } else {
        const slope = SLOPES[range][column];
        after = Math.max(SLOPE_RANGES[range], wanted);
        to = from + (height - after) / slope;
        if (to > end) [to, after] = [end, height - (end - from) * slope];
        sone += ((to - from) * (height + after)) / 2;
        const [start, top] = [from, height];
        walk(to, (here) => top - (here - start) * slope);
      }
      while (after <= SLOPE_RANGES[range] && range < 17) range += 1;
      [from, height] = [to, after];
    }
  });
  const digits = sone <= 16 ? 1000 : 100;
  const rounded = Math.floor(Math.max(sone, 0) * digits + 0.5) / digits;
  return { sone: rounded, acum: (0.11 * moment) / rounded };
}

const phonOf = (sone) => (sone < 1 ? 40 * sone ** 0.35 : 40 + 10 * Math.log2(sone));
const roundingOf = (sone) => phonOf(sone + 0.51 * (sone <= 16 ? 1e-3 : 1e-2)) - phonOf(sone);

// Each gain [dB] turned up or down until it is as loud as the first, which is heard at 70 dB.
function compareBrightness(ear, gains) {
  const powers = gains.map((gain) => bandPowers(ear, gain));
  const heard = ({ bands }, offset) =>
    loudnessOf(bands.map((each) => 10 * Math.log10(Math.max(each, 1e-300) / powers[0].total) + HEARD_DB + offset));
  const base = heard(powers[0], 0);
  const wanted = phonOf(base.sone);
  return gains.map((gain, number) => {
    const found = number ? asLoud(powers[number], 10 * Math.log10(powers[0].total / powers[number].total)) : { offset: 0, ...base };
    return { ...found, difference: Float64Array.from(gain, (level, at) => level - gains[0][at] + found.offset) };
  });

  function asLoud(power, start) {
    let [offset, low, high] = [start, start - WIDEST_DB, start + WIDEST_DB];
    for (let round = 0; round < 60; round += 1) {
      const now = heard(power, offset);
      const error = wanted - phonOf(now.sone);
      if (Math.abs(error) <= roundingOf(now.sone) || high - low <= CLOSE_DB) return { offset, ...now };
      if (error > 0) low = offset;
      else high = offset;
      const guess = offset + error;
      offset = low < guess && guess < high ? guess : 0.5 * (low + high);
    }
    return { offset: NaN, sone: NaN, acum: NaN };
  }
}
