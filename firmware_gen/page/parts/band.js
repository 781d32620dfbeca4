// The time band: what was asked, which cues ran, and what every output did, over time.

import { css } from "./colour.js";
import { placeOf, trackColour } from "./record.js";

const RULER = 20;
const ASKED = 16; // the row of requests
const CUE = 18; // a row of cues
const TRACK = 24; // a row of an output
const LEAST_FRAMES = 50; // that the band shows at the nearest
const FOLLOWED = 1500; // frames shown of an own take
const STEPS_S = [0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 30, 60, 120, 300, 600, 1800];

export class Band {
  /** `playhead`: the mark that is moved over it; `wanted(frame)`: somebody drags to a frame. */
  constructor(canvas, playhead, show, wanted) {
    Object.assign(this, { canvas, playhead, show, wanted, from: 0, to: 1, loop: null, stale: true });
    canvas.addEventListener("pointerdown", event => {
      canvas.setPointerCapture(event.pointerId);
      this.drag(event);
    });
    canvas.addEventListener("pointermove", event => event.buttons && this.drag(event));
  }

  drag(event) {
    const x = event.clientX - this.canvas.getBoundingClientRect().left;
    const share = (x - this.gutter) / (this.width - this.gutter);
    this.wanted(Math.round(this.from + Math.min(1, Math.max(0, share)) * (this.to - this.from)));
  }

  resize(colours) {
    this.colours = colours;
    this.scale = Math.min(2, devicePixelRatio || 1);
    this.width = this.canvas.parentElement.clientWidth;
    this.gutter = this.width < 500 ? 66 : 96;
    this.stale = true;
  }

  /** Show the whole of a take, or the part of an own one that is going on. */
  look(take, whole = true) {
    this.take = take;
    if (whole) [this.from, this.to] = [0, Math.max(LEAST_FRAMES, take.frames - 1)];
    this.stale = true;
  }

  /** Nearer (under 1) or farther, round a frame. */
  zoom(factor, frame) {
    const most = Math.max(LEAST_FRAMES, this.take.frames - 1);
    const wide = Math.min(most, Math.max(LEAST_FRAMES, (this.to - this.from) * factor));
    const from = frame - ((frame - this.from) / (this.to - this.from)) * wide;
    this.from = Math.max(0, Math.min(most - wide, from));
    this.to = this.from + wide;
    this.stale = true;
  }

  /** Keep a frame in sight. */
  follow(frame) {
    if (this.take.own) {
      const end = Math.max(frame, this.take.frames - 1);
      if (end <= this.to && frame >= this.from) return;
      const wide = Math.min(FOLLOWED, Math.max(LEAST_FRAMES, this.to - this.from));
      this.from = Math.max(0, frame - 0.8 * wide);
      this.to = this.from + wide;
      this.stale = true;
    } else if (frame < this.from || frame > this.to) {
      const wide = this.to - this.from;
      this.from = Math.max(0, Math.min(this.take.frames - 1 - wide, frame - 0.1 * wide));
      this.to = this.from + wide;
      this.stale = true;
    }
  }

  x(frame) {
    return this.gutter + ((frame - this.from) / (this.to - this.from)) * (this.width - this.gutter);
  }

  draw(frame) {
    if (this.width <= this.gutter) return; // not on the screen
    if (this.stale) this.paint();
    const x = this.x(frame);
    this.playhead.hidden = x < this.gutter - 1;
    this.playhead.style.transform = `translateX(${x}px)`; // the band itself need not be drawn again
  }

  /** Everything but the playhead. */
  paint() {
    this.stale = false;
    const { recording } = this.take;
    const spans = this.cues();
    const rows = Math.max(1, ...spans.map(span => span.row + 1));
    const { sources } = this.show;
    const below = RULER + ASKED + CUE * rows;
    const outputs = below + TRACK * sources.length;
    this.height = outputs + TRACK * recording.tracks.length + 4;
    this.canvas.width = Math.round(this.width * this.scale);
    this.canvas.height = Math.round(this.height * this.scale);
    this.canvas.style.height = `${this.height}px`;
    const pen = this.canvas.getContext("2d", { alpha: false });
    pen.setTransform(this.scale, 0, 0, this.scale, 0, 0);
    pen.font = this.colours.font;
    pen.textBaseline = "middle";
    pen.fillStyle = this.colours.card;
    pen.fillRect(0, 0, this.width, this.height);
    this.ruler(pen);
    pen.save();
    pen.beginPath();
    pen.rect(this.gutter, 0, this.width - this.gutter, this.height);
    pen.clip();
    this.asked(pen);
    for (const span of spans) this.cue(pen, span);
    sources.forEach((source, n) => this.source(pen, source, n, below + TRACK * n));
    recording.tracks.forEach((track, n) => this.track(pen, track, n, outputs + TRACK * n));
    pen.restore();
    pen.fillStyle = this.colours.ink;
    this.name(pen, "asked", RULER + ASKED / 2, this.colours.dim);
    this.name(pen, "cues", RULER + ASKED + CUE / 2, this.colours.dim);
    sources.forEach(({ name }, n) => this.name(pen, name, below + TRACK * (n + 0.5), this.colours.dim));
    recording.tracks.forEach((track, n) => this.name(pen, track.output.name, outputs + TRACK * (n + 0.5), this.colours.ink));
  }

