// The page: where its controls stand, the picture, the numbers and the sentences of that position, and the sound.

const ampPage = (() => {
  "use strict";
  const facts = JSON.parse(document.getElementById("facts").textContent);
  const form = document.querySelector("form");
  const all = (selector) => [...document.querySelectorAll(selector)];
  const { frequency, choices } = facts;

  // Where everything stands --------------------------------------------------------------------------------------------

  const atStart = () => Object.fromEntries(choices.map(({ name, start }) => [name, start]));
  let setting = atStart();

  const input = (number) => form.elements[`choice${number}`];

  // What a control shows: the place of a value, or a rotation from 0 to 10.
  function shownOf({ values }, value) {
    return values.length ? String(values.indexOf(value)) : String(10 * value);
  }

  function read() {
    choices.forEach((choice, number) => {
      const text = input(number).value;
      // A slider stands on its own steps: as long as it is not moved, what the job says holds to the last digit.
      if (Number(text) === Number(settled[number])) return;
      settled[number] = text;
      setting[choice.name] = choice.values.length ? choice.values[Number(text)] : Number(text) / 10;
    });
  }
  let settled = [];

  function write() {
    settled = choices.map((choice, number) => {
      input(number).value = shownOf(choice, setting[choice.name]);
      return input(number).value;
    });
  }

  const words = ({ name, values, texts }) =>
    `${name}${/\d$/.test(name) ? " at " : " "}${values.length ? texts[values.indexOf(setting[name])] : wholeFace(setting[name])}`;
  const nameOfPosition = () => choices.map(words).join(", ");

  // Gains --------------------------------------------------------------------------------------------------------------

  const listeners = facts.tables.map((packed) => {
    let made = null;
    return () => (made ??= loadPortTable({ ...packed, frequency }).listen(facts.place));
  });
  const smooth = choices.filter(({ values }) => !values.length);

  function gainsAt(at) {
    const [step, dials] = [stepOf(at), dialsAt(at)];
    return [facts.stock[step], facts.modded[step]].map((number) =>
      decibelsOf(listeners[number]().respond(dials)).map((level) => Math.max(level, -300)));
  }

  const driven = facts.tables.map((packed) => {
    let made = null;
    return () => (made ??= listenersOf(drivenTable(packed, frequency, facts.columns)));
  });
  const listenersOf = (table) => Object.fromEntries(table.places.map((place) => [place, table.listen(place)]));

  function stepOf(at) {
    return choices.reduce((found, { name, values }) =>
      (values.length ? found * values.length + values.indexOf(at[name]) : found), 0);
  }
  const dialsAt = (at) => Object.fromEntries(smooth.map(({ name }) => [`knob ${name}`, at[name]]));

  function stageGainsAt(at) {
    return [facts.stock, facts.modded].map((which, amp) => {
      const heard = driven[which[stepOf(at)]]();
      return stageGains((place) => {
        const { re, im } = heard[place].respond(dialsAt(at));
        return { re: [...re], im: [...im] };
      }, facts.outputs[amp]);
    });
  }

  let ear = null;
  function hear(at) {
    ear ??= makeEar(frequency);
    return hearAt(ear, gainsAt, facts, at);
  }

  // What is said of a position.
  function say(at) {
    const { drives, still } = facts.played.steps[stepOf(at)];
    const here = drives?.map((number, amp) => facts.played.drives[amp][number]);
    const [found, known] = drivenAnswers(here, facts.played.drives, here ? stageGainsAt(at) : [], facts.answers);
    return sayAll(hear(at), found, known, still, facts);
  }

  const logs = frequency.map(Math.log);
  function levelAt(gain, hertz) {
    const here = Math.log(hertz);
    let place = 0;
    while (place < logs.length - 2 && logs[place + 1] < here) place += 1;
    const share = Math.min(1, Math.max(0, (here - logs[place]) / (logs[place + 1] - logs[place])));
    return gain[place] + share * (gain[place + 1] - gain[place]);
  }

  // Numbers ------------------------------------------------------------------------------------------------------------

  function inDecibels(level, sign) {
    if (Number.isNaN(level)) return "not known";
    if (!Number.isFinite(level)) return level < 0 ? "no signal" : "without limit";
    const text = Math.abs(level).toFixed(1);
    const plus = sign ? "+" : "";
    return `${level < 0 && Number(text) ? "\u2212" : plus}${text}`;
  }

  function cells([stock, modded], hertz) {
    const [one, other] = [stock, modded].map((gain) => levelAt(gain, hertz)).map((level) => (level > -299 ? level : -Infinity));
    return [inDecibels(one), inDecibels(other), inDecibels(other - one, true)];
  }

  function changeSentence(rows) {
    const unit = (cell) => (/\d$/.test(cell) ? `${cell} dB` : cell);
    const name = nameOfPosition();
    return `Change against stock${name && ` with ${name}`}: ${rows.map((row, at) => `${unit(row[2])} at ${facts.asked[at].words}`).join(", ")}.`;
  }

  // Picture ------------------------------------------------------------------------------------------------------------

  const shareOfWidth = logs.map((each) => (each - logs[0]) / (logs.at(-1) - logs[0]));

  // The axes follow as `scales.py` has it: gains in whole ticks, changes by a factor.
  function gainScale(stock, modded) {
    const [low, high, step] = facts.scales.gain;
    const shift = step * Math.ceil((Math.max(...stock, ...modded) + 2 - high) / step);
    return { low: low + shift, high: high + shift, step };
  }

  function changeScale(change) {
    const [low, high, step] = facts.scales.change;
    const [least, most] = [Math.min(...change), Math.max(...change)];
    const factor = facts.scales.factors.find((each) => low * each <= least && most <= high * each) ?? facts.scales.factors.at(-1);
    return { low: low * factor, high: high * factor, step: step * factor };
  }

  function mark(prefix, name, { low, step }) {
    const first = Math.ceil(low / step - 1e-9);
    for (let number = 0; ; number += 1) {
      const label = document.getElementById(`${prefix}${name}-tick-${number}`)?.querySelector("text");
      if (!label) return;
      const text = String(Number((step * (first + number)).toPrecision(6))).replace("-", "\u2212");
      if (label.textContent !== text) label.textContent = text;
    }
  }

  function points([left, right, top, bottom], { low, high }, values) {
    const room = facts.outside * (high - low);
    return values.map((value, at) => {
      const level = Math.min(Math.max(value, low - room), high + room);
      const height = bottom - ((level - low) / (high - low)) * (bottom - top);
      return `${(left + shareOfWidth[at] * (right - left)).toFixed(2)} ${height.toFixed(2)}`;
    });
  }

  function draw(prefix, [upper, lower], stock, modded, change) {
    const [gains, changes] = [gainScale(stock, modded), changeScale(change)];
    mark(prefix, "gain", gains);
    mark(prefix, "change", changes);
    const [one, other] = [stock, modded].map((levels) => points(upper, gains, levels));
    const [apart, none] = [change, change.map(() => 0)].map((levels) => points(lower, changes, levels));
    const shapes = {
      "stock-0": `M${one.join(" ")}`,
      "modded-0": `M${other.join(" ")}`,
      "change-0": `M${apart.join(" ")}`,
      "between": `M${one.join(" ")} ${[...other].reverse().join(" ")}Z`,
      "change-area": `M${none[0]} ${none.at(-1)} ${[...apart].reverse().join(" ")}Z`,
    };
    for (const [name, shape] of Object.entries(shapes)) {
      document.getElementById(prefix + name).querySelector("path").setAttribute("d", shape);
    }
  }

  // All of it ----------------------------------------------------------------------------------------------------------

  // No line ends between a number and its unit.
  const together = new RegExp(facts.together, "g");
  const kept = (text) => text.replace(together, "$1$2\u00a0");
  const setText = (selector, text) => all(selector).forEach((each) => { each.textContent = kept(text); });
  let speaking = 0;

  function show(aloud) {
    const [stock, modded] = gainsAt(setting).map((gain) => [...gain]);
    const change = modded.map((level, at) => level - stock[at]);
    draw("", facts.frames[0], stock, modded, change);
    draw("narrow-", facts.frames[1], stock, modded, change);
    const rows = facts.asked.map(({ at }) => cells([stock, modded], at));
    all("tbody tr").forEach((row, at) => rows[at].forEach((text, column) => { row.cells[column + 1].textContent = text; }));
    choices.forEach((choice, number) => { if (choice.kind === "knob") turn(number, choice); });
    setText("[data-now]", nameOfPosition());
    setText("figure desc", changeSentence(rows));
    const said = say(setting);
    setText("[data-headline]", said.headline);
    all("[data-answer]").forEach((row) => showAnswer(row, said.answers.find(({ name }) => name === row.dataset.answer)));
    if (facts.breaking) showBreaking(facts.breaking.shown[facts.breaking.at[stepOf(setting)]]);
    all("[data-wish]").forEach((row) => showWish(row, facts.wishes[Number(row.dataset.wish)]));
    clearTimeout(speaking);
    // Spoken when the hand rests, not at every step of a slide.
    if (aloud) speaking = setTimeout(() => setText("[data-said]", `${nameOfPosition()}: ${said.headline} ${changeSentence(rows)}`), 300);
  }

  // Distortion over how hard it is played, where the switches stand.
  function showBreaking({ lines, marks, words, desc }) {
    for (const [name, shape] of Object.entries(lines)) {
      document.getElementById(`breaking-${name}`).querySelector("path").setAttribute("d", shape);
    }
    for (const [name, place] of Object.entries(marks)) {
      const mark = document.getElementById(`breaking-${name}`);
      mark.setAttribute("visibility", place ? "visible" : "hidden");
      ["x", "y"].forEach((way, at) => { if (place) mark.querySelector("use").setAttribute(way, place[at]); });
    }
    document.querySelector(".breaking desc").textContent = desc;
    setText("[data-breaking]", words);
  }

  function showWish(row, wish) {
    const found = grantWish(wish, frequency, gainsAt({ ...setting, ...wish.at }).map((gain) => [...gain]), levelAt);
    row.querySelector(".said").textContent = kept(found.words);
    for (const name of ["asked", "got"]) {
      const [x, width] = wishBar(found[name], found.reach);
      row.querySelector(`rect.${name}`).setAttribute("x", x.toFixed(1));
      row.querySelector(`rect.${name}`).setAttribute("width", width.toFixed(1));
    }
    const ends = row.querySelectorAll(".ends span");
    ends[0].textContent = `\u2212${found.reach} dB`;
    ends[2].textContent = `+${found.reach} dB`;
  }

  function showAnswer(row, answer) {
    row.hidden = !answer;
    if (!answer) return;
    row.querySelector(".said").textContent = kept(answer.words);
    row.querySelector(".scale").hidden = answer.size === null;
    const mark = row.querySelector("circle");
    mark.setAttribute("cx", markAt(answer.size ?? 0, facts.answers.full).toFixed(1));
    mark.setAttribute("fill", Math.abs(answer.size ?? 0) >= 1 ? "#c8642a" : "#77746f");
  }

  function turn(number, { name }) {
    const text = wholeFace(setting[name]);
    input(number).setAttribute("aria-valuetext", `${text} of 10`);
    document.getElementById(`stands${number}`).textContent = text;
  }

  // Sound: picture and player stand at the same position, as far as it is among the sounds -------------------------------

  const player = document.getElementById("player");
  let heard = 0;

  const distance = (sound) => choices.reduce((sum, { name, kind }) =>
    sum + (kind === "switch" ? (sound[name] === setting[name] ? 0 : Infinity) : Math.abs(sound[name] - setting[name])), 0);

  function follow() {
    let [best, least] = [-1, Infinity];
    facts.sounds.forEach((sound, number) => {
      if (sound && distance(sound) < least) [best, least] = [number, distance(sound)];
    });
    if (best >= 0) {
      heard = best;
      player.dispatchEvent(new CustomEvent("choose", { detail: best }));
    }
    tellSound();
  }

  function tellSound() {
    const sound = facts.sounds[heard];
    const told = choices.filter(({ name }) => sound && sound[name] !== setting[name]).map(({ name }) => settingClause(name, sound[name]));
    setText("[data-sound]", told.length ? `There is no sound of the position shown above; what is heard has ${told.join(" and ")}.` : "");
  }

  function goTo(where) {
    setting = { ...setting, ...where };
    for (const { name, values, kind } of choices) {
      if (!values.length || values.includes(setting[name])) continue;
      const apart = values.map((value) => (kind === "switch" ? 1 : Math.abs(value - setting[name])));
      setting[name] = values[apart.indexOf(Math.min(...apart))];
    }
    write();
    show(false);
  }

  if (form) {
    write();
    form.addEventListener("input", () => {
      read();
      show(true);
      if (player) follow();
    });
    form.addEventListener("submit", (event) => event.preventDefault());
    player?.addEventListener("chosen", ({ detail }) => {
      heard = detail;
      if (facts.sounds[heard]) goTo(facts.sounds[heard]);
      tellSound();
    });
    // A browser may bring back what was chosen before the page was loaded again.
    addEventListener("pageshow", () => {
      read();
      show(false);
    });
  }
  return { gainsAt, hear, goTo, say };
})();
