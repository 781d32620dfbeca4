// What the check found, as a list; each moment that a finding names can be gone to.

/** `goTo(atMs)` is called when somebody wants to see a moment. */
export function listNotes(holder, notes, goTo) {
  holder.hidden = !notes.length;
  holder.querySelector("ul").replaceChildren(...notes.map(note => noted(note, goTo)));
}

function noted(note, goTo) {
  const item = document.createElement("li");
  item.className = note.severity;
  for (const at of note.at_ms) {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = `${(at / 1000).toFixed(1)} s`;
    button.onclick = () => goTo(at);
    item.append(button);
  }
  const where = document.createElement("span");
  where.className = "small";
  where.textContent = ` (${note.severity}, ${note.name}, ${note.place})`;
  item.append(...worded(note.message), where);
  return item;
}

/** A finding's words; what the text says stands between back-quotes there, and as code here. */
function worded(message) {
  return message.split("`").map((part, n) => {
    if (n % 2 === 0) return part;
    const code = document.createElement("code");
    code.textContent = part;
    return code;
  });
}
