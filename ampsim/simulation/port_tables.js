// An amp at every place of its knobs, from one table of `port_tables.py`: what that computes in Python, in a page.
//
//   const table = loadPortTable(packed);            // what PortTable.packed() says; "data" may also be bytes
//   const listener = table.listen("speaker");       // one of table.places
//   listener.respond({ "knob gain": 0.3, "part C101": 1.2e-10 }); // { re, im }: [V] for 1 V, by table.frequency
//   decibelsOf({ re, im });
//
// Dials that are not named stand as where the table was taken. A listener keeps what it has worked out: as long as the
// same knob moves, only the ports of that knob are put in again. What `respond` returns is overwritten by its next call.

function loadPortTable({ places, ports, moving, frequency, bits, data }) {
  const numbers = portNumbers(data, bits);
  const columns = ports.length + 1;
  const part = (row, column, imaginary) => {
    const found = new Float64Array(frequency.length);
    const start = 2 * frequency.length * (row * columns + column) + imaginary;
    for (let at = 0; at < found.length; at += 1) found[at] = numbers[start + 2 * at];
    return found;
  };
  const cell = (row, column) => ({ re: part(row, column, 0), im: part(row, column, 1) });

  function listen(place) {
    const output = ports.length + places.indexOf(place);
    if (output < ports.length) throw new Error(`no place ${place} in this table`);
    const rows = [...ports.keys(), output];
    return portListener(ports, frequency, rows.map((row) => ports.map((_, column) => cell(row, column))
      .concat([cell(row, ports.length)])));
  }
  const dials = [...new Set(ports.flatMap((port) => [port.knob, port.value]).filter(Boolean))];
  return { places, moving, frequency, dials, listen };
}

function portNumbers(data, bits) {
  const there = typeof data === "string" ? Uint8Array.from(atob(data), (letter) => letter.charCodeAt(0)) : data;
  const bytes = there.buffer ? there.buffer.slice(there.byteOffset, there.byteOffset + there.byteLength) : there;
  return bits === 32 ? new Float32Array(bytes) : new Float64Array(bytes);
}

// How much of a pot's track lies below the wiper; `law` is the base of an exponential, 1 for a linear track.
function trackBelow(port, rotation) {
  if (port.law === 1) return rotation;
  if (port.reverse) return 1 - trackBelow({ ...port, reverse: false }, 1 - rotation);
  return (port.law ** rotation - 1) / (port.law - 1);
}

function stretchShare({ stretch, tap }, below) {
  if (tap === null) return stretch === "bottom" ? below : 1 - below;
  const under = below < tap;
  if (stretch === "bottom") return under ? below : Infinity;
  if (stretch === "top") return under ? Infinity : 1 - below;
  if (stretch === "upper") return under ? 1 - tap : Infinity;
  if (stretch === "lower") return under ? Infinity : tap;
  return Math.abs(below - tap);
}

const OPEN_OHMS = 1e15; // a stretch of track that is none

function portSize(port, at) {
  const value = at[port.value] ?? port.base;
  if (port.kind !== "pot") return value;
  const share = stretchShare(port, trackBelow(port, at[port.knob] ?? port.rotation));
  return Math.min(Math.max(share * value, port.least), OPEN_OHMS);
}

// Resistance, or what a coil's wire and inductance make of one, at an angular frequency: its admittance.
function coilAdmittance(ohms, reactance) {
  const size = ohms * ohms + reactance * reactance;
  return [ohms / size, -reactance / size];
}

// What a part is beyond what it is in the table, at an angular frequency: [siemens, or ohms in series].
function portChange(port, size, stock, omega) {
  if (port.series) return [size - stock, 0];
  if (port.kind === "capacitor") return [0, omega * (size - stock)];
  if (port.kind !== "inductor") return [1 / size - 1 / stock, 0];
  const [one, other] = [size, stock].map((henries) => coilAdmittance(port.coil, omega * henries));
  return [one[0] - other[0], one[1] - other[1]];
}

// Puts ports in one after the other (superposition; Sherman and Morrison's rule of rank one). `steps[n]` is the table
// when the first n of `order` are in; ports that move go last, so that those before them are in already.
function portListener(ports, frequency, table) {
  const names = ports.map((_, place) => place);
  let order = names;
  let sizes = ports.map(() => NaN);
  const stocks = ports.map((port) => portSize(port, {}));
  const whole = { left: names, table };
  const steps = [whole];

  function respond(at) {
    const wanted = ports.map((port) => portSize(port, at));
    const moved = new Set(names.filter((place) => wanted[place] !== sizes[place]));
    let kept = order.findIndex((place) => moved.has(place));
    if (kept < 0) kept = order.length;
    order = [...order.filter((place) => !moved.has(place)), ...order.filter((place) => moved.has(place))];
    sizes = wanted;
    for (let step = kept; step < order.length; step += 1) steps[step + 1] = put(steps[step], order[step], steps[step + 1]);
    return steps[order.length].table[0][0];
  }

  // The table with a port put in and dropped; written over the arrays of an older one of that size.
  function put({ left, table: from }, port, older) {
    const at = left.indexOf(port);
    const [re, im] = shareOf(from[at][at], port);
    const over = (cells, place) => cells.filter((_, each) => each !== place);
    const pivot = over(from[at], at);
    const rest = over(from, at).map((row, line) => {
      const into = row[at];
      return over(row, at).map((cell, column) => {
        const found = older ? older.table[line][column]
          : { re: new Float64Array(frequency.length), im: new Float64Array(frequency.length) };
        subtract(found, cell, into, pivot[column], re, im);
        return found;
      });
    });
    return { left: left.filter((each) => each !== port), table: rest };
  }

  // change / (1 + change * own), by frequency.
  function shareOf(own, port) {
    const re = new Float64Array(frequency.length);
    const im = new Float64Array(frequency.length);
    for (let at = 0; at < re.length; at += 1) {
      const [real, imaginary] = portChange(ports[port], sizes[port], stocks[port], 2 * Math.PI * frequency[at]);
      const under = 1 + real * own.re[at] - imaginary * own.im[at];
      const beside = real * own.im[at] + imaginary * own.re[at];
      const size = under * under + beside * beside;
      re[at] = (real * under + imaginary * beside) / size;
      im[at] = (imaginary * under - real * beside) / size;
    }
    return [re, im];
  }

  return { respond };
}

// found = cell - into * share * pivot, by frequency.
function subtract(found, cell, into, pivot, re, im) {
  for (let at = 0; at < re.length; at += 1) {
    const real = into.re[at] * re[at] - into.im[at] * im[at];
    const imaginary = into.re[at] * im[at] + into.im[at] * re[at];
    found.re[at] = cell.re[at] - real * pivot.re[at] + imaginary * pivot.im[at];
    found.im[at] = cell.im[at] - real * pivot.im[at] - imaginary * pivot.re[at];
  }
}

// Levels [dB] of a response; silence is -Infinity.
function decibelsOf({ re, im }) {
  return Float64Array.from(re, (real, at) => 20 * Math.log10(Math.hypot(real, im[at])));
}
