// The drawing of the parts: a sheet on which each limb stands in true proportion.

import { css, lampColour, pixelColour } from "./colour.js";
import { brought, corners, limbsOf, looking, posed, reachOf, tipOf } from "./creature.js";
import { GAP, laidOut } from "./layout.js";
import { hull, place, turned } from "./space.js";

const SEGMENTS = 24; // of a shaded travel
const VIEWS = { side: "from the side", above: "from above", front: "from the front" };
const TOP = 8; // above the first shelf, px
const LABEL_BELOW = GAP / 2 + 9; // clear of what moves
const MARGINS = 36; // above, and below for the scale bar, px
const LEAST = 190; // px in height
const SMALLEST = 84; // px for a view and its name
const PADDING = 8; // of the section, px
const BAR_M = [0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1];

/** How far from the hinge a light begins and ends. */
const beginOf = (part, kind, { at_m: at }) => at ?? (kind === "lamp" ? reachOf(part) : 0);
const endOf = (part, { kind, output }) =>
  beginOf(part, kind, output) + (kind === "lamp" ? 0 : (output.pixels - 1) * output.pitch_m);

export class Stage {
  /**
   * `parts` are those of the page's data. What stands (names, travels) is drawn once, on a ground
   * that is no part of the page: what moves is drawn over a copy of its place there. So the sheet
   * is one layer without anything to see through, which costs a browser far less than two.
   */
  constructor(canvas, parts, tiltDeg, tracks) {
    this.riders = tracks.filter(track => track.output.on); // lights that sit on parts
    for (const part of parts) part.lights = this.riders.filter(one => one.output.on === part.name).map(one => endOf(part, one));
    this.canvas = canvas;
    this.ground = document.createElement("canvas");
    this.limbs = limbsOf(parts);
    this.tiltDeg = tiltDeg;
    this.leanDeg = 0;
    this.showHardest = false;
  }

  resize(colours) {
    this.scale = Math.min(2, devicePixelRatio || 1);
    this.width = this.canvas.parentElement.clientWidth - 2 * PADDING;
    const views = this.limbs.reduce((sum, limb) => sum + limb.views.length, 0);
    const rows = Math.ceil(views / Math.max(1, Math.floor(this.width / SMALLEST)));
    const most = Math.max(LEAST, rows * SMALLEST, innerHeight * (innerWidth < innerHeight ? 0.68 : 0.56));
    this.layout = laidOut(this.limbs, this.tiltDeg, this.width - 16, most - MARGINS);
    this.height = this.limbs.length ? Math.round(this.layout.used + MARGINS) : 0;
    this.canvas.style.height = `${this.height}px`;
    for (const canvas of [this.canvas, this.ground]) {
      canvas.width = Math.round(this.width * this.scale);
      canvas.height = Math.round(this.height * this.scale);
    }
    this.colours = colours;
    this.stale = true;
  }

  /**
   * `places`: by part, {at, limp}: where it is told to be. Only limbs that have moved, or on which
   * lights sit, are drawn. `shown`: whether lights are.
   */
  draw(places, rig, shown) {
    Object.assign(this, { rig, shown });
    if (!this.canvas.width || !this.canvas.height) return; // no parts, or not on the screen
    const pen = this.penOf(this.canvas);
    const ground = this.stale ? this.penOf(this.ground) : null;
    if (ground) {
      ground.fillStyle = this.colours.card;
      ground.fillRect(0, 0, this.width, this.height);
      this.bar(ground);
    }
    for (const limb of this.limbs) {
      const now = limb.parts.map(part => `${places.get(part.name).at} ${places.get(part.name).limp}`).join();
      const lit = this.riders.some(({ output }) => limb.parts.some(part => part.name === output.on));
      limb.moved = ground !== null || lit || now !== limb.before;
      limb.before = now;
      if (limb.moved) limb.frames = posed(limb.parts, part => places.get(part.name).at);
    }
    if (ground) {
      for (const view of this.layout.views) this.standing(ground, view);
      this.lay(pen, 0, 0, this.canvas.width, this.canvas.height);
    }
    for (const view of this.layout.views) if (view.limb.moved) this.moving(pen, view, places, ground !== null);
    this.stale = false;
  }

  penOf(canvas) {
    const pen = canvas.getContext("2d", { alpha: false });
    pen.setTransform(this.scale, 0, 0, this.scale, 0, 0);
    pen.lineJoin = pen.lineCap = "round";
    pen.font = this.colours.font;
    return pen;
  }

  /** From a place in space to one on the sheet. */
  putting(view) {
    const { scale } = this.layout;
    const look = looking(view.view, this.leanDeg);
    const left = 8 + view.left + (view.wide - scale * (view.right_m - view.left_m)) / 2 - scale * view.left_m;
    const level = TOP + view.top + scale * view.up_m + (view.shelf - view.high) / 2;
    return at => {
      const [right, up] = look(at);
      return [left + scale * right, level - scale * up];
    };
  }

