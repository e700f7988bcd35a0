// What a player notices at one position, question by question, as `answers.py` and `playing/drive.py` have it.

const HARDEST_DB = 0;
const signedSize = (size) => withSign(size, 1);
const decibelsApart = (one, other) => 20 * Math.log10(Math.hypot(one.re - other.re, one.im - other.im));

// Gain to the output of each stage [dB], near the two frequencies of `facts.columns`.
function stageGains(listenTo, outputs) {
  return Object.fromEntries(Object.entries(outputs).map(([name, places]) => {
    const heard = places.map((place) => listenTo(place)).map(({ re, im }) => [0, 1].map((at) => ({ re: re[at], im: im[at] })));
    return [name, [0, 1].map((at) => Math.max(decibelsApart(heard[0][at], heard[1]?.[at] ?? { re: 0, im: 0 }), -300))];
  }));
}

// The table of a page at two of its frequencies, with the outputs of the stages in the place of what is listened to.
function drivenTable(packed, frequency, columns) {
  const numbers = portNumbers(packed.data, packed.bits);
  const cells = packed.ports.length * (packed.ports.length + 1);
  const own = portNumbers(packed.driven.data, 32);
  const whole = new Float64Array(cells * 4 + own.length);
  for (let cell = 0; cell < cells; cell += 1) {
    columns.forEach((column, at) => {
      const from = 2 * (cell * frequency.length + column);
      whole[4 * cell + 2 * at] = numbers[from];
      whole[4 * cell + 2 * at + 1] = numbers[from + 1];
    });
  }
  whole.set(own, cells * 4);
  const bytes = new Uint8Array(whole.buffer);
  return loadPortTable({ ...packed, places: packed.driven.places, frequency: columns.map((at) => frequency[at]), bits: 64, data: bytes });
}

function breaksUpAt(drive, gains, faintest) {
  const least = (marks) => Math.min(Infinity, ...Object.entries(marks).map(([name, own]) => own - gains[name][1]));
  const [level, unknown] = [least(drive.overload), least(drive.beyond)];
  if (Math.min(level, unknown) >= HARDEST_DB) return Infinity;
  return level <= unknown ? Math.max(level, faintest) : null;
}

function evensOut(drives, level, { soft, hard, farthest }) {
  const held = (value) => Math.min(value, HARDEST_DB);
  const drive = drives.reduce((best, each) =>
    (Math.abs(held(each.first) - held(level)) < Math.abs(held(best.first) - held(level)) ? each : best));
  const moved = held(drive.first) - held(level);
  if (Math.abs(moved) > farthest) return null;
  return curveAt(drive.curve, soft + moved) - curveAt(drive.curve, hard + moved);
}

function curveAt(curve, level) {
  const [last, before] = [curve.at(-1), curve.at(-2)];
  if (level > last[0] && before) {
    return last[1] + Math.min(Math.max((last[1] - before[1]) / (last[0] - before[0]), -1), 0) * (level - last[0]);
  }
  const next = curve.findIndex(([x]) => x >= level);
  if (next <= 0) return next < 0 ? last[1] : curve[0][1];
  const [[x0, y0], [x1, y1]] = [curve[next - 1], curve[next]];
  return y0 + ((y1 - y0) * (level - x0)) / (x1 - x0);
}

function breakingUp(stock, modded, { full, least }) {
  const answer = (size, words) => ({ name: "Breaking up", size, words });
  if (stock === null || modded === null) {
    return answer(null, "How early it breaks up was not worked out this far from where the amp was played.");
  }
  if (stock === Infinity && modded === Infinity) return answer(0, "Stays clean up to the hardest stroke, as stock does.");
  if (modded === Infinity) return answer(-full, "Stays clean up to the hardest stroke, where stock has broken up before.");
  if (stock === Infinity) return answer(full, "Breaks up with hard strokes, where stock stays clean.");
  const earlier = stock - modded;
  const size = earlier / least["Breaking up"];
  if (Math.abs(size) < 1) return answer(size, `Breaks up where stock does (${signedSize(earlier)} dB).`);
  return answer(size, earlier > 0
    ? `Breaks up earlier: at ${(100 * 10 ** (-earlier / 20)).toFixed(0)} % of the picking strength that stock takes (${earlier.toFixed(1)} dB).`
    : `Breaks up later: it takes ${(10 ** (-earlier / 20)).toFixed(1)} times the picking strength (${(-earlier).toFixed(1)} dB).`);
}

function eveningOut(stock, modded, { least }) {
  if (stock === null || modded === null) return [];
  const more = modded - stock;
  const how = Math.abs(more) < least["Evening out"] ? "about as stock does"
    : `${more > 0 ? "more" : "less"} than stock, by about ${Math.abs(more).toFixed(0)} dB`;
  return [{ name: "Evening out", size: more / least["Evening out"],
    words: `Evens out playing ${how}: a hard stroke, 24 dB above a soft one, comes out about ${(24 - modded).toFixed(0)} dB louder.` }];
}

function tightness(stock, modded, { least }) {
  const less = stock - modded;
  const size = less / least.Tightness;
  const where = "reaches the stage that breaks up first, at 100 Hz against 400 Hz";
  return { name: "Tightness", size, words: Math.abs(size) < 1
    ? `As tight as stock when pushed: about as much bass ${where} (${signedSize(-less)} dB).`
    : `${less > 0 ? "Less" : "More"} bass ${where}: ${Math.abs(less).toFixed(1)} dB.` };
}

