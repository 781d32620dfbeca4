// How hard a take is that somebody presses: torque, current and voltage of what the boards are doing.
//
// The boards say which motion each servo makes; tables that came with the page say what that takes.
// Where sim.strain.torque_and_current says how these go together, the same stands here.

import { Row } from "./packed.js";

const POSITIONS = 100 * 32768; // in a degree, a millimetre or a rpm
const CLOCK_S = 256000; // of the boards' clock, in a second
const FRAME_S = 0.02;
const DEG = Math.PI / 180;

export class Efforts {
  constructor(show, tracks) {
    const { efforts } = show;
    this.tracks = tracks;
    this.margin = efforts.margin;
    this.laws = new Map(efforts.laws.map(law => [law.key.join(), rowsOf(law)]));
    this.servos = new Map(efforts.servos.map(one => [one.name, rowsOf(one)]));
    this.chains = efforts.chains.map(chain => chain && chainOf(chain));
    this.supplies = efforts.supplies.map(rowsOf);
    this.boards = new Map(efforts.boards.map(one => [one.name, one]));
    this.servoTracks = tracks.filter(track => track.kind === "servo");
  }

  /**
   * What the boards' last frame takes: by servo torque and limit as a reader is told, share and
   * current, `isKnown` false of one in a chain too long to be told, `isTracked` of one that follows
   * a source: its acceleration is that of the frame before; by supply the feed's current,
   * by board its voltage.
   */
  of(rig) {
    const seen = new Map(this.servoTracks.map(track => [track.output.name, this.seen(rig, track)]));
    const ends = new Map();
    for (const [name, one] of this.servos) if (seen.has(name)) ends.set(name, this.ends(one, seen));
    const draws = new Map([...this.boards].map(([name, board]) => [name, this.draw(rig, board, seen, ends)]));
    const volts = new Map([...this.boards].map(([name, board]) => [name, board.highest_v]));
    const amps = new Map();
    for (const supply of this.supplies) amps.set(supply.name, feed(supply, draws, this.boards, volts));
    const servos = new Map();
    for (const [name, end] of ends) servos.set(name, this.work(this.servos.get(name), seen.get(name), end, volts));
    return { servos, feeds: amps, boards: volts };
  }

  /** Place, speed and acceleration as commanded, whether it has pulses, and whether it is told to move. */
  seen(rig, track) {
    const board = rig.boards[track.board];
    const hasPower = board.pulses[track.index] > 0;
    const motion = board.motion(track.index);
    if (motion.tracked) {
      const [now, before] = [motion.speed, board.speedBefore(track.index)].map(speed => (speed * 1000) / POSITIONS);
      const isUnderWay = now !== 0 || before !== 0;
      return { place: motion.place / POSITIONS, speed: now, gain: (now - before) / FRAME_S, hasPower, isTracked: true, isUnderWay };
    }
    let [place, speed, gain] = [motion.target / POSITIONS, 0, 0];
    if (motion.moving) {
      const law = this.laws.get([motion.law, motion.alpha, motion.beta, motion.peak].join());
      const total = motion.total / CLOCK_S;
      if (motion.elapsed < 0) place -= motion.way / POSITIONS;
      else if (law && motion.elapsed < motion.total) {
        const x = motion.elapsed / motion.total;
        place -= (motion.way / POSITIONS) * (1 - law.place.along(x));
        speed = ((motion.way / POSITIONS) * law.speed.along(x)) / total;
        gain = ((motion.way / POSITIONS) * law.gain.along(x)) / total ** 2;
      }
      if (motion.left > 0) {
        const rate = ((2 * motion.residual) / POSITIONS) * (CLOCK_S / motion.brake);
        speed += (rate * motion.left) / motion.brake;
        gain -= rate * (CLOCK_S / motion.brake);
        place -= (motion.residual / POSITIONS) * (motion.left / motion.brake) ** 2;
      }
    }
    const [low, high] = track.output.travel;
    return { place: Math.max(low, Math.min(high, place)), speed, gain, hasPower, isTracked: false, isUnderWay: isUnderWay(motion) };
  }