  name(pen, text, y, colour) {
    pen.fillStyle = colour;
    pen.textAlign = "left";
    pen.fillText(text, 4, y, this.gutter - 10);
  }

  ruler(pen) {
    const perS = 1000 / this.show.frame_ms;
    const widthS = (this.width - this.gutter) / ((this.to - this.from) / perS);
    const step = STEPS_S.find(one => one * widthS >= 62) || 3600;
    pen.textAlign = "left";
    if (this.loop) {
      pen.fillStyle = this.colours.loop;
      pen.fillRect(this.x(this.loop[0]), 0, this.x(this.loop[1]) - this.x(this.loop[0]), RULER - 2);
    }
    const pegs = this.take.own ? [] : this.show.notes.flatMap(note => note.at_ms.map(at => [this.x(at / this.show.frame_ms), note.severity]));
    for (let s = Math.ceil(this.from / perS / step) * step; s * perS <= this.to; s += step) {
      const x = this.x(s * perS);
      pen.fillStyle = this.colours.line;
      pen.fillRect(x, RULER - 6, 1, this.height);
      pen.fillStyle = this.colours.dim;
      const words = step < 1 ? `${s.toFixed(1)} s` : clockOf(s);
      const end = x + 3 + pen.measureText(words).width;
      const isCovered = pegs.some(([at]) => at > x - 3 && at < end + 5); // a peg's head would lie on the words
      if (x < this.width - 40 && !isCovered) pen.fillText(words, x + 3, 9);
    }
    for (const [x, severity] of pegs) this.flag(pen, x, severity);
  }

  /** Where a finding happens: a peg through the ruler. */
  flag(pen, x, severity) {
    if (x < this.gutter) return;
    pen.fillStyle = this.colours[severity];
    pen.fillRect(x - 1, RULER - 8, 2, this.height);
    pen.beginPath();
    pen.arc(x, RULER - 9, 4, 0, 2 * Math.PI);
    pen.fill();
  }

  asked(pen) {
    let edge = -Infinity;
    const y = RULER + ASKED / 2;
    for (const [frame, requests] of [...this.take.script].sort((a, b) => a[0] - b[0])) {
      if (frame < this.from || frame > this.to) continue;
      const x = this.x(frame);
      const text = requests.filter(request => !request.startsWith("put ")).map(wordsOf).join(", ");
      if (!text) continue; // a channel has a row of its own
      const letsGo = text.startsWith("\u2191");
      pen.fillStyle = letsGo ? this.colours.dim : this.colours.ink;
      pen.fillRect(x - 0.5, letsGo ? y + 4 : y - 7, 1, letsGo ? 4 : 15);
      if (x < edge || letsGo) continue;
      pen.textAlign = "left";
      pen.fillText(text, x + 3, y);
      edge = x + 8 + pen.measureText(text).width;
    }
  }

  cue(pen, { name, row, start, end }) {
    const [x, y] = [this.x(start), RULER + ASKED + CUE * row];
    const wide = Math.max(2, this.x(end) - x);
    if (x + wide < this.gutter || x > this.width) return;
    const idle = this.show.idle.includes(name);
    pen.fillStyle = idle ? this.colours.pale : this.colours.cue;
    pen.fillRect(x, y + 1, wide, CUE - 3);
    pen.fillStyle = this.colours.edge;
    pen.fillRect(x, y + 1, 2, CUE - 3);
    const room = x + wide - Math.max(x, this.gutter) - 8;
    if (room < 14) return;
    pen.save();
    pen.beginPath();
    pen.rect(x, y, wide - 2, CUE);
    pen.clip();
    pen.fillStyle = this.colours.ink;
    pen.textAlign = "left";
    pen.fillText(name, Math.max(x, this.gutter) + 5, y + CUE / 2 - 0.5);
    pen.restore();
  }

