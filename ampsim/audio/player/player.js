// Positions to switch between while they sound. Nothing is fetched; every text is set as text.

const FADE = 0.015; // s
const LEAD = 0.05; // s, before a change is heard: one set after its moment has gone by clicks
const LOUDEST = 0; // dB, of the listening level; it starts low
const SOFTEST = -60;
const FIRST_LEVEL = -30;
const STILL = 2000; // ms in which a sound device lets the clock go on
const NO_DEVICE = "No sound will be heard: this browser finds no sound device that plays. Connect one, or choose it in "
  + "the system's settings, and press Play again.";

// All positions run on one clock, one of them is let through. A change is a linear cross-fade: the positions are the
// same phrase through nearly the same amp, so their waves add up, and two equal ones keep their level exactly.
function soundsOnOneClock(changed, broken = () => {}) {
  let context = null;
  let master = null;
  let kept = []; // one row of samples per position
  let rate = 0;
  let buffers = [];
  let set = null; // what sounds now
  let whole = true; // false: more of the clip is to come
  let waiting = false; // what there was has been played
  let heard = 0;
  let repeat = true;
  let place = 0; // s, where it stands while nothing sounds
  let free = 0; // from when on the gains of the positions can be moved again
  let listening = FIRST_LEVEL;
  let masterFree = 0;

  const factor = (decibels) => (decibels <= SOFTEST ? 0 : 10 ** (decibels / 20));
  const frame = (seconds) => Math.round(seconds * rate) / rate;
  // Ahead of what the device has already been given; a ramp must not begin in the past.
  const soon = () => frame(context.currentTime + LEAD + (context.baseLatency || 0));
  const seconds = () => (kept.length ? kept[0].length / rate : 0);

  function ramp(parameter, from, to, at) {
    parameter.setValueAtTime(from, at);
    parameter.linearRampToValueAtTime(to, at + FADE);
  }

  function open() {
    if (context) return;
    try {
      // At the clips' own rate samples pass as they are.
      context = new AudioContext({ sampleRate: rate });
    } catch {
      context = new AudioContext();
    }
    context.onerror = () => broken();
    master = context.createGain();
    master.gain.setValueAtTime(factor(listening), 0);
    master.connect(context.destination);
  }

  // Samples as they are, but the last hundredth of a second faded, so that the end and the repeat do not click.
  function fill() {
    buffers = kept.map((samples) => {
      const buffer = context.createBuffer(1, samples.length, rate);
      const row = Float32Array.from(samples);
      const tail = Math.min(Math.round(0.01 * rate), row.length);
      for (let step = 1; step <= tail; step += 1) row[row.length - step] *= (step - 1) / tail;
      buffer.copyToChannel(row, 0);
      return buffer;
    });
  }

  function begin(at, offset, fadeIn) {
    const bus = context.createGain();
    bus.connect(master);
    if (fadeIn) ramp(bus.gain, 0, 1, at);
    bus.gain.setValueAtTime(fadeIn ? 0 : 1, 0);
    const made = { bus, at, offset, length: seconds(), whole, sources: [], gains: [] };
    buffers.forEach((buffer, number) => {
      const source = context.createBufferSource();
      const gain = context.createGain();
      source.buffer = buffer;
      source.loop = repeat && whole;
      gain.gain.setValueAtTime(number === heard ? 1 : 0, 0);
      source.connect(gain).connect(bus);
      source.start(at, offset);
      made.sources.push(source);
      made.gains.push(gain);
    });
    made.sources[0].onended = () => made === set && ended();
    set = made;
  }

  function ended() {
    waiting = !whole;
    place = whole ? 0 : set.length;
    set = null;
    changed();
  }

  function leave(at) {
    ramp(set.bus.gain, 1, 0, at);
    set.sources.forEach((source) => source.stop(at + FADE));
  }

  function standing(at) {
    const run = set.offset + Math.max(at - set.at, 0);
    return set.whole ? run % set.length : Math.min(run, set.length);
  }

  return {
    // `sounds`: Float32Array of each position, equally long. What sounds goes on at the same place; other ones begin.
    load(sounds, newRate, complete = true, afresh = false) {
      if (sounds.some((each) => each.length !== sounds[0].length)) throw new RangeError("positions of unequal length");
      if (newRate !== rate && context) {
        context.close();
        context = set = null;
      }
      [kept, rate, whole] = [sounds, newRate, complete];
      heard = Math.min(heard, Math.max(sounds.length - 1, 0));
      place = afresh ? 0 : Math.min(place, seconds());
      if (!context) return changed();
      fill();
      if (set) {
        const at = Math.max(soon(), free, set.at + FADE);
        const there = frame(standing(at));
        leave(at);
        // Where less is known so far than has been heard of the one before, it begins again.
        begin(at, there < seconds() ? there : 0, true);
        free = at + FADE;
      } else if (waiting && place < seconds()) {
        waiting = false;
        begin(Math.max(soon(), free), frame(place), true);
      }
      return changed();
    },

    choose(number) {
      if (number === heard || !(number in kept)) return;
      if (set) {
        const at = Math.max(soon(), free);
        ramp(set.gains[heard].gain, 1, 0, at);
        ramp(set.gains[number].gain, 0, 1, at);
        free = at + FADE;
      }
      heard = number;
      changed();
    },

    async play() {
      if (set || !kept.length) return;
      open();
      if (!buffers.length || buffers.length !== kept.length || buffers[0].length !== kept[0].length) fill();
      if (place >= seconds()) place = 0;
      waiting = false;
      begin(Math.max(soon(), free), frame(place), place > 0);
      changed();
      // Without a device resuming may never end, and the clock stands.
      const [opened, asked] = [context, context.currentTime];
      setTimeout(() => opened === context && set && context.currentTime === asked && broken(), STILL);
      if (context.state === "suspended") await context.resume();
    },

    // After trouble with the device: the next play opens it anew.
    drop() {
      if (set) place = set.offset;
      context?.close?.();
      context = set = null;
      [waiting, buffers, free, masterFree] = [false, [], 0, 0];
      changed();
    },

    pause() {
      waiting = false;
      if (set) {
        const at = Math.max(soon(), free, set.at + FADE);
        place = standing(at);
        leave(at);
        free = at + FADE;
        set = null;
      }
      changed();
    },

    repeat(on) {
      repeat = on;
      if (set) set.sources.forEach((source) => (source.loop = on && whole));
      changed();
    },

    listening(decibels) {
      const at = context ? Math.max(soon(), masterFree) : 0;
      if (context) ramp(master.gain, factor(listening), factor(decibels), at);
      masterFree = at + FADE;
      listening = decibels;
      changed();
    },

    close() {
      if (context) context.close();
      context = set = null;
      buffers = [];
    },

    get state() {
      const at = set ? standing(context.currentTime) : place;
      return { playing: Boolean(set) || waiting, waiting, heard, repeat, listening, place: at, seconds: seconds() };
    },
  };
}

