// One board: the firmware's own core, compiled to WebAssembly, and its memory.

import { bytesOf } from "./packed.js";

// of struct bc_motion (core/bc_servo.h), in its order
const MOTION = ["moving", "tracked", "law", "alpha", "beta", "peak", "target", "way", "elapsed", "total", "residual", "left", "brake", "place", "speed"];
const MODES = ["blank", "starting", "ready", "stopping", "limp"];

export class Board {
  /** `spec`: the board's entry in the page's data; `chip`: of its chip; `program`: compiled. */
  constructor(spec, chip, program) {
    this.spec = spec;
    this.core = new WebAssembly.Instance(program, {}).exports;
    this.put(this.core.page_table(), bytesOf(spec.trial ? spec.trial.table : spec.table));
    this.put(this.core.page_pins(), bytesOf(chip.pins));
    this.core.page_start();
    const buffer = this.core.memory.buffer; // it never grows
    const count = kind => spec.outputs.filter(output => output.kind === kind).length;
    const pixels = spec.outputs.reduce((sum, output) => sum + (output.pixels || 0), 0);
    this.pulses = new Uint16Array(buffer, this.core.page_pulses(), count("servo"));
    this.duties = new Uint16Array(buffer, this.core.page_duties(), count("lamp"));
    this.pixels = new Uint8Array(buffer, this.core.page_pixels(), 3 * pixels);
    this.levels = new Uint8Array(buffer, this.core.page_levels());
    this.motions = new Int32Array(buffer, this.core.page_motions(), MOTION.length * count("servo"));
    this.speedsBefore = new Int32Array(buffer, this.core.page_speeds_before(), count("servo"));
    this.hasPower = true;
    this.retrim();
    this.fresh = this.memory();
  }

  /** Trims of lights that are tried come into the table that it plays; nothing but the light changes. */
  retrim() {
    for (const [at, byte] of this.spec.trial?.bytes || []) this.put(this.core.page_table() + at, [byte]);
  }

  put(at, bytes) {
    new Uint8Array(this.core.memory.buffer, at, bytes.length).set(bytes);
  }

  /** Its part is unplugged or plugged in again: then the board begins as at power-on. */
  power(on) {
    if (on === this.hasPower) return;
    this.hasPower = on;
    if (on) this.put(0, this.fresh), this.retrim();
    else for (const outputs of [this.pulses, this.duties, this.pixels, this.levels]) outputs.fill(0);
  }

  /** Bytes on the line from the board that leads. */
  hearLeader(bytes) {
    if (!this.hasPower) return;
    this.put(this.core.page_wire(), bytes.subarray(0, this.core.page_wire_room()));
    this.core.page_hear(bytes.length);
  }

  /** What a board that leads has told after its last frame. */
  told() {
    const count = this.core.page_tells();
    return count ? new Uint8Array(this.core.memory.buffer, this.core.page_told(), count).slice() : null;
  }

  /** Bytes on its line, for the next frame. */
  hear(bytes) {
    if (!this.hasPower) return;
    this.put(this.core.page_line(), bytes.subarray(0, this.core.page_line_room()));
    this.core.page_receive(bytes.length);
  }

  /** Play a frame; what it said on the line meanwhile. */
  step() {
    if (!this.hasPower) return null;
    this.core.page_frame();
    const count = this.core.page_said();
    return count ? new Uint8Array(this.core.memory.buffer, this.core.page_words(), count).slice() : null;
  }

  /** A contact of this number closes or opens. */
  contact(button, closed) {
    if (!this.hasPower) return;
    for (const [number, pin, activeLow] of this.spec.inputs) {
      if (number === button) this.levels[pin] = closed !== activeLow ? 1 : 0;
    }
  }

  /** What its channels give from the next frame on, ticks by name, 0: no pulses; and what its sensors read. */
  receive(sources) {
    if (!this.hasPower) return;
    this.spec.channels.forEach((name, n) => this.core.page_channel(n, sources.get(name) || 0));
    this.spec.sensors.forEach((name, n) => this.core.page_voltage(n, sources.get(name) || 0));
  }

  /** What a servo did in the last frame, in the core's own units. */
  motion(servo) {
    return Object.fromEntries(MOTION.map((field, n) => [field, this.motions[MOTION.length * servo + n]]));
  }

  /** The speed of one that follows, in the frame before. */
  speedBefore(servo) {
    return this.speedsBefore[servo];
  }

  get mode() {
    return this.hasPower ? MODES[this.core.page_mode()] : "unplugged";
  }

  /** The cues that run: a bit for each, in the order of the table. */
  get running() {
    return this.hasPower ? this.core.page_running() >>> 0 : 0;
  }

  isOn(output) {
    return this.hasPower && (this.levels[output.pin] === 1) === output.active_high;
  }

  /** All that the board is at this moment. */
  state() {
    return { hasPower: this.hasPower, memory: this.memory() };
  }

  memory() {
    return new Uint8Array(this.core.memory.buffer, 0, this.core.__heap_base.value).slice();
  }

  restore({ hasPower, memory }) {
    this.hasPower = hasPower;
    this.put(0, memory);
    this.retrim();
  }
}
