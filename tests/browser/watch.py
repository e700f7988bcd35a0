"""How long a key press takes to reach the picture, measured in the page itself."""

# From the key's own time stamp to the task after the frame in which a path changed; times [ms] in window.keyTimes.
KEY_TO_PIXELS = """(selector) => {
  const times = (window.keyTimes = []);
  let pressed = null;
  window.addEventListener('keydown', (event) => (pressed = event.timeStamp), true);
  new MutationObserver(() => {
    if (pressed === null) return;
    const start = pressed;
    pressed = null;
    requestAnimationFrame(() => {
      const channel = new MessageChannel();
      channel.port1.onmessage = () => times.push(performance.now() - start);
      channel.port2.postMessage(0);
    });
  }).observe(document.querySelector(selector),
    { subtree: true, childList: true, attributes: true, attributeFilter: ['d'] });
}"""