  /** Horn torque at both ends of what the postures span; null where it cannot be told. */
  ends(one, seen) {
    const mine = seen.get(one.name);
    const [angle, speed, gain] = turning(one, mine);
    const along = (angle - one.travel[0]) / (one.travel[1] - one.travel[0] || 1);
    const chain = one.chain === null ? null : this.chains[one.chain];
    if (one.chain !== null && !chain) return null;
    const [low, high] = chain ? chain.torques(one.joint, chain.names.map(name => seen.get(name))) : [0, 0];
    const own = one.friction_nm * Math.sign(speed) + one.inertia * gain * DEG;
    const [ratio, bend] = [one.ratio.along(along), one.bend.along(along)];
    const moved = one.rotor * (ratio * gain * DEG + bend * (speed * DEG) ** 2);
    const still = [one.still_low.along(along) + low, one.still_high.along(along) + high];
    const both = still.map(end => {
      if (!mine.hasPower) return 0;
      const part = own + end;
      return part / ratio / (part * speed > 0 ? one.efficiency : 1) + moved;
    });
    return gripped(one, mine, seen, ratio, both);
  }

  draw(rig, board, seen, ends) {
    const drawn = { fixed: 0, lamps: [], servos: [] };
    if (!rig.boards.some(one => one.hasPower && one.spec.name === board.name)) return drawn;
    drawn.fixed += board.idle_a;
    for (const track of this.tracks) {
      const owner = rig.boards[track.board];
      if (owner.spec.name !== board.name) continue;
      const { name } = track.output;
      if (track.kind === "switch" && owner.isOn(track.output)) drawn.fixed += board.switches[name];
      if (track.kind === "strip") {
        const bytes = owner.pixels.subarray(track.pixels, track.pixels + 3 * track.output.pixels);
        drawn.fixed += (bytes.reduce((sum, byte) => sum + byte, 0) / 255) * board.strips[name];
      }
      if (track.kind === "lamp") {
        const lamp = board.lamps.find(one => one.name === name);
        if (lamp) drawn.lamps.push({ ...lamp, duty: owner.duties[track.index] / 65535 });
      }
      const one = this.servos.get(name);
      if (one) {
        const torque = Math.max(...(ends.get(name) || [0, 0]).map(Math.abs));
        drawn.servos.push({ one, torque, moving: isMoving(one, seen.get(name)) });
      }
    }
    return drawn;
  }

  work(one, mine, ends, boards) {
    if (!ends) return { isKnown: false };
    const volts = boards.get(one.board);
    const isStopped = one.own_contact_deg !== null && one.own_side * (mine.place - one.own_contact_deg) > 0;
    const [angle, turns] = turning(one, mine);
    const along = (angle - one.travel[0]) / (one.travel[1] - one.travel[0] || 1);
    const speed = mine.hasPower && !isStopped ? one.ratio.along(along) * turns : 0;
    const [stall, top] = [one.stall_nm, one.top_deg_s].map(row => row.along(volts / one.volts));
    const shares = ends.map(end => shareOf(stall, top, end, speed));
    const torque = shares[0] > shares[1] ? ends[0] : ends[1];
    return {
      isKnown: true,
      isTracked: mine.isTracked,
      torque: Math.abs(torque) / one.told_nm,
      limit: (stall * Math.max(1 - this.margin - Math.abs(speed) / (top || Infinity), 0)) / one.told_nm,
      share: mine.hasPower ? Math.max(...shares) : 0,
      current: currentOf(one, volts, torque, isMoving(one, mine)),
    };
  }
}

/** Of a part that turns round and round the commanded place is a speed; nobody knows its angle. */
function turning(one, { place, speed, gain }) {
  return one.spins ? [0, 6 * place, 6 * speed] : [place, speed, gain];
}

/** From a motion's start up to its end: also where a part that turns about has no speed for an instant. */
function isUnderWay({ moving, way, residual, elapsed, total, left }) {
  if (!moving || (way === 0 && residual === 0)) return false;
  return (residual !== 0 || elapsed >= 0) && (elapsed < total || left > 0);
}

const isMoving = (one, mine) => ((mine.isUnderWay || turning(one, mine)[1] !== 0) && mine.hasPower ? 1 : 0);

function gripped(one, mine, seen, ratio, ends) {
  let [own, others, stall] = [0, 0, 0];
  for (const grip of one.grips) {
    const gripper = seen.get(grip.gripper);
    if (!gripper?.hasPower || grip.side * (gripper.place - grip.contact_deg) <= 0) continue;
    if (grip.gripper === one.name) own += grip.part_nm;
    else others += grip.part_nm;
    stall += grip.stall_nm;
  }
  if (!mine.hasPower || (own + others <= 0 && stall <= 0)) return ends;
  const closes = one.own_side * Math.sign(ratio);
  if (stall > 0) return [stall * closes, stall * closes];
  const lever = Math.abs(ratio) * one.efficiency;
  const pressed = (own / lever) * closes;
  return [Math.min(...ends) + pressed - others / lever, Math.max(...ends) + pressed + others / lever];
}