  /** What stands: the view's name, and what the costume carries may go through. */
  standing(pen, view) {
    const put = this.putting(view);
    const [root] = view.limb.frames.values();
    this.travel(pen, put, root);
    pen.fillStyle = this.colours.dim;
    pen.textAlign = "center";
    const { name } = root.part;
    const [first] = view.limb.views;
    const several = view.limb.views.length > 1 || first === "above";
    const whole = several ? `${name}, ${VIEWS[view.view]}` : name;
    const short = view.view === first ? name : VIEWS[view.view]; // its limb's first view names it
    const label = pen.measureText(whole).width <= view.wide + 8 ? whole : short;
    pen.fillText(label, 8 + view.left + view.wide / 2, TOP + view.top + view.shelf + LABEL_BELOW, view.wide + 8);
  }

  /** Put the ground there, in pixels of the canvas, in the place of what was drawn over it. */
  lay(pen, x, y, wide, high) {
    pen.save();
    pen.setTransform(1, 0, 0, 1, 0, 0);
    pen.drawImage(this.ground, x, y, wide, high, x, y, wide, high);
    pen.restore();
  }

  moving(pen, view, places, isLaid) {
    const put = this.putting(view);
    const [root, ...others] = view.limb.frames.values();
    if (!isLaid) {
      const near = [8 + view.left - GAP / 2, TOP + view.top - GAP / 2].map(at => Math.max(0, Math.floor(at * this.scale)));
      const far = [8 + view.left + view.wide + GAP / 2, TOP + view.top + view.shelf + GAP / 2].map(at => Math.ceil(at * this.scale));
      const size = [Math.min(far[0], this.canvas.width) - near[0], Math.min(far[1], this.canvas.height) - near[1]];
      this.lay(pen, ...near, ...size);
    }
    for (const one of others) this.travel(pen, put, one);
    if (this.showHardest) for (const one of [root, ...others]) this.hardest(pen, put, one);
    for (const one of [root, ...others]) this.part(pen, put, one, places.get(one.part.name).limp);
    for (const one of [root, ...others]) {
      for (const track of this.riders) if (track.output.on === one.part.name) this.light(pen, put, one, track);
    }
    if (others.length && view.view === view.limb.views[0]) {
      const left = 8 + view.left - GAP / 2;
      this.names(pen, put, others, [left, TOP + view.top - GAP / 2, left + view.wide + GAP]);
    }
  }

  /** A lamp or a strip along the part that carries it. */
  light(pen, put, { part, frame }, { kind, output, board, index, pixels }) {
    const from = beginOf(part, kind, output);
    const { duties, pixels: bytes } = this.rig.boards[board];
    const count = kind === "lamp" ? 1 : output.pixels;
    const radius = kind === "lamp" ? 6 : Math.max(2, Math.min(6, 0.4 * output.pitch_m * this.layout.scale));
    const at = n => put(place(frame, [from + n * (output.pitch_m || 0), 0, 0]));
    pen.strokeStyle = "#0b0c10"; // what carries the lights
    pen.lineWidth = 2 * radius + 3;
    pen.beginPath();
    pen.moveTo(...at(0));
    pen.lineTo(...at(count - 1));
    pen.stroke();
    for (let n = 0; n < count; n++) {
      const colour = kind === "lamp" ? lampColour(duties[index], output.tint) : pixelColour(bytes, pixels + 3 * n, output.order);
      pen.fillStyle = this.shown ? css(colour) : "#1a1d24";
      pen.beginPath();
      pen.arc(...at(n), radius, 0, 2 * Math.PI);
      pen.fill();
    }
  }

  /** Names of the parts that others carry, within the room of the view. */
  names(pen, put, frames, [left, top, right]) {
    pen.textAlign = "left";
    pen.fillStyle = this.colours.dim;
    for (const { part, frame } of frames) {
      const [x, y] = put(tipOf(part, frame));
      const wide = pen.measureText(part.name).width;
      const at = [Math.max(left + 2, Math.min(right - wide - 2, x + 7)), Math.max(top + 11, y - 7)];
      pen.strokeStyle = this.colours.card;
      pen.lineWidth = 3;
      pen.strokeText(part.name, ...at);
      pen.fillText(part.name, ...at);
    }
  }

  /** The travel, darker where the part is harder to hold. */
  travel(pen, put, { part, base }) {
    const [low, high] = part.travel;
    if (part.spins || (part.way_deg === null && high - low >= 360)) return this.ring(pen, put, part, base);
    const reach = 0.96 * reachOf(part);
    const at = n => low + (n / SEGMENTS) * (high - low);
    const edge = n => put(place(brought(part, base, at(n)), [part.way_deg === null ? reach : 0, 0, 0]));
    const hinge = put(base.at);
    for (let n = 0; n < SEGMENTS; n++) {
      const share = this.share(part, (n + 0.5) / SEGMENTS);
      pen.globalAlpha = 0.1 + 0.5 * Math.min(1, share);
      pen.fillStyle = pen.strokeStyle = share > 1 ? this.colours.bad : this.colours.reach;
      pen.beginPath();
      if (part.way_deg !== null) {
        pen.lineWidth = 12;
        pen.lineCap = "butt";
        pen.moveTo(...edge(n));
        pen.lineTo(...edge(n + 1));
        pen.stroke();
        pen.lineCap = "round";
      } else {
        pen.moveTo(...hinge);
        pen.lineTo(...edge(n));
        pen.lineTo(...edge(n + 1));
        pen.closePath();
        pen.fill();
      }
    }
    pen.globalAlpha = 1;
  }

