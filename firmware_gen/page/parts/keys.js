// The keys: digits and letters press the remote's buttons, in the order of their numbers.

const LETTERS = "qwetyuipasdfghjkzxcvbn"; // those that are not taken below

/** By button number, the key that presses it. */
export function keysOf(buttons) {
  const letters = [...LETTERS];
  return new Map(
    buttons.map(({ number }) => [number, number < 10 ? String(number) : letters.shift() || ""])
  );
}

/** `acts`: what a key does by its name; `held()` gives the remote of now and its keys. */
export function listen(held, acts) {
  addEventListener("keydown", event => {
    const [remote, keys] = held();
    const numbers = new Map([...keys].map(([number, key]) => [key, number]));
    if (event.ctrlKey || event.altKey || event.metaKey || typed(event.target, event.key)) return;
    const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
    if (numbers.has(key)) {
      event.preventDefault();
      if (!event.repeat) remote.pressNumber(`key ${event.code}`, numbers.get(key));
      return;
    }
    const named = key === " " ? "Space" : key;
    if (named === "Space" && event.target.closest("button, summary, a")) return;
    const act = acts[event.shiftKey && acts[`Shift+${named}`] ? `Shift+${named}` : named];
    if (!act) return;
    event.preventDefault();
    act(event);
  });
  addEventListener("keyup", event => held()[0].release(`key ${event.code}`));
}

/** In fields, keys write or choose; on a slider the arrows and their like move it. */
function typed(node, key) {
  if (node.matches("input[type=range]")) return /^(Arrow|Page|Home|End)/.test(key);
  return node.matches("input:not([type=checkbox]), select, textarea") || (node.matches("input") && key === " ");
}