function shareOf(stall, top, torque, speed) {
  const ofTorque = torque === 0 ? 0 : Math.abs(torque) / stall;
  const ofSpeed = speed === 0 ? 0 : Math.abs(speed) / top;
  const drives = (torque < 0) === (speed < 0);
  return drives ? ofTorque + ofSpeed : Math.max(ofTorque, ofSpeed);
}

function currentOf(one, volts, torque, moving) {
  const at = volts / one.volts;
  const least = one.idle_a + (one.no_load_a - one.idle_a) * moving;
  const stall = one.stall_nm.along(at);
  const share = torque === 0 ? 0 : Math.min(Math.abs(torque) / stall, 1);
  return least + Math.max(one.stall_a.along(at) - least, 0) * share;
}

/** The current of a feed, and the voltages that arrive at its boards, which it puts into `volts`. */
function feed(supply, draws, boards, volts) {
  const drawnAt = feedV => {
    let sum = 0;
    for (const name of supply.boards) {
      const board = boards.get(name);
      let [low, high] = [0, feedV];
      if (board.loop_ohm === 0) low = feedV;
      for (let n = 0; n < 14 && high - low > 1e-4; n++) {
        const middle = (low + high) / 2;
        if (feedV - board.loop_ohm * boardA(board, draws.get(name), middle) >= middle) low = middle;
        else high = middle;
      }
      volts.set(name, low);
      sum += boardA(board, draws.get(name), low);
    }
    return sum;
  };
  let [low, high] = [0, supply.open_v];
  for (let n = 0; n < 18 && high - low > 1e-4; n++) {
    const middle = (low + high) / 2;
    if (supply.feed_v.along(drawnAt(middle) / supply.most_a) >= middle) low = middle;
    else high = middle;
  }
  return drawnAt(low);
}

function boardA(board, drawn, volts) {
  let sum = drawn.fixed;
  for (const { one, torque, moving } of drawn.servos) sum += currentOf(one, volts, torque, moving);
  for (const lamp of drawn.lamps) {
    const pin = Math.max(0, Math.min(volts - board.dropout_v, board.chip_v ?? Infinity));
    sum += Math.max((lamp.from_pin ? pin : volts) - lamp.forward_v, 0) * lamp.siemens * lamp.duty;
  }
  return sum;
}

/** An object with its packed rows opened. */
function rowsOf(packed) {
  return Object.fromEntries(Object.entries(packed).map(([name, value]) => [name, value?.shares === undefined ? value : new Row(value)]));
}

function chainOf({ names, travels, poses, pairs, ...rows }) {
  const open = all => all.map(row => (Array.isArray(row) ? row.map(one => new Row(one)) : new Row(row)));
  return new Chain(names, travels, poses, pairs, Object.fromEntries(Object.entries(rows).map(([kind, all]) => [kind, open(all)])));
}

class Chain {
  constructor(names, travels, poses, pairs, rows) {
    Object.assign(this, { names, travels, poses, pairs, rows });
  }

  /** Least and greatest torque on a joint's part: what the motion of all takes, and the weight. */
  torques(joint, seen) {
    const corners = this.corners(seen);
    const of = row => corners.reduce((sum, [index, share]) => sum + share * row.at(index), 0);
    let moved = 0;
    this.rows.accelerations[joint].forEach((row, other) => {
      if (seen[other].gain !== 0) moved += seen[other].gain * of(row);
    });
    this.rows.speeds[joint].forEach((row, n) => {
      const [a, b] = this.pairs[n];
      const both = seen[a].speed * seen[b].speed;
      if (both !== 0) moved += both * of(row);
    });
    return [moved + of(this.rows.weight_low[joint]), moved + of(this.rows.weight_high[joint])];
  }

  /** The poses of the grid round a pose of all joints, and how much each counts. */
  corners(seen) {
    let found = [[0, 1]];
    seen.forEach(({ place }, n) => {
      const [from, to] = this.travels[n];
      const at = Math.max(0, Math.min(1, (place - from) / (to - from || 1))) * (this.poses - 1);
      const below = Math.min(Math.floor(at), this.poses - 2);
      found = found.flatMap(([index, share]) => [
        [index * this.poses + below, share * (1 - at + below)],
        [index * this.poses + below + 1, share * (at - below)],
      ]);
    });
    return found;
  }
}
