"use strict";
// Ticks stay in this browser until the job has them; the line that takes them in stands at the end.
const plan = document.getElementById("plan");
const boxes = [...plan.querySelectorAll("input.tick:not(:disabled)")];

function kept() {
  try {
    return JSON.parse(localStorage.getItem(plan.dataset.key) || "[]");
  } catch {
    return [];  // no storage in this browser, or not ours
  }
}

function ranges(numbers) {
  const found = [];
  for (const number of numbers) {
    const last = found[found.length - 1];
    if (last && last[1] === number - 1) last[1] = number;
    else found.push([number, number]);
  }
  return found.map(([first, last]) => (first === last ? `${first}` : `${first}-${last}`)).join(" ");
}

function show() {
  const ticked = boxes.filter((box) => box.checked).map((box) => Number(box.dataset.step));
  document.getElementById("ticked").hidden = ticked.length === 0;
  document.getElementById("line").textContent = `ampsim job done FOLDER ${ranges(ticked)}${plan.dataset.more} --by NAME --minutes 0`;
  try {
    localStorage.setItem(plan.dataset.key, JSON.stringify(ticked));
  } catch {
    // The ticks then last as long as the page.
  }
}

const before = new Set(Array.isArray(kept()) ? kept() : []);
for (const box of boxes) {
  box.checked = before.has(Number(box.dataset.step));
  box.addEventListener("change", show);
}
show();
