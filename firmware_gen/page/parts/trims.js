// Trims of lights, set by eye: sliders, and the lines of the text that say what they were set to.

import { css, encoded } from "./colour.js";

const ONE = 256; // steps of a light's trim in a table
const WHITE_50 = ((50 + 16) / 116) ** 3; // luminance of lightness 50 (CIE 15)
const SHARES = ["brightness", "red", "green", "blue"];
const COPIED_MS = 2000;

const node = (kind, name = "", text = "") => Object.assign(document.createElement(kind), { className: name, textContent: text });
const alike = (one, other) => one.every((percent, n) => percent === other[n]);
const percents = shares => shares.map(share => `${share} %`).join(", ");

export class Trims {
  /** `tried(settled)` is called when they change; `settled`: a hand has let go of the slider. */
  constructor(panel, tried) {
    Object.assign(this, { panel, tried, lights: [], chosen: new Set() });
    this.sliders = SHARES.map((share, n) => this.slider(share, n));
    this.part("#untrim").onclick = () => this.setBack();
  }

  part(selector) {
    return this.panel.querySelector(selector);
  }

  /** Of another text: what was set and is not in it stays set. */
  renew(show) {
    const before = new Map(this.lights.map(light => [light.name, light]));
    this.boards = show.boards;
    this.tables = show.trims.tables;
    this.lights = show.trims.lights.map(light => {
      const old = before.get(light.name);
      const keeps = old && old.kind === light.kind && !alike(old.set, old.said);
      const { tint } = show.boards[light.board].outputs[light.output];
      return { ...light, tint: tint || [1, 1, 1], set: keeps ? old.set : [...light.said] };
    });
    this.panel.hidden = !this.lights.length;
    if (!this.lights.length) return;
    const names = new Set(this.lights.map(light => light.name));
    this.chosen = new Set([...this.chosen].filter(name => names.has(name)));
    if (!this.chosen.size) this.chosen.add(this.lights[0].name);
    this.part("#untrimmed").replaceChildren(...this.lights.map(light => this.choice(light)));
    this.apply();
    this.say();
  }

  get changed() {
    return this.lights.filter(light => !alike(light.set, light.said));
  }

  /** Give the boards' entries what is tried; whether one plays another table from now on. */
  apply() {
    let anew = false;
    this.boards.forEach((board, number) => {
      const bytes = this.changed.filter(light => light.board === number).flatMap(bytesAt);
      const trial = bytes.length ? { table: this.tables[board.name], bytes: this.lights.filter(light => light.board === number).flatMap(bytesAt) } : null;
      anew ||= Boolean(board.trial) !== Boolean(trial);
      board.trial = trial;
    });
    return anew;
  }

  choice(light) {
    const label = node("label", "light");
    const box = Object.assign(node("input"), { type: "checkbox", checked: this.chosen.has(light.name) });
    light.swatch = node("i", "swatch");
    light.swatch.title = `${light.name} at ${light.kind === "strip" ? "white " : ""}50 %`;
    box.oninput = () => {
      this.chosen[box.checked ? "add" : "delete"](light.name);
      this.say();
    };
    label.append(box, light.swatch, light.name);
    return label;
  }

  slider(share, n) {
    const line = node("label", "share");
    const input = Object.assign(node("input"), { type: "range", min: 1, max: 100, step: 1 });
    const told = node("output");
    input.oninput = () => this.moved(n, Number(input.value), false);
    input.onchange = () => this.moved(n, Number(input.value), true);
    line.append(node("span", "", share), input, told);
    this.part("#shares").append(line);
    return { share, line, input, told };
  }

  /** One share of all lights that are chosen. */
  moved(n, value, settled) {
    for (const light of this.picked(n)) light.set[n] = value;
    this.say();
    this.tried(settled);
  }

  picked(n) {
    return this.lights.filter(light => this.chosen.has(light.name) && n < light.set.length);
  }

  setBack() {
    for (const light of this.lights) light.set = [...light.said];
    this.say();
    this.tried(true);
  }

  say() {
    this.sliders.forEach(({ share, line, input, told }, n) => {
      const values = this.picked(n).map(light => light.set[n]);
      const [least, most] = [Math.min(...values), Math.max(...values)];
      line.hidden = !values.length;
      if (!values.length) return;
      input.value = most;
      told.textContent = least === most ? `${most} %` : `${least} to ${most} %`;
      const names = this.picked(n).map(light => light.name).join(", ");
      input.setAttribute("aria-label", `${share} of ${names}`);
      input.setAttribute("aria-valuetext", told.textContent.replace("%", "percent"));
    });
    this.part("#unchosen").hidden = this.chosen.size > 0;
    for (const { set, tint, swatch } of this.lights) {
      const [whole, ...balance] = set;
      swatch.style.background = css(tint.map((part, n) => encoded((part * WHITE_50 * whole * (balance[n] ?? 100)) / 10000)));
    }
    this.part("#trim-lines").replaceChildren(...this.changed.map(light => this.lines(light)));
    this.part("#retrimmed").hidden = !this.changed.length;
  }

  lines(light) {
    const item = node("li");
    const text = linesOf(light);
    const shown = node("pre", "", text);
    const copy = Object.assign(node("button", "", "Copy"), { type: "button" });
    copy.setAttribute("aria-label", `copy the lines of ${light.name}`);
    copy.onclick = async () => {
      const done = await copied(text, shown);
      copy.textContent = done ? "Copied" : "Marked: copy it";
      setTimeout(() => (copy.textContent = "Copy"), COPIED_MS);
      document.getElementById("told").textContent = done ? `lines of ${light.name} copied` : `lines of ${light.name} marked`;
    };
    item.append(node("span", "", `${light.kind} ${light.name}`), shown, copy);
    return item;
  }
}

/** The lines under a light's first line that say what differs from its text. */
export function linesOf({ set, said }) {
  const [whole, ...balance] = set;
  const lines = [];
  if (whole !== said[0]) lines.push(`    trim        ${whole} %`);
  if (!alike(balance, said.slice(1))) lines.push(`    balance     ${percents(balance)}`);
  return lines.join("\n");
}

/** A light's trims as bytes of its board's table. */
function bytesAt({ at, set: [whole, ...balance] }) {
  const shares = balance.length ? balance.map(share => (whole * share) / 10000) : [whole / 100];
  return shares.map((share, n) => [at + n, Math.max(1, Math.round(ONE * share)) - 1]);
}

/** Into the clipboard; where a browser does not let us, the text is marked instead. */
async function copied(text, shown) {
  try {
    await navigator.clipboard.writeText(text);
    return true;
  } catch {
    getSelection().selectAllChildren(shown);
    return false;
  }
}
