// What the outputs did, frame by frame: enough for the time band. Pixels are kept as one colour.

import { ENCODED, lampColour } from "./colour.js";

class Column {
  constructor(type, width) {
    this.width = width;
    this.values = new type(1024 * width);
  }

  room(frames) {
    if (frames * this.width <= this.values.length) return;
    const larger = new this.values.constructor(2 * this.values.length);
    larger.set(this.values);
    this.values = larger;
  }

  copy(frames) {
    const copied = new Column(this.values.constructor, this.width);
    copied.values = this.values.slice(0, Math.max(1024, frames) * this.width);
    return copied;
  }
}

/** The angle (place, speed) that a pulse stands for: calibration points, straight lines between. */
export function placeOf(points, pulse) {
  const rising = points[points.length - 1][1] > points[0][1];
  let at = 1;
  while (at < points.length - 1 && (rising ? pulse > points[at][1] : pulse < points[at][1])) at++;
  const [[low, from], [high, to]] = [points[at - 1], points[at]];
  return low + ((pulse - from) / (to - from)) * (high - low);
}

export class Recording {
  constructor(show) {
    this.frames = 0;
    this.names = show.sources.map(({ name }) => name);
    this.tracks = show.boards.flatMap((board, n) => tracksOf(board, n));
    this.columns = this.tracks.map(track => new Column(TYPES[track.kind], WIDTHS[track.kind]));
    this.sources = show.sources.map(() => new Column(Uint16Array, 1));
    this.running = show.boards.map(() => new Column(Uint32Array, 1));
    this.modes = show.boards.map(() => new Column(Uint8Array, 1));
  }

  /** Write down the frame that the rig has just played. */
  take(rig) {
    const frame = rig.frame;
    for (const column of [...this.columns, ...this.sources, ...this.running, ...this.modes]) column.room(frame + 1);
    this.names.forEach((name, n) => (this.sources[n].values[frame] = rig.sources.get(name) || 0));
    this.tracks.forEach((track, n) => WRITE[track.kind](rig.boards[track.board], track, this.columns[n].values, frame));
    rig.boards.forEach((board, n) => {
      this.running[n].values[frame] = board.running;
      this.modes[n].values[frame] = board.hasPower ? board.core.page_mode() : 0;
    });
    this.frames = Math.max(this.frames, frame + 1);
  }

  /** The first frames of it. */
  copy(frames) {
    const copied = Object.create(Recording.prototype);
    const columns = row => row.map(column => column.copy(frames));
    return Object.assign(copied, {
      frames,
      names: this.names,
      tracks: this.tracks,
      sources: columns(this.sources),
      columns: columns(this.columns),
      running: columns(this.running),
      modes: columns(this.modes),
    });
  }

  /** A servo's pulse; 0: none. */
  pulse(n, frame) {
    return this.columns[n].values[frame];
  }

  /** Where a servo's part is told to be, or was when its pulses ended; null before the first. */
  place(n, frame) {
    const { values } = this.columns[n];
    let at = Math.min(frame, this.frames - 1);
    while (at >= 0 && values[at] === 0) at--;
    return at < 0 ? null : placeOf(this.tracks[n].output.points, values[at]);
  }
}

const TYPES = { servo: Uint16Array, lamp: Uint16Array, strip: Uint8Array, switch: Uint8Array };
const WIDTHS = { servo: 1, lamp: 1, strip: 3, switch: 1 };

function tracksOf(board, number) {
  const seen = { servo: 0, lamp: 0, strip: 0, switch: 0 };
  let pixels = 0;
  return board.outputs.map(output => {
    const track = { kind: output.kind, output, board: number, index: seen[output.kind]++, pixels };
    pixels += 3 * (output.pixels || 0);
    return track;
  });
}

const WRITE = {
  servo: (board, track, values, frame) => (values[frame] = board.pulses[track.index]),
  lamp: (board, track, values, frame) => (values[frame] = board.duties[track.index]),
  switch: (board, track, values, frame) => (values[frame] = board.isOn(track.output) ? 1 : 0),
  strip(board, track, values, frame) {
    const { pixels, order } = track.output;
    const sums = [0, 0, 0];
    for (let at = track.pixels; at < track.pixels + 3 * pixels; at += 3) {
      for (let n = 0; n < 3; n++) sums[order[n]] += board.pixels[at + n];
    }
    for (let n = 0; n < 3; n++) values[3 * frame + n] = Math.round(sums[n] / pixels);
  },
};

/** Colour of a light's track in a frame, as it stands on the screen. */
export function trackColour(track, values, frame) {
  if (track.kind === "lamp") return lampColour(values[frame], track.output.tint);
  return [0, 1, 2].map(n => ENCODED[values[3 * frame + n]]);
}
