"use strict";
// Placing arrows on a photo, by hand, finger or keys. Used by a page of its own and by a notebook: both give `start`
// (the photo, its size, arrows, names) and hear of every change.

const STEP = 0.01; // of the photo, for a key
const DIGITS = 4;
const NEAR = [[0, -1], [1, -1], [1, 1], [-1, 1], [-1, -1], [0, 1], [1, 0], [-1, 0]];

function markPhoto(root, start, changed) {
  const names = new Map(start.names.map((name) => [name.toLowerCase(), name]));
  let marks = start.marks;
  let cross = { x: 0.5, y: 0.5 };
  const undone = [];

  const make = (tag, more = {}, ...inside) => {
    const made = Object.assign(document.createElement(tag), more);
    made.append(...inside);
    return made;
  };
  const draw = (tag, more, words = "") => {
    const made = document.createElementNS("http://www.w3.org/2000/svg", tag);
    Object.entries(more).forEach(([name, value]) => made.setAttribute(name, value));
    made.textContent = words;
    return made;
  };

  const list = make("datalist", { id: `names-${Math.random().toString(36).slice(2)}` },
    ...start.names.map((name) => make("option", { value: name })),
    ...start.steps.map((words, place) => make("option", { value: `step ${place + 1}`, label: words })));
  const svg = draw("svg", { viewBox: `0 0 ${start.wide} ${start.high}` });
  const photo = make("div", { className: "marks-photo", tabIndex: 0 },
    make("img", { src: start.source, alt: "", draggable: false }), svg);
  photo.style.maxWidth = `${Math.round((72 * start.wide) / start.high)}vh`; // what is below it stays in sight
  photo.setAttribute("role", "application");
  photo.setAttribute("aria-label", "The photo. Arrow keys move the cross, Enter goes on to the fields below.");
  const at = make("input", { type: "text", autocomplete: "off", spellcheck: false });
  at.setAttribute("list", list.id);
  const text = make("input", { type: "text", maxLength: start.longest, autocomplete: "off" });
  const add = make("button", { type: "submit", textContent: "Place the arrow" });
  const back = make("button", { type: "button", textContent: "Take back the last" });
  const said = make("p", { className: "marks-said" });
  said.setAttribute("role", "status");
  const form = make("form", { className: "marks-form", noValidate: true },
    make("label", {}, "Points at ", at), make("label", {}, "Words (may be empty) ", text), add, back);
  const rows = make("ol", { className: "marks-list" });
  root.replaceChildren(photo, list, form, said, rows);

  const words = (mark) => {
    const step = start.steps.indexOf(mark.at);
    return step < 0 ? mark.at : `step ${step + 1}`;
  };
  const short = (name) => (name.length > 20 ? `${name.slice(0, 19)}\u2026` : name);
  const know = (given) => {
    const name = names.get(given.toLowerCase());
    const step = /^step (\d{1,4})$/i.exec(given);
    return name || (step && start.steps[Number(step[1]) - 1]) || "";
  };

  function overlay() {
    const size = 0.034 * Math.sqrt(start.wide * start.high);
    const shapes = [];
    const boxes = [];
    for (const mark of marks) {
      const tip = { x: mark.x * start.wide, y: mark.y * start.high };
      const name = short(words(mark));
      const box = { wide: size * (0.72 * name.length + 1), high: 1.5 * size };
      const spots = [2.6, 4.4, 6.2, 8].flatMap((ring) => NEAR.map(([right, down]) => ({
        x: Math.min(Math.max(tip.x + right * (ring * size + box.wide / 2), box.wide / 2), start.wide - box.wide / 2),
        y: Math.min(Math.max(tip.y + down * ring * size, box.high / 2), start.high - box.high / 2),
      })));
      const covers = (spot) => marks.some((each) => Math.abs(each.x * start.wide - spot.x) < box.wide / 2 + 0.4 * size
        && Math.abs(each.y * start.high - spot.y) < box.high / 2 + 0.4 * size);
      const over = (spot) => boxes.some((each) => Math.abs(each.x - spot.x) < (each.wide + box.wide) / 2
        && Math.abs(each.y - spot.y) < (each.high + box.high) / 2);
      const spot = { ...spots.find((each) => !over(each) && !covers(each)) || spots.find((each) => !over(each)) || spots[0], ...box };
      boxes.push(spot);
      const line = { x1: spot.x, y1: spot.y, x2: tip.x, y2: tip.y };
      shapes.push(
        draw("line", { ...line, stroke: "#fff", "stroke-width": 0.36 * size }),
        draw("line", { ...line, stroke: "#143a66", "stroke-width": 0.14 * size }),
        draw("circle", { cx: tip.x, cy: tip.y, r: 0.28 * size, fill: "#143a66", stroke: "#fff", "stroke-width": 0.12 * size }),
        draw("rect", { x: spot.x - box.wide / 2, y: spot.y - box.high / 2, width: box.wide, height: box.high,
          rx: 0.25 * size, fill: "#fff", stroke: "#143a66", "stroke-width": 0.1 * size }),
        draw("text", { x: spot.x, y: spot.y + 0.36 * size, "font-size": size, "text-anchor": "middle" }, name));
    }
    const [x, y] = [cross.x * start.wide, cross.y * start.high];
    const arms = `M${x - size} ${y}h${2 * size}M${x} ${y - size}v${2 * size}`;
    shapes.push(draw("path", { d: arms, stroke: "#fff", "stroke-width": 0.3 * size, class: "cross" }),
      draw("path", { d: arms, stroke: "#c8642a", "stroke-width": 0.12 * size, class: "cross" }));
    svg.replaceChildren(...shapes);
  }

  function show() {
    overlay();
    back.disabled = undone.length === 0;
    rows.replaceChildren(...marks.map((mark, place) => {
      const here = make("button", { type: "button", textContent: "Move to the cross" });
      here.addEventListener("click", () => put(marks.map((each, n) => (n === place ? { ...each, ...cross } : each))));
      const away = make("button", { type: "button", textContent: "Take away" });
      away.addEventListener("click", () => put(marks.filter((_, n) => n !== place)));
      [here, away].forEach((each) => each.setAttribute("aria-label", `${each.textContent}: ${words(mark)}`));
      const more = [words(mark) === mark.at ? "" : mark.at, mark.text || ""].filter(Boolean).join(" ");
      return make("li", {}, make("b", { textContent: words(mark) }), ` ${more} `, make("span", {}, here, away));
    }));
  }

  function put(wanted) {
    if (wanted.length > start.most) return tell(`At most ${start.most} arrows go on one photo.`);
    undone.push(marks);
    marks = wanted;
    show();
    tell("");
    changed(marks);
  }

  function undo() {
    if (undone.length === 0) return;
    marks = undone.pop();
    show();
    tell("Taken back.");
    changed(marks);
  }

  function tell(what) {
    said.textContent = what;
  }

  const within = (share) => Number(Math.min(Math.max(share, 0), 1).toFixed(DIGITS));
  function aim(x, y) {
    cross = { x: within(x), y: within(y) };
    overlay();
  }

  photo.addEventListener("click", (event) => {
    const box = svg.getBoundingClientRect();
    aim((event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height);
    at.focus({ preventScroll: true });
  });
  photo.addEventListener("keydown", (event) => {
    const moves = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
    if (event.key in moves) {
      const [right, down] = moves[event.key];
      const far = event.shiftKey ? 5 * STEP : STEP;
      aim(cross.x + right * far, cross.y + down * far);
    } else if (event.key === "Enter") at.focus();
    else return;
    event.preventDefault();
  });
  root.addEventListener("keydown", (event) => {
    if (!(event.ctrlKey || event.metaKey) || event.shiftKey || event.key.toLowerCase() !== "z") return;
    if (event.target === at && at.value || event.target === text && text.value) return; // the field's own undo
    event.preventDefault();
    undo();
  });
  back.addEventListener("click", undo);
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const found = know(at.value.trim());
    if (!found) {
      tell(at.value.trim() ? `"${at.value.trim().slice(0, 60)}" is no part, place or step of this job.`
        : "Write what the arrow points at: a part (R4), a place (V1A.plate) or a step (step 7).");
      at.focus();
      return;
    }
    const mark = { ...cross, at: found };
    if (text.value.trim()) mark.text = text.value.trim();
    at.value = text.value = "";
    put([...marks, mark]);
    photo.focus({ preventScroll: true });
  });
  show();
  return { take(wanted) { marks = wanted; show(); }, tell };
}
