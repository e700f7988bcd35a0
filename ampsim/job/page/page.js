(() => {
  "use strict";
  const facts = JSON.parse(document.getElementById("facts").textContent);
  const form = document.querySelector("form");
  const all = (selector) => [...document.querySelectorAll(selector)];

  // A rotation as numbered on the panel, 0 to 10.
  const face = (rotation) => String(Number((10 * rotation).toPrecision(4)));

  // Wide and narrow picture have the same axes in other places: points move by a factor and an offset.
  const moved = (line, [x, left, y, top]) =>
    line.replace(/(-?[\d.]+) (-?[\d.]+)/g, (_, a, b) => `${(a * x + left).toFixed(2)} ${(b * y + top).toFixed(2)}`);

  const backwards = (line) => {
    const numbers = line.split(" ");
    const pairs = [];
    for (let at = numbers.length - 2; at >= 0; at -= 2) pairs.push(`${numbers[at]} ${numbers[at + 1]}`);
    return pairs.join(" ");
  };

  const ends = (line) => {
    const numbers = line.split(" ");
    return [numbers[0], numbers[numbers.length - 2]];
  };

  function draw(prefix, fits, zero, [stock, modded, change]) {
    const [upper, lower] = fits;
    const lines = upper ? [moved(stock, upper), moved(modded, upper), moved(change, lower)] : [stock, modded, change];
    const [first, last] = ends(lines[2]);
    const shapes = {
      "stock-0": `M${lines[0]}`,
      "modded-0": `M${lines[1]}`,
      "change-0": `M${lines[2]}`,
      "between": `M${lines[0]} ${backwards(lines[1])}Z`,
      "change-area": `M${first} ${zero} ${last} ${zero} ${backwards(lines[2])}Z`,
    };
    for (const [name, shape] of Object.entries(shapes)) {
      document.getElementById(prefix + name).querySelector("path").setAttribute("d", shape);
    }
  }

  function show(aloud) {
    let place = 0;
    let reason = 0;
    facts.choices.forEach((choice, number) => {
      const at = Number(form.elements[`choice${number}`].value);
      place = place * choice.texts.length + at;
      if (choice.kind === "switch") reason = reason * choice.texts.length + at;
      if (choice.kind === "knob") turn(number, choice.texts[at]);
    });
    const lines = facts.places[place].map((number) => facts.lines[number]);
    draw("", [], facts.zeros[0], lines);
    draw("narrow-", facts.fits, facts.zeros[1], lines);
    const reading = facts.readings[place];
    all("[data-now]").forEach((each) => { each.textContent = reading.name; });
    all("tbody tr").forEach((row, at) => {
      reading.rows[at].forEach((text, column) => { row.cells[column + 1].textContent = text; });
    });
    all("figure desc").forEach((each) => { each.textContent = reading.sentence; });
    all("[data-reason]").forEach((each) => { each.hidden = Number(each.dataset.reason) !== reason; });
    if (aloud) all("[data-said]").forEach((each) => { each.textContent = reading.sentence; });
  }

  function turn(number, text) {
    form.elements[`choice${number}`].setAttribute("aria-valuetext", `${text} of 10`);
    document.getElementById(`stands${number}`).textContent = text;
  }

  // Picture and player stand at the same position, as far as it is among the sounds.
  const player = document.getElementById("player");

  const standing = () =>
    Object.fromEntries(facts.choices.map(({ name, values }, number) => [name, values[Number(form.elements[`choice${number}`].value)]]));

  function distance(sound, here) {
    return facts.choices.reduce((sum, { name, kind }) =>
      sum + (kind === "switch" ? (sound[name] === here[name] ? 0 : Infinity) : Math.abs(sound[name] - here[name])), 0);
  }

  function nearest(here) {
    let best = -1;
    facts.sounds.forEach((sound, number) => {
      if (sound && distance(sound, here) < (best < 0 ? Infinity : distance(facts.sounds[best], here))) best = number;
    });
    return best;
  }

  function choose(sound) {
    facts.choices.forEach(({ name, kind, values }, number) => {
      const apart = values.map((value) => (kind === "switch" ? Number(value !== sound[name]) : Math.abs(value - sound[name])));
      form.elements[`choice${number}`].value = String(apart.indexOf(Math.min(...apart)));
    });
    show(false);
  }

  let heard = 0;
  function tellSound() {
    const sound = facts.sounds[heard];
    const here = standing();
    const told = facts.choices.filter(({ name }) => sound && sound[name] !== here[name]).map(({ name, kind }) =>
      `${name} at ${kind === "switch" ? sound[name] : face(sound[name])}`);
    const words = told.length ? `There is no sound of the position shown above; what is heard has ${told.join(" and ")}.` : "";
    all("[data-sound]").forEach((each) => { each.textContent = words; });
  }

  function hear() {
    const found = nearest(standing());
    if (found >= 0) {
      heard = found;
      player.dispatchEvent(new CustomEvent("choose", { detail: found }));
    }
    tellSound();
  }

  if (!form) return;
  form.addEventListener("input", () => {
    show(true);
    if (player) hear();
  });
  player?.addEventListener("chosen", ({ detail }) => {
    heard = detail;
    if (facts.sounds[heard]) choose(facts.sounds[heard]);
    tellSound();
  });
  form.addEventListener("submit", (event) => event.preventDefault());
  // A browser may bring back what was chosen before the page was loaded again.
  addEventListener("pageshow", () => show(false));
})();
