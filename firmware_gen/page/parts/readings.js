// What every output does at the playhead, in words and figures; for screen readers as well.

import { Row } from "./packed.js";
import { Efforts } from "./effort.js";
import { placeOf } from "./record.js";

const FIGURES = ["torque", "limit", "current", "feed_a", "board_v"];

export class Readings {
  /** `table`: the body for outputs; `supply`: where currents and voltages stand. */
  constructor(table, supply, show, tracks) {
    Object.assign(this, { show, tracks, supply });
    const { figures } = show.rehearsal;
    this.together = figures.frames;
    this.rows = Object.fromEntries(
      FIGURES.map(kind => [kind, Object.fromEntries(Object.entries(figures[kind]).map(([name, row]) => [name, new Row(row)]))])
    );
    this.efforts = new Efforts(show, tracks);
    this.cells = tracks.map(track => lineOf(table, track));
    this.feeds = [...this.feedCells()];
  }

  *feedCells() {
    for (const [kind, unit] of [["feed_a", "A"], ["board_v", "V"]]) {
      for (const name of Object.keys(this.rows[kind])) {
        const node = document.createElement("span");
        node.className = "feed";
        this.supply.append(node);
        yield { kind, unit, name, node };
      }
    }
  }

  /** `figures`: whether those of the rehearsal hold here. */
  showAt(take, rig, frame) {
    const own = take.own ? this.efforts.of(rig) : null;
    this.tracks.forEach((track, n) => this.line(this.cells[n], track, rig, frame, own));
    const places = { feed_a: own?.feeds, board_v: own?.boards };
    for (const { kind, unit, name, node } of this.feeds) {
      const value = own ? places[kind].get(name) : this.rows[kind][name].at(Math.floor(frame / this.together));
      put(node, `${name} ${value.toFixed(2)} ${unit}`);
    }
  }

  /** `own`: the figures of a take that somebody presses; null: those of the rehearsal hold. */
  line(cells, track, rig, frame, own) {
    const board = rig.boards[track.board];
    const { output } = track;
    if (track.kind === "servo") {
      const pulse = board.pulses[track.index];
      const digits = output.unit === "rpm" ? 0 : 1;
      put(cells.now, pulse ? `${placeOf(output.points, pulse).toFixed(digits)} ${output.unit}` : "limp");
      put(cells.more, pulse ? `${(pulse / 2).toFixed(1)} \u00b5s` : "no pulses");
      if (own) this.pressed(cells, output, pulse, own.servos.get(output.name));
      else this.effort(cells, output.name, frame);
    } else if (track.kind === "lamp") {
      put(cells.now, `${((board.duties[track.index] / 65535) * 100).toFixed(1)} % duty`);
    } else if (track.kind === "switch") {
      put(cells.now, board.isOn(output) ? "on" : "off");
    } else {
      const bytes = board.pixels.subarray(track.pixels, track.pixels + 3 * output.pixels);
      const lit = bytes.reduce((sum, byte) => sum + byte, 0) / (255 * bytes.length);
      put(cells.now, `${(lit * 100).toFixed(1)} % lit`);
    }
  }

  effort(cells, name, frame) {
    const at = Math.floor(frame / this.together);
    const [torque, limit, current] = ["torque", "limit", "current"].map(kind => this.rows[kind][name]);
    if (!torque) return bar(cells, "\u2013", 0);
    sayEffort(cells, { torque: torque.at(at), limit: limit.at(at), current: current.at(at) });
  }

  /** Where buttons are pressed; of a part in a long chain only what it takes to stand still is known. */
  pressed(cells, output, pulse, found) {
    if (!found || !pulse) bar(cells, "\u2013", 0);
    else if (found.isKnown) sayEffort(cells, found, found.isTracked ? "about " : "");
    else this.holding(cells, output, pulse);
  }

  holding(cells, output, pulse) {
    const held = this.show.parts.find(part => part.name === output.name)?.held;
    if (!held || !pulse) return bar(cells, "\u2013", 0);
    const place = placeOf(output.points, pulse);
    const share = heldAt(held, place);
    const current = besides(held.poses, held.currents_a, place);
    bar(cells, `to stand still: ${(100 * share).toFixed(0)} % of what it can hold, ${current.toFixed(2)} A`, share);
  }
}

/** The share at a place in the worst posture. */
export const heldAt = ({ poses, shares }, place) => besides(poses, shares[shares.length - 1], place);

/** Of the two poses beside a place, the greater value. */
function besides(poses, values, place) {
  const last = poses.length - 1;
  const along = Math.min(last, Math.max(0, ((place - poses[0]) / (poses[last] - poses[0] || 1)) * last));
  return Math.max(values[Math.floor(along)], values[Math.ceil(along)]);
}

function sayEffort(cells, { torque, limit, current }, about = "") {
  const words = `${about}${torque.toFixed(3)} of ${limit.toFixed(3)} ${cells.unit}, ${current.toFixed(2)} A`;
  bar(cells, words, torque / (limit || 1));
}

function bar(cells, words, share) {
  put(cells.effort, words);
  cells.bar.style.width = `${Math.min(100, 100 * share).toFixed(1)}%`;
  cells.bar.classList.toggle("over", share > 1.000001);
}

function lineOf(table, track) {
  const row = table.insertRow();
  const head = document.createElement("th");
  head.scope = "row";
  head.textContent = track.output.name;
  row.append(head);
  const [now, more, effort] = [0, 1, 2].map(() => row.insertCell());
  const words = document.createElement("span");
  const bar = document.createElement("i");
  const scale = document.createElement("span");
  scale.className = "scale";
  scale.append(bar);
  if (track.kind === "servo") effort.append(words, scale);
  return { now, more, effort: words, bar, unit: track.output.effort || "N.m" };
}

function put(node, text) {
  if (node.textContent !== text) node.textContent = text;
}
