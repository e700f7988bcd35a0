// Moving the curves of a picture from levels, in its own axes: what the kernel would draw, without asking it.

const CURVE_STEPS = [1, 2, 5, 10, 20]; // dB, of the limits: as `picture.py` has them
const TICK_STEPS = [1, 2, 3, 5, 6, 10, 20, 30, 50, 60, 100]; // dB
const MOST_TICKS = [6, 4]; // of the upper and the lower axes
const ROOM = 1.5; // steps beyond the curves, where the limits have to be widened in the middle of a move

function movingCurves() {
  let paths = new Map(); // gid -> path
  let stills = []; // for each axes its lines that stand: [path, its points as drawn]
  let marks = []; // and the numbers at their ends
  let frames = [];
  let drawn = [];
  let svg = null;
  let widened = false;

  function load(picture, given) {
    svg = picture;
    drawn = given;
    frames = given.map((frame) => ({ ...frame, y: [...frame.y] }));
    widened = false;
    paths = new Map();
    stills = ["modded-0", "change-0"].map((gid) => [...svg.querySelectorAll(`[id^="still-${gid}-"] path`)]
      .map((path) => [path, path.getAttribute("d")]));
    marks = ["modded-0", "change-0"].map((gid) => [...svg.querySelectorAll(`[id^="mark-${gid}-"]`)]);
  }

  function path(gid) {
    if (!paths.has(gid)) paths.set(gid, svg?.querySelector(`[id="${CSS.escape(gid)}"] path`));
    return paths.get(gid);
  }

  // The curves by path, as the kernel gave them: only in the axes that it drew.
  function put(given) {
    for (const [gid, d] of Object.entries(given)) path(gid)?.setAttribute("d", d);
  }

  function show({ frequency, stock, modded }) {
    if (!svg || frames.length < 2) return;
    const change = modded.map((level, at) => level - stock[at]);
    const none = change.map((level) => level * 0);
    [[stock, modded], [change, none]].forEach((curves, axes) => fit(axes, curves));
    const across = frequency.map((hertz) => Math.log10(hertz));
    const [upper, lower] = frames.map((frame) => curvePoints(frame, across));
    const d = {
      "stock-0": linePath(upper, stock),
      "modded-0": linePath(upper, modded),
      "change-0": linePath(lower, change),
      "between": areaPath(upper, stock, modded),
      "change-area": areaPath(lower, none, change),
    };
    put(d);
  }

  // Wider limits when a curve leaves the axes; what stands in them moves too, and the numbers beside them.
  function fit(axes, curves) {
    const frame = frames[axes];
    const known = curves.flatMap((curve) => [...curve]).filter(Number.isFinite);
    const [low, high] = [Math.min(...known), Math.max(...known)];
    if (!known.length || (low >= frame.y[0] && high <= frame.y[1])) return;
    const step = CURVE_STEPS.find((each) => high - low <= 8 * each) ?? CURVE_STEPS.at(-1);
    frame.y = [Math.min(frame.y[0], step * Math.floor(low / step - ROOM)),
      Math.max(frame.y[1], step * Math.ceil(high / step + ROOM))];
    widened = true;
    const [, , top, bottom] = frame.box;
    const heightOf = (y, at) => bottom - ((at - y[0]) * (bottom - top)) / (y[1] - y[0]);
    const before = drawn[axes].y;
    const share = (before[1] - before[0]) / (frame.y[1] - frame.y[0]);
    const shift = heightOf(frame.y, before[0]) - share * bottom;
    for (const [each, d] of stills[axes]) {
      each.setAttribute("d", d.replace(/(-?[\d.]+) (-?[\d.]+)/g, (_, x, y) => `${x} ${share * y + shift}`));
    }
    for (const each of marks[axes]) {
      const y = Number(each.querySelector("text").getAttribute("y"));
      each.setAttribute("transform", `translate(0 ${share * y + shift - y})`);
    }
    ticks(axes, (at) => heightOf(frame.y, at), frame.y);
  }

  function ticks(axes, heightOf, [low, high]) {
    const groups = [...svg.querySelectorAll(`[id="axes_${axes + 1}"] [id^="ytick_"]`)];
    if (!groups.length) return;
    const [first, ...others] = groups;
    others.forEach((each) => each.remove());
    const line = first.querySelector("path[clip-path]");
    const home = Number(line.getAttribute("d").match(/-?[\d.]+ (-?[\d.]+)/)[1]);
    const step = TICK_STEPS.find((each) => (high - low) / each <= MOST_TICKS[axes]) ?? TICK_STEPS.at(-1);
    const values = [];
    for (let at = step * Math.ceil(low / step); at <= high; at += step) values.push(at);
    values.forEach((value, number) => {
      const tick = number ? first.cloneNode(true) : first;
      if (number) tick.querySelectorAll("defs").forEach((each) => each.remove());
      tick.setAttribute("transform", `translate(0 ${heightOf(value) - home})`);
      tick.querySelector("text").textContent = String(value).replace("-", "\u2212");
      if (number) first.parentNode.insertBefore(tick, first.nextSibling);
    });
  }

  return { load, put, show, isWidened: () => widened };
}

// From logarithms of frequencies and a curve's heights to points of the picture, to a hundredth.
function curvePoints({ box: [left, right, top, bottom], x, y }, across) {
  const wide = (right - left) / (x[1] - x[0]);
  const tall = (bottom - top) / (y[1] - y[0]);
  const places = across.map((at) => Math.round(100 * (left + (at - x[0]) * wide)) / 100);
  return (at, height) => `${places[at]} ${Math.round(100 * (bottom - (height - y[0]) * tall)) / 100}`;
}

function linePath(place, heights) {
  let d = "";
  let pen = "M";
  heights.forEach((height, at) => {
    if (Number.isFinite(height)) d += `${pen} ${place(at, height)} `;
    pen = Number.isFinite(height) ? "L" : "M";
  });
  return d;
}

// The area between two curves, where both are numbers.
function areaPath(place, low, high) {
  const known = [...low.keys()].filter((at) => Number.isFinite(low[at]) && Number.isFinite(high[at]));
  const there = known.map((at) => place(at, high[at]));
  const back = known.reverse().map((at) => place(at, low[at]));
  return known.length ? `M ${[...there, ...back].join(" L ")} z` : "";
}