  ring(pen, put, part, base) {
    pen.strokeStyle = this.colours.reach;
    pen.globalAlpha = 0.35;
    pen.lineWidth = 2;
    pen.beginPath();
    for (let n = 0; n <= 48; n++) pen.lineTo(...put(place(turned(base, 7.5 * n), [reachOf(part), 0, 0])));
    pen.stroke();
    pen.globalAlpha = 1;
  }

  /** How hard the pose at a share of the travel is to hold, for the present lean. */
  share(part, along) {
    if (!part.held) return 0;
    const { leans_deg: leans, shares } = part.held;
    const lean = Math.abs(this.leanDeg);
    let row = leans.findIndex(one => one >= lean - 1e-9);
    if (row < 0) row = leans.length - 1;
    return shares[row][Math.round(along * (shares[row].length - 1))];
  }

  /** The pose that is hardest to hold: its place and share. */
  hardestOf(part) {
    if (!part.held) return null;
    const { poses } = part.held;
    const shares = poses.map((_, n) => this.share(part, n / (poses.length - 1)));
    const n = shares.indexOf(Math.max(...shares));
    return { at: poses[n], share: shares[n], limit: part.held.limit };
  }

  hardest(pen, put, { part, base }) {
    const found = this.hardestOf(part);
    if (!found || found.share < 0.001) return;
    pen.save();
    pen.setLineDash([3, 4]);
    pen.strokeStyle = found.share > 1 ? this.colours.bad : this.colours.ink;
    pen.lineWidth = 1;
    this.outline(pen, put, part, brought(part, base, found.at), false);
    pen.restore();
  }

  part(pen, put, { part, base, frame }, limp) {
    pen.globalAlpha = limp ? 0.45 : 1;
    pen.strokeStyle = this.colours.part;
    pen.fillStyle = this.colours.fill;
    pen.lineWidth = 2;
    if (limp) pen.setLineDash([5, 4]);
    this.outline(pen, put, part, frame, true);
    pen.setLineDash([]);
    pen.globalAlpha = 1;
    if (part.way_deg === null) this.hinge(pen, put(base.at));
    else this.slider(pen, put(frame.at));
  }

  slider(pen, [x, y]) {
    pen.fillStyle = this.colours.part;
    pen.fillRect(x - 8, y - 8, 16, 16);
    pen.fillStyle = this.colours.card;
    pen.fillRect(x - 2, y - 2, 4, 4);
  }

  outline(pen, put, part, frame, filled) {
    const [hinge, tip] = [put(frame.at), put(tipOf(part, frame))];
    pen.beginPath();
    pen.moveTo(...hinge);
    pen.lineTo(...tip);
    pen.stroke();
    for (const body of part.bodies) {
      const points = corners(part, body).map(one => put(place(frame, one)));
      if (body.kind === "weight") {
        pen.beginPath();
        pen.arc(...points[0], 6, 0, 2 * Math.PI);
      } else {
        pen.beginPath();
        for (const point of hull(points)) pen.lineTo(...point);
        pen.closePath();
      }
      if (filled) pen.fill();
      pen.stroke();
    }
  }

  hinge(pen, [x, y]) {
    pen.beginPath();
    pen.arc(x, y, 4.5, 0, 2 * Math.PI);
    pen.fillStyle = this.colours.paper;
    pen.fill();
    pen.strokeStyle = this.colours.ink;
    pen.lineWidth = 1.5;
    pen.stroke();
    pen.beginPath();
    pen.arc(x, y, 1.2, 0, 2 * Math.PI);
    pen.fillStyle = this.colours.ink;
    pen.fill();
  }

  /** A scale bar, and which way is down for a wearer who leans. */
  bar(pen) {
    if (!this.limbs.length) return;
    const { scale } = this.layout;
    const length = BAR_M.find(one => one * scale >= 50) || BAR_M[BAR_M.length - 1];
    const y = this.height - 12;
    pen.strokeStyle = pen.fillStyle = this.colours.dim;
    pen.lineWidth = 1;
    pen.beginPath();
    pen.moveTo(12, y - 4);
    pen.lineTo(12, y);
    pen.lineTo(12 + length * scale, y);
    pen.lineTo(12 + length * scale, y - 4);
    pen.stroke();
    pen.textAlign = "left";
    pen.fillText(`${Math.round(length * 1000)} mm`, 18 + length * scale, y);
  }
}
