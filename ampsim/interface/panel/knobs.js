// Levels at every place of the knobs from the tables that the kernel sends, see `knob_tables.py`.

const MOST_TABLES = 48; // of each amp
const SAME_DB = 0.02; // what ports and ngspice may differ by and still agree
const FAINT_DB = -190; // below it a difference in decibels means nothing

function knobTables() {
  const kept = { stock: [], modded: [] };

  function keep({ kind, holds, facts }, [data]) {
    const listener = loadPortTable({ ...facts, data }).listen(facts.places[0]);
    const others = kept[kind].filter((each) => !holdsOf(each, holds));
    kept[kind] = [...others, { holds, facts, listener }].slice(-MOST_TABLES);
  }

  const holdsOf = (table, at) => Object.entries(table.holds).every(([key, step]) => at[key] === step);
  const find = (kind, at) => kept[kind].findLast((each) => holdsOf(each, at));
  const moves = (key) => Object.values(kept).some((tables) => tables.at(-1)?.facts.moving.includes(key));

  // Both amps' levels [dB] where the dials stand; null where a table is missing.
  function levels(at, dials) {
    const tables = [find("stock", at), find("modded", at)];
    if (!tables.every(Boolean)) return null;
    const turned = dials.filter((dial) => dial.values.length).map((dial) => [dial.key, dial.values[at[dial.key]]]);
    const settings = Object.fromEntries(turned);
    const [stock, modded] = tables.map((table) => [...decibelsOf(table.listener.respond(settings))]);
    return { of: at, frequency: tables[0].facts.frequency, stock, modded };
  }

  function forget() {
    kept.stock = kept.modded = [];
  }

  return { keep, levels, moves, forget };
}

// By how much two answers differ at most [dB], and at which frequency [Hz].
function levelsApart(one, other) {
  let [most, hertz] = [0, 0];
  for (const kind of ["stock", "modded"]) {
    one[kind].forEach((level, at) => {
      const theirs = other[kind][at] ?? -Infinity; // silence
      if (level < FAINT_DB && theirs < FAINT_DB) return;
      const apart = Math.abs(level - theirs);
      if (apart > most) [most, hertz] = [apart, one.frequency[at]];
    });
  }
  return { most, hertz };
}

// What stands below the picture: who worked it out, and whether ngspice has been asked.
function proofWords({ local, answer, current, last, moving }) {
  if (!local) {
    if (current) return ["asked", "Worked out by ngspice."];
    return ["waiting", moving ? `${last} moves the bias: waiting for ngspice …` : "Waiting for ngspice …"];
  }
  if (!current || !answer) return ["open", "Worked out in this page; ngspice is asked when the hand rests."];
  const { most, hertz } = levelsApart(local, answer);
  if (most <= SAME_DB) {
    return ["agreed", `Worked out in this page; ngspice agrees within ${Math.max(most, 0.001).toFixed(3)} dB.`];
  }
  const where = hertz < 1000 ? `${hertz.toFixed(0)} Hz` : `${(hertz / 1000).toPrecision(2)} kHz`;
  return ["differs", `ngspice differs by ${most.toPrecision(2)} dB at ${where} from what this page worked out; `
    + "shown is what ngspice says."];
}