  /** Spans in which a cue runs on any board, each in the first row that is free. */
  cues() {
    const { running, frames } = this.take.recording;
    const open = new Map();
    const found = [];
    const close = (name, end) => {
      found.push({ name, start: open.get(name), end });
      open.delete(name);
    };
    let before = "";
    for (let frame = 0; frame < frames; frame++) {
      const masks = running.map(column => column.values[frame]);
      const key = masks.join();
      if (key === before) continue;
      before = key;
      const now = new Set(
        masks.flatMap((mask, n) => this.show.boards[n].cues.filter((_, bit) => (mask >>> bit) & 1))
      );
      for (const name of [...open.keys()]) if (!now.has(name)) close(name, frame);
      for (const name of now) if (!open.has(name)) open.set(name, frame);
    }
    for (const name of [...open.keys()]) close(name, frames);
    found.sort((a, b) => a.start - b.start);
    const ends = [];
    for (const span of found) {
      let row = ends.findIndex(end => end <= span.start);
      if (row < 0) row = ends.length;
      ends[row] = span.end;
      span.row = row;
    }
    this.spans = found;
    return found;
  }

  /** A channel or a sensor: its bands as stripes, and where it stood; nothing of a channel without pulses. */
  source(pen, { kind, least, most, bands }, n, top) {
    pen.fillStyle = this.colours.line;
    pen.fillRect(0, top, this.width, 1);
    const y = value => top + TRACK - 3 - ((value - least) / (most - least)) * (TRACK - 6);
    pen.fillStyle = this.colours.pale;
    for (const { from, to } of bands) pen.fillRect(this.gutter, y(to), this.width - this.gutter, y(from) - y(to));
    const { values } = this.take.recording.sources[n];
    const last = this.take.recording.frames - 1;
    pen.fillStyle = this.colours.part;
    this.columns((x, first, end) => {
      let [low, high] = [Infinity, -Infinity];
      for (let frame = first; frame <= end; frame++) {
        if (kind === "channel" && values[frame] === 0) continue;
        [low, high] = [Math.min(low, values[frame]), Math.max(high, values[frame])];
      }
      if (low <= high) pen.fillRect(x, y(high) - 0.75, 1, y(low) - y(high) + 1.5);
    }, last);
  }

  /** `each(x, first, end)` for every column of pixels that shows frames up to the last. */
  columns(each, last) {
    const columns = Math.floor(this.width - this.gutter);
    const wide = (this.to - this.from) / columns;
    for (let x = 0; x < columns; x++) {
      const first = Math.floor(this.from + x * wide);
      if (first > last) break;
      each(this.gutter + x, first, Math.min(last, Math.max(first, Math.ceil(this.from + (x + 1) * wide))));
    }
  }

  /** One output: a curve of places, or a row of colours. */
  track(pen, track, n, top) {
    pen.fillStyle = this.colours.line;
    pen.fillRect(0, top, this.width, 1);
    const { values } = this.take.recording.columns[n];
    const last = this.take.recording.frames - 1;
    let held = null;
    this.columns((x, first, end) => {
      held = PAINT[track.kind](pen, this, track, values, first, end, x, top, held);
    }, last);
  }
}

const PAINT = {
  servo(pen, band, track, values, first, end, x, top, held) {
    let [least, most] = [65535, 0];
    for (let frame = first; frame <= end; frame++) {
      if (values[frame] === 0) continue;
      least = Math.min(least, values[frame]);
      most = Math.max(most, values[frame]);
    }
    if (most === 0) return null; // no pulses
    const { points, travel } = track.output;
    const y = pulse => {
      const share = (placeOf(points, pulse) - travel[0]) / (travel[1] - travel[0] || 1);
      return top + TRACK - 4 - share * (TRACK - 8);
    };
    const [a, b] = [y(least), y(most)];
    if (most > least) {
      pen.fillStyle = band.colours.moving;
      pen.fillRect(x, top + 1, 1, TRACK - 1);
    }
    pen.fillStyle = band.colours.part;
    pen.fillRect(x, Math.min(a, b) - 0.75, 1, Math.abs(a - b) + 1.5);
    return held;
  },
  lamp: paintLight,
  strip: paintLight,
  switch(pen, band, track, values, first, end, x, top) {
    pen.fillStyle = values[first] ? band.colours.part : band.colours.line;
    pen.fillRect(x, values[first] ? top + 6 : top + TRACK - 8, 1, values[first] ? TRACK - 12 : 2);
    return null;
  },
};

function paintLight(pen, band, track, values, first, end, x, top) {
  pen.fillStyle = css(trackColour(track, values, first));
  pen.fillRect(x, top + 3, 1, TRACK - 5);
  return null;
}

const WORDS = { lose: "remote out of reach", find: "remote back", standby: "re-arm" };

/** A request as people say it. */
export function wordsOf(request) {
  const [what, which] = request.split(" ");
  if (what === "down" || what === "close") return `\u2193${which}`;
  if (what === "up" || what === "open") return `\u2191${which}`;
  if (what === "plug" || what === "unplug") return request;
  return what === "go" ? which : WORDS[what] || what;
}

/** Minutes and seconds. */
export const clockOf = seconds =>
  seconds < 60 ? `${Math.round(seconds)} s` : `${Math.floor(seconds / 60)}:${String(Math.round(seconds % 60)).padStart(2, "0")}`;
