// The parts in space: a part stands in the frame of what carries it. Lengths are metres; x is
// forward and z up while the wearer stands upright.

import { moved, place, plus, rolled, turned } from "./space.js";

const LEVEL = { at: [0, 0, 0], x: [1, 0, 0], y: [0, 0, 1], z: [0, -1, 0] };
const UPRIGHT = { at: [0, 0, 0], x: [1, 0, 0], y: [0, 1, 0], z: [0, 0, 1] };
const BARE_M = 0.04; // how long a part is drawn of which no size is stated

/** Groups of parts that hang together, each with the views that show it. */
export function limbsOf(parts) {
  const limbs = new Map();
  const rootOf = part => (part.carrier === null ? part : rootOf(parts.find(one => one.name === part.carrier)));
  for (const part of parts) {
    const root = rootOf(part);
    if (!limbs.has(root)) limbs.set(root, []);
    limbs.get(root).push(part);
  }
  return [...limbs.values()].map(members => ({ parts: members, views: viewsOf(members) }));
}

function viewsOf([root, ...others]) {
  const main = root.upright ? "above" : "side";
  const skew = others.some(part => Math.abs(Math.sin((part.turned_deg * Math.PI) / 180)) > 0.01);
  if (!skew) return [main];
  return root.upright ? ["above", "side", "front"] : ["side", "front", "above"]; // a turned part folds across
}

/** Where each part of a limb is: its frame, that of its hinge at rest, and its carrier's. */
export function posed(parts, placeOfPart) {
  const frames = new Map();
  for (const part of parts) {
    const carrier = frames.get(part.carrier);
    const base = carrier ? onCarrier(part, carrier) : part.upright ? UPRIGHT : LEVEL;
    frames.set(part.name, { part, base, frame: brought(part, base, placeOfPart(part)) });
  }
  return frames;
}

const onCarrier = (part, { part: carrier, frame }) =>
  rolled(moved(frame, part.at_m, carrier.sense * part.ahead_deg), part.turned_deg);

/** A part's frame at one of its places; `at` is an angle, mm along its way, or turns so far. */
export function brought(part, base, at) {
  if (part.way_deg !== null) return moved(base, at / 1000, part.way_deg);
  return turned(base, part.sense * (part.spins ? at : at - part.straight_deg));
}

/** How far from its hinge a part reaches; for one that slides, how far it goes. */
export function reachOf(part) {
  const bodies = part.bodies.map(body => Math.hypot(Math.max(Math.abs(body.start_m), body.start_m + body.length_m), body.across_m / 2));
  const far = Math.max(part.tip_m, ...bodies, 0);
  return far > 0 ? far : BARE_M;
}

/** Corners of a body, in the frame of its part. */
export function corners(part, body) {
  const frame = turned({ at: [0, 0, 0], x: [1, 0, 0], y: [0, 1, 0], z: [0, 0, 1] }, part.sense * body.offset_deg);
  const found = [];
  for (const a of [body.start_m, body.start_m + body.length_m]) {
    for (const b of [-body.across_m / 2, body.across_m / 2]) {
      for (const c of [-body.along_hinge_m / 2, body.along_hinge_m / 2]) found.push(place(frame, [a, b, c]));
    }
  }
  return found;
}

/** Lean forward by so many degrees, then look: right and up on the screen, in metres. */
export function looking(view, leanDeg) {
  const [c, s] = [Math.cos((leanDeg * Math.PI) / 180), Math.sin((leanDeg * Math.PI) / 180)];
  const leant = ([x, y, z]) => [x * c + z * s, y, z * c - x * s];
  if (view === "above") return at => [leant(at)[0], leant(at)[1]];
  if (view === "front") return at => [leant(at)[1], leant(at)[2]]; // the wearer's left is on the right
  return at => [leant(at)[0], leant(at)[2]];
}

/** Where the tip of a part is, seen from its hinge along its zero line. */
export const tipOf = (part, frame) => plus(frame.at, frame.x, part.way_deg === null ? reachOf(part) : 0);
