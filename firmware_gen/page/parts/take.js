// A stretch of time from power-on: what was asked in it, and the boards at any moment of it.
//
// One rig plays ahead and is written down; another one stands where the page looks. To go back, the
// second is put to a moment that was kept, and plays on from there.

import { Recording } from "./record.js";
import { Rig } from "./rig.js";

const KEPT_EVERY = 500; // frames; that many are played anew at most

export class Take {
  constructor(show, compiled, script = [], frames = 0) {
    this.show = show;
    this.compiled = compiled;
    this.script = new Map();
    for (const [frame, request] of script) this.add(frame, request);
    this.frames = frames; // how long it is to be; an own take grows
    this.own = false;
    this.ahead = new Rig(show, compiled);
    this.view = new Rig(show, compiled);
    this.recording = new Recording(show);
    this.kept = [this.ahead.state()];
  }

  add(frame, request) {
    if (!this.script.has(frame)) this.script.set(frame, []);
    this.script.get(frame).push(request);
  }

  /** Put a channel or a sensor somewhere in a frame; the last place of a frame counts. */
  put(frame, name, value) {
    const before = (this.script.get(frame) || []).filter(request => !request.startsWith(`put ${name} `));
    this.script.set(frame, [...before, `put ${name} ${value}`]);
  }

  /** Play ahead until this many frames are written down. */
  extend(frames) {
    while (this.recording.frames < frames) {
      this.ahead.step(this.script.get(this.ahead.frame + 1));
      this.recording.take(this.ahead);
      if ((this.ahead.frame + 1) % KEPT_EVERY === 0) this.kept.push(this.ahead.state());
    }
    if (this.own) this.frames = Math.max(this.frames, frames);
  }

  /** The boards as they are in a frame, which is played if need be. */
  at(frame) {
    this.extend(frame + 1);
    this.bring(this.view, frame);
    return this.view;
  }

  /** The frame that was looked at last is played again, with other trims of its lights. */
  relight() {
    this.view.frame = Infinity;
  }

  bring(rig, frame) {
    const behind = this.kept[Math.min(this.kept.length - 1, Math.floor((frame + 1) / KEPT_EVERY))];
    if (rig.frame > frame || rig.frame < behind.frame) rig.restore(behind);
    while (rig.frame < frame) rig.step(this.script.get(rig.frame + 1));
  }

  /** The same up to a frame, to go on from there by hand. */
  branch(frame) {
    this.extend(frame + 1);
    const own = Object.create(Take.prototype);
    Object.assign(own, {
      show: this.show,
      compiled: this.compiled,
      script: new Map([...this.script].filter(([at]) => at <= frame).map(([at, all]) => [at, [...all]])),
      frames: frame + 1,
      own: true,
      ahead: new Rig(this.show, this.compiled),
      view: new Rig(this.show, this.compiled),
      recording: this.recording.copy(frame + 1),
      kept: this.kept.filter(state => state.frame <= frame),
    });
    own.bring(own.ahead, frame);
    return own;
  }
}
