// Where each limb is drawn: all in one scale, as large as the room allows.

import { corners, looking, posed, reachOf, tipOf } from "./creature.js";
import { place } from "./space.js";

const POSES = 48; // in which it is looked how far a limb reaches
// px between views: half of it holds what is drawn in pixels past the end of a limb (lamps, weights, hinges)
export const GAP = 18;
const LABEL = 18; // room under each for its name, px
const NARROWEST = 60; // px for a view, so that its name finds room
const LARGEST = 4000; // px for a metre
const LEAST_M = 0.02;

/** The room of each view of each limb, and the scale (px for a metre) in which they all fit. */
export function laidOut(limbs, tiltDeg, width, height) {
  const views = limbs.flatMap(limb => limb.views.map(view => ({ limb, view, ...extent(limb, view, tiltDeg) })));
  let [small, large] = [1, LARGEST];
  for (let n = 0; n < 24; n++) {
    const middle = (small + large) / 2;
    if (shelved(views, middle, width) <= height) small = middle;
    else large = middle;
  }
  const used = shelved(views, small, width);
  return { views, scale: small, used };
}

/** Put the views on shelves from the left; how high all of them are together. */
function shelved(views, scale, width) {
  let [x, top, tallest, row] = [0, 0, 0, []];
  const end = () => {
    const spare = (width - x + GAP) / 2;
    for (const one of row) Object.assign(one, { left: one.left + spare, shelf: tallest });
    [x, top, tallest, row] = [0, top + tallest + LABEL + GAP, 0, []];
  };
  for (const one of views) {
    const wide = Math.max(scale * (one.right_m - one.left_m), NARROWEST);
    const high = scale * (one.up_m - one.down_m);
    if (wide > width) return Infinity;
    if (x + wide > width) end();
    Object.assign(one, { left: x, top, wide, high });
    x += wide + GAP;
    tallest = Math.max(tallest, high);
    row.push(one);
  }
  end();
  return top;
}

/** How far a limb with its lights reaches in a view, metres, over its whole travel and all ways to lean. */
function extent(limb, view, tiltDeg) {
  const found = { left_m: -LEAST_M, right_m: LEAST_M, down_m: -LEAST_M, up_m: LEAST_M };
  for (let n = 0; n < POSES; n++) {
    const frames = posed(limb.parts, part => chosen(part, n, limb.parts.indexOf(part)));
    for (const lean of tiltDeg > 0 ? [-tiltDeg, 0, tiltDeg] : [0]) {
      const look = looking(view, lean);
      for (const { part, frame, base } of frames.values()) {
        const places = [frame.at, base.at, tipOf(part, frame)];
        for (const body of part.bodies) places.push(...corners(part, body).map(one => place(frame, one)));
        places.push(...(part.lights || []).map(far => place(frame, [far, 0, 0])));
        if (part.spins) places.push(...round(base, reachOf(part)));
        for (const [right, up] of places.map(look)) widen(found, right, up);
      }
    }
  }
  return found;
}

/** The first poses are the ends of all travels and all straight; the others lie anywhere (a row of low discrepancy). */
function chosen(part, n, index) {
  if (part.spins) return 0;
  if (n === 2 && part.way_deg === null) return Math.max(part.travel[0], Math.min(part.travel[1], part.straight_deg));
  const share = n < 2 ? n : (n * 0.618034 * (index + 1) + 0.1 * index) % 1;
  return part.travel[0] + share * (part.travel[1] - part.travel[0]);
}

const round = (base, reach) => [[1, 0], [-1, 0], [0, 1], [0, -1]].map(([a, b]) => place(base, [a * reach, b * reach, 0]));

function widen(found, right, up) {
  found.left_m = Math.min(found.left_m, right);
  found.right_m = Math.max(found.right_m, right);
  found.down_m = Math.min(found.down_m, up);
  found.up_m = Math.max(found.up_m, up);
}
