// The player where the page is one file: its sounds stand in the page, and a result can only leave it as text.

// A blind comparison as one line that can be sent; `ampsim job blind` takes it in. The sum at its end, FNV-1a over the
// bytes before, finds what was changed on its way.
function lineToKeep({ among, rounds, right }, labels) {
  const names = among.map((number) => labels[number].replace(/\s+/g, " ").replaceAll(" / ", "/").trim());
  const text = `Heard blind: ${right} of ${rounds} right, one of ${names.length}: ${names.join(" / ")}`;
  let sum = 0x811c9dc5;
  for (const byte of new TextEncoder().encode(text)) sum = Math.imul(sum ^ byte, 0x01000193) >>> 0;
  return `${text} (${sum.toString(16).padStart(8, "0")})`;
}

(() => {
  "use strict";
  const root = document.getElementById("player");
  const kept = document.getElementById("kept");
  const [line, copy, told] = ["input", "button", "[role=status]"].map((each) => kept.querySelector(each));
  const { facts, rate, rows } = JSON.parse(document.getElementById("sounds").textContent);
  const bytes = (row) => new DataView(Uint8Array.from(atob(row), (letter) => letter.charCodeAt(0)).buffer);

  function judged(found) {
    kept.hidden = false;
    line.value = lineToKeep(found, facts.positions.map((each) => each.label));
    told.textContent = "";
  }
  copy.addEventListener("click", async () => {
    line.select();
    try {
      await navigator.clipboard.writeText(line.value);
      told.textContent = "Copied.";
    } catch {
      told.textContent = "It is marked: copy it with Ctrl and C.";
    }
  });

  // What else stands on the page hears of a choice, and may choose.
  const chosen = (number) => root.dispatchEvent(new CustomEvent("chosen", { detail: number }));
  const player = makePlayer(root, { judged, chosen });
  player.load(facts, rows.map((row) => samplesOf(bytes(row))), rate);
  root.addEventListener("choose", (event) => player.choose(event.detail));
})();