// The chance to name at least `right` of `rounds` by guessing among `choices`: the binomial distribution.
function chanceByGuessing(right, rounds, choices) {
  const hit = 1 / choices;
  let term = (1 - hit) ** rounds;
  let below = 0;
  for (let count = 0; count < right; count += 1) {
    below += term;
    term *= ((rounds - count) / (count + 1)) * (hit / (1 - hit));
  }
  return Math.min(1, Math.max(0, 1 - below));
}

function inWords(chance) {
  if (chance >= 0.995) return "always";
  const percent = 100 * chance;
  return `in ${percent >= 1 ? percent.toFixed(0) : percent >= 0.1 ? percent.toFixed(1) : "less than 0.1"} % of all trials`;
}

// A browser without a device plays on in silence. Only one that can choose its output lists outputs without being asked.
async function lacksOutput() {
  if (!navigator.mediaDevices?.enumerateDevices || !("setSinkId" in AudioContext.prototype)) return false;
  const found = await navigator.mediaDevices.enumerateDevices();
  return !found.some((each) => each.kind === "audiooutput");
}

let playersMade = 0;

// The face of it. `facts`: positions (label, words, level, alone, same), how, scope, caution; `same` is the first
// position of the same sound, or null. `judged` hears of every round of a blind comparison, `chosen` of every position
// that is chosen here in the open.
function makePlayer(root, { soundless = "Nothing to hear yet.", judged = () => {}, chosen = () => {} } = {}) {
  const id = `ampsim-player-${(playersMade += 1)}`;
  const levels = [];
  for (let level = SOFTEST; level <= LOUDEST; level += 2) levels.push(level);
  let facts = { positions: [], how: "", scope: "", caution: "" };
  let picked = 0; // a position, or "hidden"
  let hidden = -1; // the position behind the hidden one; -1 while all is in the open
  let among = []; // positions that the hidden one is one of
  let revealed = false;
  let rounds = 0;
  let right = 0;
  let frames = 0;
  let trouble = "";

  const make = (tag, attributes = {}, ...children) => {
    const element = document.createElement(tag);
    for (const [name, value] of Object.entries(attributes)) if (value !== false) element.setAttribute(name, value);
    element.append(...children);
    return element;
  };
  const button = (text, action) => {
    const found = make("button", { type: "button" }, text);
    found.addEventListener("click", action);
    return found;
  };

  // Only what is equally loud, and not the same sound twice, can be told apart fairly.
  const fair = () => [...facts.positions.keys()].filter((number) =>
    !facts.positions[number].alone && (facts.positions[number].same ?? null) === null);
  const named = (number) => `${number + 1} ${facts.positions[number].label}`;
  const clock = soundsOnOneClock(() => show(), () => {
    clock.drop();
    trouble = NO_DEVICE;
    show();
  });
  const go = button("Play", () => toggle());
  const repeat = make("input", { type: "checkbox", id: `${id}-repeat`, checked: "" });
  const listening = make("input", { type: "range", id: `${id}-listening`, min: SOFTEST, max: LOUDEST, step: 2 });
  const level = make("output", { for: listening.id, "aria-live": "off" });
  const bar = make("span");
  const track = make("div", { class: "track", "aria-hidden": "true" }, bar);
  const time = make("span", { class: "time" });
  const choices = make("div", { class: "choices", role: "radiogroup", "aria-label": "position heard" });
  const heard = make("p", { class: "heard" });
  const blind = button("Compare blind", () => (hidden < 0 ? hide() : unhide()));
  const twins = make("p", { class: "twins" });
  const asked = make("div", { class: "asked", role: "group", "aria-label": "compare blind between" });
  const guesses = make("div", { class: "guesses", role: "group", "aria-label": "which one is X?" });
  const verdict = make("p", { class: "verdict", role: "status" });
  const test = make("div", { class: "test" }, guesses, verdict);
  const done = make("ol", {});
  const details = make("details", { class: "small" }, make("summary", {}, "What was done to each"), done);
  const how = make("p", { class: "small" });
  const scope = make("div", { class: "small" });
  const caution = make("p", { class: "care" });
  const alarm = make("p", { class: "trouble", role: "alert" });
  const body = make("div", { class: "body" },
    make("div", { class: "row" }, go,
      make("span", { class: "pair" }, repeat, make("label", { for: repeat.id }, "repeat")),
      make("span", { class: "pair" }, make("label", { for: listening.id }, "listening level"), listening, level)),
    make("div", { class: "row passing" }, track, time),
    choices, heard, twins, asked, make("div", { class: "row" }, blind,
      make("span", { class: "keys" }, "Keys: space plays and pauses, 1 to 9 choose, X the hidden one.")),
    test, alarm, details);
  const paper = make("p", { class: "paper" }, "These positions can be heard where this page is opened on a screen.");
  root.classList.add("ampsim-player");
  root.setAttribute("role", "group");
  root.setAttribute("aria-label", "listen to the positions");
  root.replaceChildren(caution, body, how, scope, paper);

  // What is heard ----------------------------------------------------------------------------------------------------

  function pick(which) {
    if (which === "hidden" ? hidden < 0 : !(which in facts.positions)) return;
    picked = which;
    clock.choose(which === "hidden" ? hidden : which);
    show();
    if (hidden < 0) chosen(which);
  }

  async function toggle() {
    trouble = "";
    try {
      if (clock.state.playing) clock.pause();
      else {
        lacksOutput().then((lacks) => lacks && ((trouble = NO_DEVICE), show())).catch(() => {});
        await clock.play();
      }
    } catch (problem) {
      trouble = `No sound: ${problem.message || problem}`;
    }
    show();
  }

  function card(which, key, label, words) {
    const input = make("input", { type: "radio", name: `${id}-position`, id: `${id}-${which}`, "aria-describedby": `${id}-${which}-more` });
    input.addEventListener("change", () => pick(which));
    const more = make("span", { class: "more", id: `${id}-${which}-more` }, words);
    const text = make("label", { for: input.id }, make("span", { class: "press", "aria-hidden": "true" }, key),
      make("span", { class: "name" }, label), make("span", { class: "now", "aria-hidden": "true" }));
    return make("div", { class: "choice", "data-which": which }, input, text, more);
  }

  function build() {
    const made = facts.positions.map((each, number) =>
      card(number, number < 9 ? String(number + 1) : "", each.label, each.level));
    if (hidden >= 0) made.push(card("hidden", "X", "X, the hidden one", "One of the positions; which one is it?"));
    done.replaceChildren(...facts.positions.map((each) => make("li", {}, each.words)));
    offer();
    const focused = choices.contains(document.activeElement) ? document.activeElement.id : "";
    choices.replaceChildren(...made);
    made.forEach((box) => focused && box.querySelector("input").id === focused && box.querySelector("input").focus());
  }

  // Blind ------------------------------------------------------------------------------------------------------------

  // Which positions the hidden one may be: all, or two or more of them.
  function offer() {
    twins.textContent = facts.positions.map((each, number) => [each.same ?? null, number])
      .filter(([same]) => same !== null)
      .map(([same, number]) => `${named(number)} made as loud is the same sound as ${named(same)}, sample for sample.`).join(" ");
    among = among.filter((number) => fair().includes(number));
    if (among.length < 2) among = fair();
    const boxes = fair().map((number) => {
      const box = make("input", { type: "checkbox", id: `${id}-among-${number}`, value: number });
      box.checked = among.includes(number);
      box.addEventListener("change", () => {
        among = fair().filter((each) => (each === number ? box.checked : among.includes(each)));
        show();
      });
      return make("span", { class: "pair" }, box, make("label", { for: box.id }, named(number)));
    });
    asked.replaceChildren(make("span", {}, "Blind between"), ...boxes);
  }

  function hide() {
    [rounds, right] = [0, 0];
    next();
  }

  function next() {
    hidden = among[Math.floor(Math.random() * among.length)];
    revealed = false;
    build();
    guesses.replaceChildren(make("span", {}, "X is"), ...among.map((number) =>
      button(named(number), () => guess(number))));
    pick("hidden");
    choices.querySelector('[data-which="hidden"] input').focus();
  }

  function guess(number) {
    if (revealed) return;
    revealed = true;
    rounds += 1;
    right += number === hidden ? 1 : 0;
    guesses.replaceChildren(button("Next round", next));
    guesses.querySelector("button").focus();
    paper.textContent = counted();
    judged({ among, rounds, right, ended: false });
    show();
  }

  function unhide() {
    const was = picked;
    const behind = hidden;
    if (rounds) judged({ among, rounds, right, ended: true });
    hidden = -1;
    build();
    if (was === "hidden") pick(behind);
    show();
  }

  function told() {
    const answer = revealed ? `X was ${named(hidden)}. ` : "";
    if (!rounds) return "Settle on a number of rounds beforehand; listen to X and the others as often as you like, then say which it is.";
    return `${answer}${right} of ${rounds} right; ${odds()}.`;
  }

  const odds = () => `whoever only guesses does as well or better ${inWords(chanceByGuessing(right, rounds, among.length))}`;

  // For paper, and for a job's record.
  const counted = () => `Compared blind, ${among.map(named).join(" or ")}: ${right} of ${rounds} right; ${odds()}.`;

  // How it stands ----------------------------------------------------------------------------------------------------

  function show() {
    const state = clock.state;
    const there = facts.positions.length > 0 && state.seconds > 0;
    go.textContent = state.playing ? "Pause" : "Play";
    go.disabled = !there;
    blind.disabled = !there || among.length < 2;
    asked.hidden = hidden >= 0 || fair().length < 3;
    blind.textContent = hidden < 0 ? "Compare blind" : "End blind comparison";
    test.hidden = hidden < 0;
    const words = hidden < 0 ? "" : told();
    if (verdict.textContent !== words) verdict.textContent = words;
    repeat.checked = state.repeat;
    listening.value = state.listening;
    level.textContent = state.listening <= SOFTEST ? "off" : `${state.listening} dB`.replace("-", "\u2212");
    const spoken = state.listening <= SOFTEST ? "off" : `${state.listening} decibels of full scale`;
    listening.setAttribute("aria-valuetext", spoken);
    for (const box of choices.children) {
      const on = box.dataset.which === String(picked);
      box.classList.toggle("on", on);
      box.querySelector(".now").textContent = !on ? "" : state.playing && !state.waiting ? "heard" : "chosen";
      box.querySelector("input").checked = on;
    }
    const doing = state.waiting ? "The rest is being computed" : state.playing ? "Heard now" : "Chosen";
    const saying = there ? `${doing}: ${picked === "hidden" ? "X" : named(picked)}.` : soundless;
    if (heard.textContent !== saying) heard.textContent = saying;
    alarm.textContent = trouble;
    root.dataset.state = state.waiting ? "waiting" : state.playing ? "playing" : "still";
    root.dataset.heard = String(picked);
    walk();
  }

  function walk() {
    cancelAnimationFrame(frames);
    const state = clock.state;
    const share = state.seconds ? state.place / state.seconds : 0;
    bar.style.width = `${(100 * share).toFixed(2)}%`;
    time.textContent = `${state.place.toFixed(1)} of ${state.seconds.toFixed(1)} s`;
    if (state.playing && !state.waiting) frames = requestAnimationFrame(walk);
  }

  repeat.addEventListener("change", () => clock.repeat(repeat.checked));
  listening.addEventListener("input", () => clock.listening(Number(listening.value)));
  root.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey) return;
    const own = event.target.closest("button, input[type=checkbox], summary");
    if (event.key === " " && !own) {
      event.preventDefault();
      if (!event.repeat) toggle();
    } else if (/^[1-9]$/.test(event.key)) {
      pick(Number(event.key) - 1);
      choices.querySelector(`[data-which="${Number(event.key) - 1}"] input`)?.focus();
    } else if (event.key.toLowerCase() === "x" && hidden >= 0) {
      pick("hidden");
      choices.querySelector('[data-which="hidden"] input').focus();
    }
  });

  show();
  return {
    // What can be heard: words and samples belong together; `complete` is false while more of the clip is to come.
    load(newFacts, sounds, rate, complete = true) {
      const labels = (all) => JSON.stringify(all.positions.map((each) => each.label));
      const other = labels(facts) !== labels(newFacts);
      facts = newFacts;
      if (other) {
        if (clock.state.playing) clock.pause();
        [picked, hidden, revealed, among] = [0, -1, false, []];
        clock.choose(0);
      }
      caution.textContent = facts.caution;
      how.textContent = facts.how;
      scope.replaceChildren(...facts.scope.split("\n").map((line) => make("p", {}, line)));
      build();
      clock.load(sounds, rate, complete, other);
      show();
    },
    // As the button does, where a press of another button has asked for sound.
    play: () => (clock.state.playing ? undefined : toggle()),
    // Chosen elsewhere, which says nothing of a hidden one.
    choose(number) {
      if (hidden >= 0 || !(number in facts.positions)) return;
      picked = number;
      clock.choose(number);
      show();
    },
    close() {
      cancelAnimationFrame(frames);
      clock.close();
    },
  };
}

// 16-bit samples, little end first, as numbers between -1 and 1.
function samplesOf(view) {
  const found = new Float32Array(view.byteLength / 2);
  for (let at = 0; at < found.length; at += 1) found[at] = view.getInt16(2 * at, true) / 32768;
  return found;
}