// `drives`: that of the stock and of the modded amp here, null where it is not known; `every`: all of either amp.
function drivenAnswers(drives, every, gains, rules) {
  if (!drives) return [every[1].length ? [breakingUp(null, null, rules)] : [], false];
  const levels = drives.map((drive, at) => breaksUpAt(drive, gains[at], rules.faintest));
  const found = [breakingUp(...levels, rules)];
  if (levels.includes(null)) return [found, false];
  found.push(...eveningOut(...levels.map((level, at) => evensOut(every[at], level, rules)), rules));
  if (levels.every(Number.isFinite)) {
    const bass = drives.map(({ overload }, at) => {
      const over = (name) => overload[name] - gains[at][name][1];
      const first = Object.keys(overload).reduce((best, name) => (over(name) < over(best) ? name : best));
      return gains[at][first][0] - gains[at][first][1];
    });
    found.push(tightness(...bass, rules));
  }
  return [found, true];
}

function toneAnswers(heard, sharper, { limits, answers: { least } }) {
  if (heard.state !== "heard") return [];
  const band = (name, size, [low, high]) => {
    const where = `${name.toLowerCase()}, ${low} to ${high} Hz`;
    return { name, size: size / least[name], words: Math.abs(size) < least[name]
      ? `About as much ${where}, as stock (${signedSize(size)} dB).`
      : `${size > 0 ? "More" : "Less"} ${where}, at equal loudness: ${Math.abs(size).toFixed(1)} dB.` };
  };
  return [
    band("Bass", heard.bass, limits.bass),
    band("Middle", heard.middle, limits.middle),
    { name: "Brightness", size: sharper / least.Brightness, words: brightnessWords(heard, sharper, limits) },
    { name: "Loudness", size: heard.louder / least.Loudness, words: loudnessWords(heard.louder, least.Loudness) },
  ];
}

function loudnessWords(louder, least) {
  if (Math.abs(louder) < least) return `About as loud as stock (${signedSize(louder)} dB).`;
  const [way, than] = louder > 0 ? ["down", "Louder"] : ["up", "Softer"];
  return `${than} by ${Math.abs(louder).toFixed(1)} dB as it stands; ears take louder for better, so for the other answers it `
    + `was turned ${way} by that.`;
}

// The sentence at the head, and the answers in their order.
function sayAll(heard, driven, known, still, facts) {
  const { answers, limits } = facts;
  if (heard.state === "silent") return { headline: answers.noSignal, answers: [] };
  const sharper = heard.state === "heard" ? Number((heard.acum[1].toFixed(2) - heard.acum[0].toFixed(2)).toFixed(2)) : 0;
  const all = [...driven, ...toneAnswers(heard, sharper, facts), ...still];
  const found = answers.names.flatMap((name) => all.filter((each) => each.name === name));
  const sizes = Object.fromEntries(found.filter(({ size }) => size !== null && Math.abs(size) >= 1).map(({ name, size }) => [name, size]));
  const words = (pairs) => Object.entries(pairs).flatMap(([name, pair]) => (name in sizes ? [pair[sizes[name] < 0 ? 1 : 0]] : []));
  const [is, does] = [words(answers.is), words(answers.does)];
  const also = is.length && does.length ? `; it ${joinWords(does)}` : "";
  let headline = known ? answers.notAudible : answers.toneNotAudible;
  if (is.length) headline = `${joinWords(is).replace(/^./, (letter) => letter.toUpperCase())} than stock${also}.`;
  else if (does.length) headline = `It ${joinWords(does)} than stock.`;
  else if (heard.state === "same") headline = answers.nothing;
  else if (heard.most >= limits.noticedDb) {
    headline = `A little different in tone: at equal loudness by up to ${heard.most.toFixed(1)} dB, at single frequencies.`;
  }
  return { headline, answers: found };
}

// Where a mark stands on its scale, as `gauge.py` has it.
const markAt = (size, full) => 75 + Math.sign(size) * 68 * Math.sqrt(Math.min(Math.abs(size) / full, 1));

// What the mod does for a wish, as `wished.py` has it: `gains` where its controls stand as it says.
function grantWish({ band: [low, high], limits, asked, reaches }, frequency, [stock, modded], levelAt) {
  const change = [...modded].map((level, at) => level - stock[at]);
  const inside = change.filter((_, at) => frequency[at] >= low && frequency[at] <= high);
  const all = [...inside, levelAt(change, low), levelAt(change, high)];
  const span = [Math.min(...all), Math.max(...all)];
  const [least, most] = [limits[0] ?? -Infinity, limits[1] ?? Infinity];
  let how = "partly as asked for";
  if (span[0] >= least - 0.05 && span[1] <= most + 0.05) how = "as asked for";
  else if (span[0] > most) how = "more than asked for";
  else if (span[1] < least) how = "less than asked for";
  const [one, other] = span.map((size) => withSign(size, 1));
  const widest = Math.max(...[...limits, ...span].filter(Number.isFinite).map(Math.abs));
  return {
    words: `${asked} Here it is ${one === other ? one : `${one} to ${other}`} dB, ${how}.`,
    reach: reaches.find((each) => widest <= each) ?? reaches.at(-1),
    asked: [least, most],
    got: span,
  };
}

// Where a bar between two sizes [dB] begins on a wish's scale, and how long it is.
function wishBar([low, high], reach) {
  const [one, other] = [low, high].map((each) => 75 + 68 * Math.min(Math.max(each / reach, -1), 1));
  const wide = Math.max(other - one, 5);
  return [(one + other - wide) / 2, wide];
}
