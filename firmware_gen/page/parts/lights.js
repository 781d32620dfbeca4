// Lamps, strips and switches, in the colours that they have. Dark until somebody asks for them.

import { css, lampColour, pixelColour } from "./colour.js";

const LAMP = 40; // px across
const ROW = 56; // px for a lamp or a strip with its name
const NAMES = 14;

export class Lights {
  constructor(canvas, tracks) {
    this.canvas = canvas;
    this.tracks = tracks.filter(track => track.kind !== "servo");
    this.lamps = this.tracks.filter(track => track.kind !== "strip");
    this.strips = this.tracks.filter(track => track.kind === "strip");
    this.shown = false;
  }

  resize({ font }) {
    this.font = font;
    this.scale = Math.min(2, devicePixelRatio || 1);
    this.width = this.canvas.parentElement.clientWidth;
    this.across = Math.max(1, Math.floor(this.width / 90));
    this.lampRows = Math.ceil(this.lamps.length / this.across);
    let top = ROW * this.lampRows + (this.lampRows ? 12 : 6);
    this.places = this.strips.map(track => {
      const place = { top, ...stripSize(track.output.pixels, this.width - 16) };
      top += NAMES + place.rows * place.pitch + 8;
      return place;
    });
    this.height = top + 6;
    this.canvas.style.height = `${this.height}px`;
    this.canvas.width = Math.round(this.width * this.scale);
    this.canvas.height = Math.round(this.height * this.scale);
    this.before = new Map(); // what is drawn, by lamp or pixel
  }

  /** Only what has changed is drawn. */
  draw(rig) {
    if (!this.tracks.length) return;
    const pen = this.canvas.getContext("2d", { alpha: false });
    pen.setTransform(this.scale, 0, 0, this.scale, 0, 0);
    pen.font = this.font;
    if (!this.before.size) {
      pen.fillStyle = "#0b0c10";
      pen.fillRect(0, 0, this.width, this.height);
    }
    this.lamps.forEach((track, n) => {
      const board = rig.boards[track.board];
      const state = track.kind === "switch" ? board.isOn(track.output) : board.duties[track.index];
      if (this.changed(`lamp ${n}`, `${state} ${this.shown}`)) this.lamp(pen, rig, track, n);
    });
    this.strips.forEach((track, n) => this.strip(pen, rig, track, this.places[n], n));
  }

  changed(what, state) {
    if (this.before.get(what) === state) return false;
    this.before.set(what, state);
    return true;
  }

  lamp(pen, rig, track, n) {
    const wide = this.width / Math.min(this.across, this.lamps.length);
    const x = (n % this.across) * wide + wide / 2;
    const y = 8 + Math.floor(n / this.across) * ROW + LAMP / 2;
    const board = rig.boards[track.board];
    pen.fillStyle = "#0b0c10";
    pen.fillRect(x - wide / 2, y - LAMP / 2, wide, ROW - 2);
    pen.beginPath();
    if (track.kind === "switch") {
      pen.rect(x - 14, y - 10, 28, 20);
      pen.fillStyle = board.isOn(track.output) ? "#cfd6df" : "#0b0c10";
    } else {
      pen.arc(x, y, LAMP / 2 - 3, 0, 2 * Math.PI);
      pen.fillStyle = this.shown ? css(lampColour(board.duties[track.index], track.output.tint)) : "#0b0c10";
    }
    pen.fill();
    pen.strokeStyle = "#5b6270";
    pen.stroke();
    pen.fillStyle = "#a9b1bf";
    pen.textAlign = "center";
    const state = track.kind === "switch" ? (board.isOn(track.output) ? " on" : " off") : "";
    pen.fillText(track.output.name + state, x, y + LAMP / 2 + 12, wide - 4);
  }

  strip(pen, rig, track, { top, pitch, across }, strip) {
    const { pixels, order, name } = track.output;
    if (this.changed(`strip ${strip}`, name)) {
      pen.fillStyle = "#a9b1bf";
      pen.textAlign = "left";
      pen.fillText(`${name}, ${pixels} pixels`, 8, top + 10);
    }
    const bytes = rig.boards[track.board].pixels;
    const size = Math.max(1.5, pitch - (pitch > 5 ? 1.5 : 0.5));
    for (let n = 0; n < pixels; n++) {
      const colour = this.shown ? css(pixelColour(bytes, track.pixels + 3 * n, order)) : "#1a1d24";
      if (!this.changed(1000 * strip + n, colour)) continue;
      const x = 8 + (n % across) * pitch;
      const y = top + NAMES + Math.floor(n / across) * pitch;
      pen.fillStyle = colour;
      pen.fillRect(x, y, size, Math.min(size, 22));
    }
  }
}

/** A strip in one row if its pixels then are large enough to be told apart, else in several. */
function stripSize(pixels, width) {
  const rows = Math.max(1, Math.ceil((pixels * 6) / width));
  const across = Math.ceil(pixels / rows);
  return { rows, across, pitch: Math.min(24, width / across) };
}
