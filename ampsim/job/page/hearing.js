// What is heard at one position, for small signals, as `hearing.py` has it.

const wholeFace = (rotation) => String(Number((10 * rotation).toPrecision(4)));
const settingClause = (name, value) => `${name} at ${typeof value === "string" ? value : wholeFace(value)}`;
const joinWords = (items) => (items.length < 2 ? items.join() : `${items.slice(0, -1).join(", ")} and ${items.at(-1)}`);
const withSign = (number, digits) => {
  const size = Math.abs(number).toFixed(digits);
  return `${number < 0 && Number(size) ? "\u2212" : "+"}${size}`;
};

const heardBetween = (frequency, values, [low, high]) => values.filter((_, at) => frequency[at] >= low && frequency[at] <= high);
const meanOf = (values) => values.reduce((sum, each) => sum + each, 0) / values.length;

// `gainsAt(setting)`: rows [dB] of the stock and the modded amp. `facts`: choices, limits, rest.
function hearAt(ear, gainsAt, facts, setting) {
  const { silent, loudest, same, mostShared, bass, middle, heard } = facts.limits;
  const highest = (gain) => Math.max(...heardBetween(ear.frequency, gain, heard));
  const faint = (gain) => highest(gain) < loudest - silent;
  const [stock, modded] = gainsAt(setting);
  if (faint(stock) || faint(modded)) return { state: "silent" };
  if (modded.every((level, at) => Math.abs(level - stock[at]) <= same)) return { state: "same" };
  const moved = facts.choices.filter(({ name, added, drawn }) => added && setting[name] !== drawn);
  let partly = [];
  if (moved.length && moved.length <= mostShared) {
    for (let subset = 0; subset < 1 << moved.length; subset += 1) {
      const back = moved.filter((_, place) => !((subset >> place) & 1)).map(({ name, drawn }) => [name, drawn]);
      partly.push(gainsAt({ ...setting, ...Object.fromEntries(back) })[1]);
    }
  }
  if (partly.some(faint)) partly = [];
  const [base, found, ...rest] = compareBrightness(ear, [stock, modded, ...partly]);
  const acum = rest.map((each) => each.acum);
  const shares = partly.length ? [
    ...shareOut(acum, moved.length).map((share, place) => [settingClause(moved[place].name, setting[moved[place].name]), share]),
    [facts.rest, acum[0] - base.acum],
  ] : [];
  return {
    state: "heard",
    acum: [base.acum, found.acum],
    bass: meanOf(heardBetween(ear.frequency, found.difference, bass)),
    middle: meanOf(heardBetween(ear.frequency, found.difference, middle)),
    most: Math.max(...heardBetween(ear.frequency, found.difference.map(Math.abs), heard)),
    louder: -found.offset,
    shares,
  };
}

// Shapley value of each of `count` steps from the value of every subset of them, step k done where bit k is set.
function shareOut(values, count) {
  const factorial = (n) => (n < 2 ? 1 : n * factorial(n - 1));
  const bits = (subset) => (subset ? (subset & 1) + bits(subset >> 1) : 0);
  return Array.from({ length: count }, (_, step) => values.reduce((sum, value, subset) => {
    if ((subset >> step) & 1) return sum;
    const weight = (factorial(bits(subset)) * factorial(count - bits(subset) - 1)) / factorial(count);
    return sum + weight * (values[subset | (1 << step)] - value);
  }, 0));
}

function brightnessWords({ acum: [before, after], shares }, sharper, { noticedAcum }) {
  if (sharper === 0) return `As bright as stock: ${after.toFixed(2)} acum.`;
  const [way, size] = [sharper > 0 ? "brighter" : "duller", `${Math.abs(sharper).toFixed(2)} acum`];
  const pair = `(${after.toFixed(2)} against ${before.toFixed(2)})`;
  if (Math.abs(sharper) < noticedAcum) return `About as bright as stock: ${size} ${way} ${pair}.`;
  return [`${way.replace(/^./, (letter) => letter.toUpperCase())} at equal loudness, by ${size} ${pair}.`, ...(shares.length ? [shared(sharper, shares)] : [])].join(" ");
}

// Shares rounded so that they add up to the rounded whole: the missing last digits go to those cut most.
function shared(sharper, shares) {
  const counts = shares.map(([, share]) => Math.floor(100 * share));
  const missing = Math.round(100 * sharper) - counts.reduce((sum, each) => sum + each, 0);
  const cut = shares.map(([, share], place) => [counts[place] - 100 * share, place]).sort((one, other) => one[0] - other[0]);
  for (let step = 0; step < Math.abs(missing); step += 1) counts[cut[step % cut.length][1]] += missing > 0 ? 1 : -1;
  const told = shares.map(([name], place) => [name, counts[place]]).filter(([, count]) => count);
  if (told.length === 1) return `All of it comes from ${told[0][0]}.`;
  return `Of the ${withSign(sharper, 2)} acum: ${joinWords(told.map(([name, count]) => `${withSign(count / 100, 2)} from ${name}`))}.`;
}
