// The page's side in place of a notebook: holds the panel's state, sends moves and buttons, and comes back by itself.

import panel from "./panel.js";

const AGAIN = 1000; // ms between attempts to reach the panel again
const LOST = "No answer: the command that shows this panel has ended, or this computer was asleep. "
  + "If it ended, start it again in the terminal; it opens a page of its own.";

const state = {};
const listeners = new Map(); // name of an event -> functions
let socket = null;
let sent = null; // a move that is not answered yet
let moved = {}; // what has moved since
let sounds = null; // a message whose bytes are still coming
let shown = false;

const fire = (event, ...details) => [...(listeners.get(event) || [])].forEach((listener) => listener(...details));
const differ = (one, other) => JSON.stringify(one) !== JSON.stringify(other);

function take(changes) {
  // What the hand has moved since is newer.
  const names = Object.keys(changes).filter((name) => !(name in moved) && differ(state[name], changes[name]));
  names.forEach((name) => (state[name] = changes[name]));
  names.forEach((name) => fire(`change:${name}`));
}

function say(message) {
  if (socket?.readyState !== WebSocket.OPEN) return false;
  socket.send(JSON.stringify(message));
  return true;
}

// One move is on its way at a time: what moves meanwhile goes with the next, so nothing piles up in a drag.
function sendMoves() {
  if (sent || Object.keys(moved).length === 0) return;
  if (!say({ state: moved })) return;
  sent = moved;
  moved = {};
}

const model = {
  get: (name) => state[name],
  set(name, value) {
    if (!differ(state[name], value)) return;
    state[name] = value;
    moved[name] = value;
    fire(`change:${name}`);
  },
  save_changes: sendMoves,
  send: (content) => void say({ content }),
  on: (event, listener) => listeners.set(event, [...(listeners.get(event) || []), listener]),
  off: (event, listener) => listeners.set(event, (listeners.get(event) || []).filter((each) => each !== listener)),
};

function receive({ data }) {
  if (typeof data !== "string") {
    sounds.rows.push(new DataView(data));
  } else {
    const message = JSON.parse(data);
    if (message.content) sounds = { content: message.content, left: message.buffers, rows: [] };
    if (message.state) take(message.state);
    if (message.state && !shown) show();
    if (message.done) sent = null;
    sendMoves();
  }
  if (sounds && sounds.rows.length === sounds.left) {
    const { content, rows } = sounds;
    sounds = null;
    fire("msg:custom", content, rows);
  }
}

function show() {
  shown = true;
  const el = document.getElementById("panel");
  el.replaceChildren();
  panel.render({ model, el });
}

function connect() {
  socket = new WebSocket(new URL("socket", location.href.replace(/^http/, "ws")));
  socket.binaryType = "arraybuffer";
  socket.addEventListener("message", receive);
  socket.addEventListener("open", () => connection(true));
  socket.addEventListener("close", () => {
    connection(false);
    setTimeout(connect, AGAIN);
  });
}

function connection(there) {
  moved = { ...sent, ...moved }; // goes again when there is somebody to take it
  sent = sounds = null;
  document.body.dataset.connection = there ? "there" : "lost";
  const words = document.getElementById("connection");
  const text = there ? "" : LOST;
  if (words.textContent !== text) words.textContent = text;
}

connect();
