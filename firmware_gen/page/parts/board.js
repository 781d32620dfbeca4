// One board: the firmware's own core, compiled to WebAssembly, and its memory.

import { bytesOf } from "./packed.js";

const MODES = ["blank", "starting", "ready", "stopping", "limp"];

export class Board {
  /** `spec`: the board's entry in the page's data; `chip`: of its chip; `program`: compiled. */
  constructor(spec, chip, program) {
    this.spec = spec;
    this.core = new WebAssembly.Instance(program, {}).exports;
    this.put(this.core.page_table(), bytesOf(spec.table));
    this.put(this.core.page_pins(), bytesOf(chip.pins));
    this.core.page_start();
    const buffer = this.core.memory.buffer; // it never grows
    const count = kind => spec.outputs.filter(output => output.kind === kind).length;
    const pixels = spec.outputs.reduce((sum, output) => sum + (output.pixels || 0), 0);
    this.pulses = new Uint16Array(buffer, this.core.page_pulses(), count("servo"));
    this.duties = new Uint16Array(buffer, this.core.page_duties(), count("lamp"));
    this.pixels = new Uint8Array(buffer, this.core.page_pixels(), 3 * pixels);
    this.levels = new Uint8Array(buffer, this.core.page_levels());
  }

  put(at, bytes) {
    new Uint8Array(this.core.memory.buffer, at, bytes.length).set(bytes);
  }

  /** Bytes on its line, for the next frame. */
  hear(bytes) {
    this.put(this.core.page_line(), bytes.subarray(0, this.core.page_line_room()));
    this.core.page_receive(bytes.length);
  }

  /** Play a frame; what it said on the line meanwhile. */
  step() {
    this.core.page_frame();
    const count = this.core.page_said();
    return count ? new Uint8Array(this.core.memory.buffer, this.core.page_words(), count).slice() : null;
  }

  /** A contact of this number closes or opens. */
  contact(button, closed) {
    for (const [number, pin, activeLow] of this.spec.inputs) {
      if (number === button) this.levels[pin] = closed !== activeLow ? 1 : 0;
    }
  }

  get mode() {
    return MODES[this.core.page_mode()];
  }

  /** The cues that run: a bit for each, in the order of the table. */
  get running() {
    return this.core.page_running() >>> 0;
  }

  isOn(output) {
    return (this.levels[output.pin] === 1) === output.active_high;
  }

  /** All that the board is at this moment. */
  state() {
    return new Uint8Array(this.core.memory.buffer, 0, this.core.__heap_base.value).slice();
  }

  restore(state) {
    this.put(0, state);
  }
}
