// The browser's side of the panel: controls, and pictures whose curves are patched in place.

const ALARM = /^(over|only|oscillates|the feedback is positive)/; // verdicts that a technician must not overlook
const REST = 150; // ms without a move before tables are asked for
const PATIENCE = 2000; // ms without an answer before that is said
const MOST_SENT = 256; // places of the controls that are remembered while a kernel is slow
const MOVING = ["drawn", "read"]; // buttons that move the controls
let panels = 0;

function make(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value === false || value === undefined) continue;
    element.setAttribute(name, value === true ? "" : value);
  }
  element.append(...children.filter((child) => child !== null));
  return element;
}

const same = (one, other) => {
  const keys = Object.keys(one || {});
  return Boolean(one && other) && keys.length === Object.keys(other).length && keys.every((k) => one[k] === other[k]);
};

function render({ model, el }) {
  const id = `ampsim-panel-${(panels += 1)}`;
  const knobs = knobTables();
  const curves = movingCurves();
  let here = model.get("at"); // where the hand put the controls
  const at = () => here;
  const mine = new Set(); // dials that have moved since the kernel was told
  let last = ""; // the dial that moved last
  let local = null; // levels worked out in this page, for where the controls stand
  let told = 0; // when the kernel was told last
  let sent = []; // where it was told to stand, as long as it has not answered for the last of them
  const pressed = []; // buttons that wait for that answer
  let wanting = {}; // where a table was asked for, and until when [ms] it is waited for
  let lost = false;
  const turners = new Map(); // key of a dial -> show its step
  let timer = 0;
  let patience = 0;
  let moved = false; // since this view was opened
  let asked = 0; // buttons pressed since the kernel last answered one

  el.classList.add("ampsim-panel");
  keepKeys(el);

  // Controls ---------------------------------------------------------------------------------------------------------

  function turn(key, step) {
    if (here[key] === step) return;
    here = { ...here, [key]: step };
    mine.add(key);
    last = key;
    turned();
    if (!local) tellSteps();
  }

  function turned() {
    for (const [key, show] of turners) show(here[key]);
    moved = true;
    showIdle();
    follow();
  }

  function follow() {
    workOut();
    state();
    clearTimeout(timer);
    timer = setTimeout(rest, REST);
  }

  // What another view, or the kernel, has moved; what the hand has moved meanwhile is newer. A slow kernel comes by
  // where the hand has been on its way.
  function merge() {
    const theirs = { ...model.get("at") };
    if (!same(theirs, sent.at(-1)) && sent.some((each) => same(each, theirs))) return;
    for (const key of mine) if (key in theirs) theirs[key] = here[key];
    if (same(theirs, here)) return;
    here = theirs;
    turned();
  }

  function tellSteps() {
    mine.clear();
    told = performance.now();
    sent = [...sent, here].slice(-MOST_SENT);
    model.set("at", here);
    model.save_changes();
    state();
  }

  // The hand rests: ngspice is asked for this very position, again and again until it has answered.
  function rest() {
    if (mine.size) tellSteps();
    if (!local) askTable();
    const answered = same(model.get("curves").of, here);
    const measured = answered && same(model.get("tables").of, here);
    if (measured && local) return;
    if (!measured && (answered || performance.now() - told > PATIENCE)) {
      told = performance.now();
      post(answered ? { do: "rest" } : { do: "rest", at: here });
    }
    timer = setTimeout(rest, answered ? PATIENCE : REST);
  }

  // Again, but ever less often, as long as none has come: a message may be lost, and an amp may have none.
  function askTable() {
    const again = same(wanting.at, here);
    if (again && performance.now() < wanting.until) return;
    const pause = again ? 2 * wanting.pause : PATIENCE;
    wanting = { at: here, pause, until: performance.now() + pause };
    post({ do: "table", at: here });
  }

  // Nothing is there to take it when the kernel has gone.
  function post(message) {
    try {
      model.send(message);
    } catch {
      lost = true;
    }
  }

  // What only asks moves nothing: the controls may stand elsewhere in another view by now.
  const ask = (action) => post({ do: action });

  // The kernel stands where it was told to: now for what waited.
  function caughtUp() {
    sent = [];
    pressed.splice(0).forEach(post);
  }

  function tell(action, words = "") {
    asked += 1;
    // A message overtakes steps that wait for the kernel: they must not be older than its own, nor undo what it moves.
    if (mine.size) tellSteps();
    const message = { do: action, with: words, at: here };
    if (sent.length && MOVING.includes(action)) pressed.push(message);
    else post(message);
    state();
  }

  function answered() {
    asked = 0;
    state();
  }

  // A kernel that was restarted, has ended or is out of reach says nothing; so this side does.
  function watch(waits) {
    if (waits && !patience) patience = setTimeout(() => ((lost = true), state()), PATIENCE);
  }

  function heard() {
    clearTimeout(patience);
    patience = 0;
    lost = false;
  }

  function reach() {
    const follows = local ? "the curves follow the controls, worked out in this page and not confirmed by ngspice. "
      : "nothing here follows the controls. ";
    const words = lost ? `No answer for ${PATIENCE / 1000} seconds: ${follows}${model.get("remedy")}` : "";
    el.dataset.reach = lost ? "lost" : "there";
    if (silence.textContent !== words) silence.textContent = words;
  }

  function slider(dial, place) {
    const name = `${id}-${place}`;
    const input = make("input", { type: "range", id: name, min: 0, max: dial.texts.length - 1, step: 1 });
    const value = make("output", { for: name, "aria-live": "off" });
    const note = make("span", { class: "note", "aria-hidden": "true" });
    input.addEventListener("input", () => turn(dial.key, Number(input.value)));
    // A finger that goes on to scroll the page has turned nothing: the browser takes the touch for its own.
    let before = 0;
    input.addEventListener("pointerdown", () => (before = at()[dial.key]));
    input.addEventListener("pointercancel", () => turn(dial.key, before));
    turners.set(dial.key, (step) => {
      // Where a switch puts another part in place of this one, what is in circuit is said, not where the slider stands.
      const other = dial.switched.filter((each) => at()[each.key] === each.step).at(-1);
      const text = other?.text || dial.texts[step];
      const beside = other?.note || dial.notes[step];
      if (Number(input.value) !== step) input.value = step;
      value.textContent = text;
      note.textContent = beside;
      input.setAttribute("aria-valuetext", [text, beside].filter(Boolean).join(", "));
    });
    return make("div", { class: "dial", "data-key": dial.key }, make("label", { for: name }, dial.name), input, value, note);
  }

  function choice(dial, place) {
    const name = `${id}-${place}`;
    const inputs = dial.texts.map((_, step) =>
      make("input", { type: "radio", name, id: `${name}-${step}`, value: step }),
    );
    inputs.forEach((input, step) => input.addEventListener("change", () => turn(dial.key, step)));
    turners.set(dial.key, (step) => (inputs[step].checked = true));
    const options = inputs.map((input, step) =>
      make("span", { class: "option" }, input, make("label", { for: input.id }, dial.texts[step])),
    );
    return make("fieldset", { class: "dial choice", "data-key": dial.key }, make("legend", {}, dial.name), make("div", {}, ...options));
  }

  function list(dial, place) {
    const name = `${id}-${place}`;
    const select = make("select", { id: name }, ...dial.texts.map((text, step) => make("option", { value: step }, text)));
    select.addEventListener("change", () => turn(dial.key, Number(select.value)));
    turners.set(dial.key, (step) => (select.value = step));
    return make("div", { class: "dial list" }, make("label", { for: name }, dial.name), select);
  }

  function dials(group) {
    const found = model.get("dials").map((dial, place) => [dial, place]);
    return found
      .filter(([dial]) => dial.group === group)
      .map(([dial, place]) => (dial.slides ? slider : dial.kind === "place" ? list : choice)(dial, place));
  }

  function buildControls() {
    turners.clear();
    mine.clear(); // steps may mean other values now
    caughtUp();
    knobs.forget();
    wanting = {};
    here = model.get("at");
    controls.replaceChildren();
    const groups = [...new Set(model.get("dials").map((dial) => dial.group))].filter((group) => group !== "source");
    for (const group of groups) {
      const title = make("div", { class: "title", id: `${id}-${group}` }, group);
      controls.append(make("div", { role: "group", "aria-labelledby": title.id }, title, ...dials(group)));
    }
    source.replaceChildren(...dials("source"));
    for (const [key, show] of turners) show(at()[key]);
  }

  // Pictures ---------------------------------------------------------------------------------------------------------

  function draw() {
    load();
    patch();
    if (local && !same(model.get("curves").of, here)) paint();
  }

  function load() {
    picture.innerHTML = model.get("drawing");
    const svg = picture.querySelector("svg");
    fitted(svg);
    curves.load(svg, model.get("frames"));
    showLimits();
  }

  function showLimits() {
    el.dataset.limits = curves.isWidened() ? "widened" : "drawn";
  }

  // What ngspice says; while the hand moves on, the page's own curves are newer.
  function patch() {
    if (!local) findLevels(); // the table may have been there before the drawing of its place
    const { of, paths = {}, problem } = model.get("curves");
    if (same(of, sent.at(-1))) caughtUp();
    const shown = same(of, here) || !local;
    if (shown && curves.isWidened()) load();
    if (shown) curves.put(paths);
    show(shown && problem);
    state();
  }

  function show(problem) {
    picture.classList.toggle("void", Boolean(problem));
    trouble.textContent = problem ? `No curves here: ${problem}` : "";
  }

  // The curves for where the controls stand, by the tables; none while the drawing is that of another place.
  function workOut() {
    findLevels();
    if (same(model.get("curves").of, here)) patch(); // ngspice has answered there already, which will not come again
    else if (local) paint();
  }

  function findLevels() {
    const { of } = model.get("curves");
    const dials = model.get("dials");
    const place = dials.find((dial) => dial.kind === "place").key;
    local = of?.[place] === here[place] ? knobs.levels(here, dials) : null;
  }

  let painted = false; // in this frame
  let again = false;

  function paint() {
    again = painted;
    if (painted || !local) return;
    curves.show(local);
    showLimits();
    show("");
    painted = true;
    requestAnimationFrame(() => {
      painted = false;
      if (again && !same(model.get("curves").of, here)) paint();
    });
  }

  // The picture takes the width it is given; its view box keeps its proportions.
  function fitted(svg) {
    if (!svg) return;
    svg.removeAttribute("width");
    svg.removeAttribute("height");
  }

  function state() {
    const answer = model.get("curves");
    const current = same(answer.of, here);
    el.dataset.curves = current ? "current" : "waiting";
    el.dataset.drawn = current || local ? "current" : "waiting";
    if (current && asked === 0) heard();
    else watch((!current && mine.size === 0) || asked > 0);
    reach();
    const name = model.get("dials").find((dial) => dial.key === last)?.name;
    const [kind, words] = answer.problem && (current || !local) ? ["none", ""]
      : proofWords({ local, answer: answer.levels, current, last: name, moving: knobs.moves(last) });
    el.dataset.proof = lost && !current ? "none" : kind;
    proof.textContent = lost && !current ? "Not confirmed by ngspice." : words;
    const measured = same(model.get("tables").of, at());
    el.dataset.tables = measured ? "current" : "waiting";
    tables.setAttribute("aria-busy", String(!measured));
    showWave();
    showHear();
  }

  // Tables -----------------------------------------------------------------------------------------------------------

  function table(caption, rows, texts) {
    const [head, ...body] = rows;
    const cell = (tag, text, column, more = {}) =>
      make(tag, { ...more, class: texts.includes(column) ? "text" : "number" }, text);
    const lines = body.map((row) => {
      const over = ALARM.test(row.at(-1));
      return make("tr", { class: over ? "over" : false }, ...row.map((text, column) =>
        column === 0 ? cell("th", text, 0, { scope: "row" }) : cell("td", text, column)));
    });
    const top = make("tr", {}, ...head.map((text, column) => cell("th", text, column, { scope: "col" })));
    return make("table", {}, make("caption", {}, caption), make("thead", {}, top), make("tbody", {}, ...lines));
  }

  function measure() {
    const { gains, bias, loops, position, alternative, problem } = model.get("tables");
    if (problem) {
      tables.replaceChildren(make("p", { class: "trouble" }, `No numbers here: ${problem}`));
    } else if (gains) {
      const moved = bias.length > 1
        ? table("Valves that the change moves, or that are over a limit", bias, [0, 1, 7])
        : make("p", { class: "none" }, "No valve moves its bias here, and none is over a limit.");
      const fed = loops.length > 1 ? [table("Feedback loop", loops, [0, 3])] : [];
      tables.replaceChildren(table(`Gain and corners: ${position}`, gains, [0]), moved, ...fed);
      const words = picture.querySelector("svg > desc");
      if (words) words.textContent = alternative;
      speak(gains, position);
    }
    state();
  }

  // For those who cannot see the picture: once the hand rests after a move, where it stands and what changed there.
  function speak([head, ...rows], position) {
    const change = rows.find(([name]) => name === "change");
    const there = head.slice(1).map((at, column) => [at, change?.[column + 1]]).filter(([, level]) => level);
    const words = `${position}. Change: ${there.map(([at, level]) => `${level} dB at ${at}`).join(", ")}.`;
    if (moved && spoken.textContent !== words) spoken.textContent = words;
  }

  // What turns nothing at the place listened at, as things stand; measured by the kernel, at both ends and between.
  function showIdle() {
    const { of, keys = [] } = model.get("idle");
    const current = same(of, at());
    const names = [];
    for (const box of el.querySelectorAll("[data-key]")) {
      const idle = current && keys.includes(box.dataset.key);
      box.classList.toggle("idle", idle);
      if (idle) names.push(box.querySelector("label, legend").textContent);
    }
    const words = names.length ? `○ changes no gain as the rest stands: ${names.join(", ")}.` : "";
    if (idles.textContent !== words) idles.textContent = words;
  }

  // Held positions ---------------------------------------------------------------------------------------------------

  function sample({ width, dashes }) {
    const line = `<svg aria-hidden="true" width="34" height="8"><line x1="0" y1="4" x2="34" y2="4"/></svg>`;
    const box = make("span", { class: "sample" });
    box.innerHTML = line;
    const drawn = box.querySelector("line");
    drawn.setAttribute("stroke-width", 1.33 * width);
    drawn.setAttribute("stroke-dasharray", dashes.map((each) => 1.33 * width * each).join(" "));
    return box;
  }

  function showHeld() {
    const items = model.get("held").map((each, place) => {
      const drop = make("button", { type: "button", "aria-label": `Drop ${each.name}` }, "drop");
      drop.addEventListener("click", () => tell("drop", each.name));
      return make("li", {}, make("span", { class: "place" }, String(place + 1)), sample(each),
        make("span", { class: "name" }, each.name), drop);
    });
    held.replaceChildren(...items);
    held.hidden = clear.hidden = items.length === 0;
  }

  // Waveform ---------------------------------------------------------------------------------------------------------

  function showWave() {
    const wave = model.get("wave");
    const old = wave.state === "done" && !same(wave.of, at());
    const words = {
      none: "Not computed yet.",
      computing: `Computing the waveform for ${wave.position} …`,
      cancelled: "Cancelled; nothing is shown.",
      failed: `No waveform: ${wave.problem}`,
      done: old ? `Old: the panel has moved since. Shown here: ${wave.position}.`
        : `For ${wave.position}.`,
    }[wave.state];
    if (waveWords.textContent !== words) waveWords.textContent = words;
    waves.classList.toggle("old", old);
    waves.setAttribute("aria-busy", String(wave.state === "computing"));
    go.disabled = wave.state === "computing";
    stop.disabled = !go.disabled;
    if (el.dataset.wave !== wave.state) el.dataset.wave = wave.state;
  }

  function drawWave() {
    const pictures = model.get("wave").pictures || [];
    waves.replaceChildren(...pictures.map((svg) => {
      const box = make("div", { class: "picture" });
      box.innerHTML = svg;
      fitted(box.querySelector("svg"));
      return box;
    }));
    showWave();
  }

  // To be heard ------------------------------------------------------------------------------------------------------

  let wanted = false; // sound, by the button of this view

  function showHear() {
    const hear = model.get("hear");
    const busy = hear.state === "computing" || hear.state === "first";
    const old = hear.state === "done" && !same(hear.of, at());
    const words = {
      none: "Not computed yet: stock and modded as set, and every held position.",
      computing: `Computing ${hear.positions} positions; the first second comes first …`,
      first: "The first second can be heard; computing the rest …",
      cancelled: "Cancelled.",
      failed: `Nothing to hear: ${hear.problem}`,
      done: `${old ? "Old: the panel has moved since. " : ""}Heard here: ${hear.position}.`,
    }[hear.state];
    if (hearWords.textContent !== words) hearWords.textContent = words;
    hearGo.disabled = busy;
    hearStop.disabled = !busy;
    share.hidden = !busy;
    share.value = hear.percent || 0;
    share.textContent = `${share.value} %`;
    if (el.dataset.hear !== hear.state) el.dataset.hear = hear.state;
  }

  function receive(content, rows) {
    if (!content.table) {
      sounds(content, rows);
      return;
    }
    heard();
    knobs.keep(content.table, rows);
    if (!local) workOut();
    state();
  }

  function sounds(content, rows) {
    player.load(content.facts, rows.map(samplesOf), content.rate, content.complete);
    if (wanted) player.play();
    wanted = false;
  }

  // The sheet --------------------------------------------------------------------------------------------------------

  function button(words, action, input) {
    const found = make("button", { type: "button" }, words);
    found.addEventListener("click", () => action(input?.value ?? ""));
    return found;
  }

  const controls = make("div", { class: "controls" });
  const spoken = make("p", { class: "spoken", role: "status" });
  const idles = make("p", { class: "idles" });
  const source = make("div", { class: "source", role: "group", "aria-label": "source" });
  const picture = make("div", { class: "picture" });
  const trouble = make("p", { class: "trouble", role: "alert" });
  const silence = make("p", { class: "trouble", role: "alert" });
  const proof = make("p", { class: "proof" });
  const tables = make("div", { class: "tables", role: "region", "aria-label": "Numbers", tabindex: "0" });
  const held = make("ol", { class: "held", "aria-label": "held positions" });
  const said = make("div", { class: "said", role: "status" });

  const name = make("input", { type: "text", id: `${id}-name`, maxlength: 48, placeholder: "named after its settings" });
  const hold = () => (tell("hold", name.value), (name.value = ""));
  name.addEventListener("keydown", (event) => event.key === "Enter" && hold());
  const clear = button("Clear held", () => tell("clear"));
  const file = make("input", { type: "text", id: `${id}-file`, spellcheck: "false" });
  const keep = make("div", { class: "keep" },
    make("div", { class: "line" }, make("label", { for: name.id }, "name"), name, button("Hold", hold)),
    held,
    make("div", { class: "line" }, button("Panel as drawn", () => tell("drawn")), clear),
    make("div", { class: "line" }, make("label", { for: file.id }, "job file"), file,
      button("Save", (path) => tell("save", path), file), button("Read back", (path) => tell("read", path), file)),
    said);

  const go = button("Compute waveform", () => tell("wave"));
  const stop = button("Cancel", () => tell("cancel"));
  const waveWords = make("span", { role: "status" });
  const waves = make("div", { class: "waves" });
  const wave = make("details", { class: "wave" }, make("summary", {}, "Waveform and harmonics"), source,
    make("div", { class: "line" }, go, stop, waveWords), waves);

  const hearGo = button("Hear it", () => (tell("hear"), (wanted = true)));
  const hearStop = button("Cancel", () => tell("quiet"));
  const share = make("progress", { max: 100, value: 0, "aria-label": "computed" });
  const hearWords = make("span", { role: "status" });
  const playerRoot = make("div");
  const player = makePlayer(playerRoot, {
    soundless: "Nothing to hear yet.",
    judged: (found) => found.ended && tell("blind", JSON.stringify(found)),
  });
  const aloud = make("details", { class: "aloud" }, make("summary", {}, "Hear the difference"),
    make("div", { class: "line" }, hearGo, hearStop, share, hearWords), playerRoot);

  const seen = make("div", { class: "seen" }, silence, picture, trouble, proof);
  el.append(make("div", { class: "bench" }, make("div", {}, controls, idles, keep), seen, tables), spoken, aloud, wave);

  const watched = {
    dials: buildControls,
    at: merge,
    drawing: draw,
    curves: patch,
    tables: measure,
    held: showHeld,
    wave: drawWave,
    hear: showHear,
    idle: showIdle,
    answered,
    said: () => (said.textContent = model.get("said")),
    file: () => (file.value = model.get("file")),
  };
  for (const [trait, show] of Object.entries(watched)) {
    if (trait !== "at") {
      watched[trait] = () => (heard(), show()); // whatever comes is an answer
      show();
    }
    model.on(`change:${trait}`, watched[trait]);
  }
  model.on("msg:custom", receive);
  ask("sounds");
  follow();
  return () => {
    clearTimeout(timer);
    clearTimeout(patience);
    model.off("msg:custom", receive);
    player.close();
    for (const [trait, show] of Object.entries(watched)) model.off(`change:${trait}`, show);
  };
}

export default { render };
