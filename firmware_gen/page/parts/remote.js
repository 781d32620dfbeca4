// The remote: buttons that can be held, by mouse, touch and keys.

/** Where a request of a button goes: over the link, or to the contacts that are wired as it. */
const downOf = button => (button.contacts.length ? `close ${button.number}` : `down ${button.number}`);
const upOf = button => (button.contacts.length ? `open ${button.number}` : `up ${button.number}`);

const TAP_MS = 120; // how long a press lasts that only says that it happened

export class Remote {
  /** `ask(request)` is called for all that is pressed; `keys`: the key of each button by number. */
  constructor(holder, show, keys, ask) {
    Object.assign(this, { show, ask, holder });
    this.held = new Map(); // by what holds it: a pointer or a key
    this.byNumber = new Map();
    for (const button of show.buttons) this.byNumber.set(button.number, this.button(button, keys.get(button.number)));
    for (const cue of show.others) this.other(cue);
  }

  button(button, key) {
    const node = document.createElement("button");
    node.type = "button";
    node.className = button.stops ? "press stops" : "press";
    const does = button.stops ? "stop" : button.does || "nothing";
    const contact = button.contacts.length ? `contact on ${button.contacts.join(", ")}` : "";
    node.append(span("number", button.number), span("does", does));
    if (contact) node.append(span("where contact", contact));
    if (key) node.append(span("key", key));
    node.title = button.cues.map(cue => cue.title).filter(Boolean).join(" / ");
    node.setAttribute("aria-label", `button ${button.number}: ${does}${contact && `, ${contact}`}`);
    if (key) node.setAttribute("aria-keyshortcuts", key);
    node.setAttribute("aria-pressed", "false");
    this.holder.append(node);
    const held_by = { button, node };
    node.addEventListener("pointerdown", event => {
      if (event.button !== 0) return;
      node.setPointerCapture(event.pointerId);
      this.press(`pointer ${event.pointerId}`, held_by);
    });
    for (const end of ["pointerup", "pointercancel", "lostpointercapture"]) {
      node.addEventListener(end, event => this.release(`pointer ${event.pointerId}`));
    }
    node.addEventListener("contextmenu", event => event.preventDefault());
    node.addEventListener("keydown", event => {
      if (!isPress(event)) return;
      event.preventDefault();
      if (!event.repeat) this.press(`key ${event.code}`, held_by);
    });
    node.addEventListener("click", event => {
      // from an aid that neither points nor types
      if (event.detail !== 0 || event.pointerId > 0 || this.held.size) return;
      this.press("click", held_by);
      setTimeout(() => this.release("click"), TAP_MS);
    });
    return held_by;
  }

  other(cue) {
    const node = document.createElement("button");
    node.type = "button";
    node.className = "press other";
    node.append(span("does", cue.name), span("where", "no button"));
    node.title = cue.title;
    node.setAttribute("aria-label", `start ${cue.name}, which has no button`);
    node.addEventListener("click", () => this.ask(`go ${cue.name}`));
    this.holder.append(node);
  }

  /** `by` holds a button down until it lets go. */
  press(by, held) {
    if (this.held.has(by)) return;
    const already = [...this.held.values()].includes(held);
    this.held.set(by, held);
    held.node.setAttribute("aria-pressed", "true");
    if (!already) this.ask(downOf(held.button));
  }

  release(by) {
    const held = this.held.get(by);
    if (!held) return;
    this.held.delete(by);
    if ([...this.held.values()].includes(held)) return; // another finger holds it
    held.node.setAttribute("aria-pressed", "false");
    this.ask(upOf(held.button));
  }

  pressNumber(by, number) {
    const held = this.byNumber.get(number);
    if (held) this.press(by, held);
  }

  releaseAll() {
    for (const by of [...this.held.keys()]) this.release(by);
  }

  /** Which buttons' cues run now. */
  light(running) {
    for (const { button, node } of this.byNumber.values()) {
      node.classList.toggle("runs", button.cues.some(cue => running.has(cue.name)));
    }
  }
}

const isPress = event => event.key === " " || event.key === "Enter";

function span(name, text) {
  const node = document.createElement("span");
  node.className = name;
  node.textContent = text;
  return node;
}
