// The page: time goes on, the boards play, and all of it is drawn.

import { Band, clockOf, wordsOf } from "./band.js";
import { keysOf, listen } from "./keys.js";
import { Lights } from "./lights.js";
import { listNotes } from "./notes.js";
import { Readings } from "./readings.js";
import { Remote } from "./remote.js";
import { Plugs } from "./plugs.js";
import { Sticks } from "./sticks.js";
import { programs } from "./rig.js";
import { Stage } from "./stage.js";
import { Take } from "./take.js";
import { Trims } from "./trims.js";
import { placeOf } from "./record.js";

const COLOURS = ["paper", "card", "ink", "dim", "line", "part", "fill", "reach", "cue", "edge", "pale", "moving", "mark", "loop", "bad", "error", "warning", "advice"];
const LONGEST_OWN = 180000; // frames, an hour
const READ_MS = 100; // between two changes of the figures
const STEP_MS = 500; // between two pictures, in steps
const BAND_MS = 200; // between two drawings of an own take's band
const AHEAD = 3000; // frames of a rehearsal played before the first picture
const AHEAD_MS = 10; // for playing ahead between two pictures
const AHEAD_BAND_MS = 700; // between two drawings of its band meanwhile

const STARTING = "starting";
const NOT_YET = "begins no cue yet";

const byId = id => document.getElementById(id);
const show = JSON.parse(byId("data").textContent);
const compiled = await programs(show);

let rehearsal = new Take(show, compiled, show.rehearsal.script, show.rehearsal.frames);
let take = rehearsal;
let now = 0; // in frames
let runs = false;
let loops = null;
let before = 0; // stamps of what was done last
let read = -Infinity;
let drawn = -Infinity;
let painted = 0;
let dirty = true;
let told = "";

let stage, lights, readings, remote, sticks, keys, plugs;
const band = new Band(byId("band"), byId("playhead"), show, frame => seek(frame));

export const trims = new Trims(byId("trims"), tryTrims);

/** Everything that is made of the show; made again when it is another one. */
function furnish() {
  const { tracks } = rehearsal.recording;
  const rows = document.querySelector("#readings tbody");
  for (const node of [rows, byId("feeds"), byId("presses"), byId("sticks"), byId("plugs")]) node.replaceChildren();
  stage = new Stage(byId("stage"), show.parts, show.tilt_deg, tracks);
  lights = new Lights(byId("lamps"), tracks);
  lights.shown = !show.hard_on_eyes;
  readings = new Readings(rows, byId("feeds"), show, tracks);
  keys = keysOf(show.buttons);
  remote = new Remote(byId("presses"), show, keys, ask);
  sticks = new Sticks(byId("sticks"), show, putSource);
  plugs = new Plugs(byId("plugs"), show, ask);
  byId("lost").textContent = show.lost_ms ? `silence of ${show.lost_ms / 1000} s starts its cue` : "the boards hear nothing";
  byId("lean").min = -show.tilt_deg;
  byId("lean").max = show.tilt_deg;
  byId("leaning").hidden = show.tilt_deg === 0;
  byId("postures").hidden = !show.parts.length;
  byId("lamps").hidden = !lights.tracks.length;
  byId("caution").hidden = !show.lit;
  byId("cover").hidden = !show.hard_on_eyes;
  listNotes(byId("notes"), show.notes, rehearsed);
  leaned();
  fit();
}

/** The same rig with another score: time goes on where it is, and so does one's own take. */
export function renew(data) {
  remote.releaseAll();
  Object.assign(show, data);
  trims.renew(show);
  replay();
  loop(false);
  now = Math.min(now, take.frames - 1);
  band.look(take, !take.own);
  furnish();
}

/** Both takes anew, by what the boards have now. */
function replay() {
  rehearsal = new Take(show, compiled, show.rehearsal.script, show.rehearsal.frames); // played ahead by and by
  if (!take.own) return (take = rehearsal);
  const { frames, script } = take;
  take = new Take(show, compiled);
  for (const [frame, requests] of script) for (const request of requests) take.add(frame, known(request));
  take.own = true;
  take.extend(frames);
}

/** Lights are trimmed by eye: the frame at once, the rest of the take when the slider rests. */
function tryTrims(settled) {
  if (trims.apply() || settled) {
    replay();
    band.look(take, false);
  } else take.relight();
  dirty = true;
}

/** A request, or, if the show has no such cue or button any more, one that does nothing. */
const known = request => (/^(down|up|go)/.test(request) && !(request in show.sayings) ? "beacon" : request);

// -- time ------------------------------------------------------------------------------------

function tick(stamp) {
  const passed = Math.min(250, stamp - before); // a page that slept does not catch up
  before = stamp;
  if (runs) {
    const seen = Math.floor(now);
    now += (passed / show.frame_ms) * Number(byId("pace").value);
    if (loops && now >= loops[1]) now = loops[0];
    const last = take.own ? LONGEST_OWN : take.frames - 1;
    if (now >= last) {
      now = last;
      run(false);
    }
    if (Math.floor(now) !== seen) dirty = true; // between two frames of the boards nothing changes
  }
  if (rehearsal.recording.frames < rehearsal.frames) playAhead(stamp);
  if (dirty && (!byId("steps").checked || !runs || stamp - drawn >= STEP_MS)) {
    drawn = stamp;
    draw(stamp);
  }
  requestAnimationFrame(tick);
}

/** A long rehearsal is written down piece by piece, while the page can be used already. */
function playAhead(stamp) {
  const end = performance.now() + AHEAD_MS;
  do {
    rehearsal.extend(Math.min(rehearsal.frames, rehearsal.recording.frames + 100));
  } while (performance.now() < end && rehearsal.recording.frames < rehearsal.frames);
  if (take.own || (stamp - painted < AHEAD_BAND_MS && rehearsal.recording.frames < rehearsal.frames)) return;
  painted = stamp;
  band.stale = dirty = true;
}

function run(on) {
  if (on && !take.own && now >= take.frames - 1) now = loops ? loops[0] : 0;
  runs = on;
  const button = byId("run");
  button.textContent = on ? "Hold" : "Run";
  button.setAttribute("aria-pressed", on);
  dirty = true;
}

function seek(frame) {
  now = Math.max(0, Math.min(take.frames - 1, frame));
  dirty = true;
}

/** Round the cue at the time shown, or round the whole take. */
function loop(on) {
  const frame = Math.floor(now);
  const here = (band.spans || []).filter(span => span.start <= frame && frame < span.end && !show.idle.includes(span.name));
  const span = here[here.length - 1];
  loops = on ? (span ? [span.start, span.end] : [0, take.frames - 1]) : null;
  byId("loop").setAttribute("aria-pressed", on);
  band.loop = loops;
  band.stale = dirty = true;
}

// -- the remote ------------------------------------------------------------------------------

/** From here on the take is one's own. */
function takeOver() {
  if (!take.own || Math.floor(now) < take.frames - 1) {
    take = take.branch(Math.floor(now));
    loop(false);
    band.look(take, false);
  }
  byId("mine").hidden = false;
  byId("since").textContent = "Your own take.";
}

/** A channel is moved. Time goes on by itself: many moves of a hand come in one frame. */
function putSource(name, value) {
  takeOver();
  take.put(take.frames, name, value);
  run(true);
}

/** Something is asked of the boards. */
function ask(request) {
  takeOver();
  take.add(take.frames, request);
  take.extend(take.frames + 1);
  now = Math.max(now, take.frames - 1);
  band.look(take, false);
  run(true);
  const said = wordsOf(request).replace("\u2193", "button ").replace("\u2191", "let go of ");
  const starting = take.at(take.frames - 1).boards.filter(board => board.mode === STARTING);
  const lost = /^(down|close|go)/.test(request) && starting.length;
  tell(lost ? `${said}: ${starting.map(board => board.spec.name).join(", ")} ${NOT_YET}` : said);
}

function reach() {
  const out = byId("reach").getAttribute("aria-pressed") === "true";
  ask(out ? "find" : "lose");
}

byId("stop").onclick = () => ask("stop");
byId("limp").onclick = () => ask("limp");
byId("standby").onclick = () => ask("standby");
byId("reach").onclick = reach;
byId("back").onclick = () => {
  remote.releaseAll();
  take = rehearsal;
  byId("mine").hidden = true;
  loop(false);
  run(false);
  band.look(take);
  seek(Math.min(now, take.frames - 1));
};

// -- drawing ---------------------------------------------------------------------------------

function draw(stamp) {
  dirty = false;
  const frame = Math.floor(now);
  const rig = take.at(frame);
  stage.draw(places(frame), rig, lights.shown); // both draw nothing where nothing has changed
  lights.draw(rig);
  band.follow(frame);
  if (take.own && runs && stamp - painted > BAND_MS) {
    painted = stamp;
    band.stale = true;
  }
  band.draw(now);
  if (stamp - read >= READ_MS || !runs) {
    read = stamp;
    say(rig, frame);
  }
}

/** Where each part is told to be. One without pulses is drawn where it was told to be last. */
function places(frame) {
  const found = new Map();
  take.recording.tracks.forEach((track, n) => {
    if (track.kind !== "servo") return;
    const part = show.parts.find(one => one.name === track.output.name);
    const limp = take.recording.pulse(n, frame) === 0;
    const at = part.spins ? spun(track, n, frame) : take.recording.place(n, frame);
    found.set(track.output.name, { at: at ?? first(n) ?? track.output.travel[0], limp });
  });
  return found;
}

function first(n) {
  const { values } = take.recording.columns[n];
  const at = values.findIndex(pulse => pulse !== 0);
  return at < 0 ? null : placeOf(take.recording.tracks[n].output.points, values[at]);
}

const turns = new Map();

/** How far a part that turns round and round has come, in degrees: the sum of its speeds. */
function spun(track, n, frame) {
  let sum = turns.get(n);
  if (!sum || sum.take !== take || sum.frame > frame) sum = { take, frame: -1, deg: 0 };
  const { values } = take.recording.columns[n];
  while (sum.frame < frame) {
    sum.frame++;
    if (values[sum.frame]) sum.deg += placeOf(track.output.points, values[sum.frame]) * 6 * (show.frame_ms / 1000);
  }
  turns.set(n, sum);
  return sum.deg;
}

function say(rig, frame) {
  const seconds = (frame * show.frame_ms) / 1000;
  const whole = (take.frames * show.frame_ms) / 1000;
  byId("clock").textContent = `${seconds.toFixed(2)} s of ${take.own ? "your take" : clockOf(whole)}`;
  readings.showAt(take, rig, frame);
  const running = new Set(rig.boards.flatMap(board => board.spec.cues.filter((_, bit) => (board.running >>> bit) & 1)));
  remote.light(running);
  sticks.show(rig);
  plugs.show(rig);
  byId("reach").setAttribute("aria-pressed", String(!rig.inReach));
  byId("remote").classList.toggle("away", !rig.inReach);
  const modes = rig.boards
    .map(({ spec, mode }) => `${spec.name}: ${mode === STARTING ? `${mode} (${NOT_YET})` : mode}`)
    .join(", ");
  const cues = [...running].filter(name => !show.idle.includes(name));
  const state = `${modes}${cues.length ? `; ${cues.join(", ")}` : ""}`;
  byId("state").textContent = state;
  if (state !== told) tell(state);
  told = state;
  const slider = byId("band");
  slider.setAttribute("aria-valuemax", Math.round(whole * 100) / 100);
  slider.setAttribute("aria-valuenow", seconds);
  slider.setAttribute("aria-valuetext", `${seconds.toFixed(2)} seconds, ${state}`);
}

function tell(words) {
  byId("told").textContent = words;
}

function fit() {
  const style = getComputedStyle(document.documentElement);
  const colours = Object.fromEntries(COLOURS.map(name => [name, style.getPropertyValue(`--${name}`).trim()]));
  colours.font = `${innerWidth > 1700 ? 14 : 12}px system-ui, sans-serif`;
  stage.resize(colours);
  lights.resize(colours);
  band.resize(colours);
  dirty = true;
}

// -- what can be set -------------------------------------------------------------------------

function leaned() {
  stage.stale = true;
  stage.leanDeg = Number(byId("lean").value);
  stage.showHardest = byId("hardest").checked;
  const way = stage.leanDeg < 0 ? " back" : stage.leanDeg > 0 ? " forward" : "";
  byId("lean-told").textContent = `${Math.abs(stage.leanDeg)}\u00b0${way}`;
  byId("lean").setAttribute("aria-valuetext", `${Math.abs(stage.leanDeg)} degrees${way}`);
  const worst = show.parts.map(part => [part, stage.hardestOf(part)]).filter(([, found]) => found && found.share >= 0.001);
  byId("held").textContent = stage.showHardest
    ? worst.map(([part, found]) => `${part.name}: ${Math.round(found.share * 100)} % of what its servo can hold, at ${Math.round(found.at)}${part.way_deg === null ? "\u00b0" : " mm"}`).join("; ") || "Nothing is hard to hold here."
    : "";
  dirty = true;
}

/** A moment of the rehearsal, also while one's own take is shown. */
function rehearsed(atMs) {
  if (take.own) byId("back").click();
  seek(Math.floor(atMs / show.frame_ms));
}

byId("run").onclick = () => run(!runs);
byId("loop").onclick = () => loop(!loops);
const zoom = factor => () => (band.zoom(factor, now), (dirty = true));
byId("nearer").onclick = zoom(0.5);
byId("farther").onclick = zoom(2);
byId("lean").oninput = byId("hardest").oninput = leaned;
byId("steps").checked = matchMedia("(prefers-reduced-motion: reduce)").matches;
byId("steps").oninput = () => (dirty = true);
byId("reveal").onclick = () => {
  lights.shown = dirty = true;
  byId("cover").hidden = true;
};

const hop = frames => () => (run(false), seek(Math.floor(now) + frames));
listen(() => [remote, keys], {
  Space: () => run(!runs),
  Escape: () => ask("stop"),
  l: () => ask("limp"),
  r: () => ask("standby"),
  m: reach,
  o: () => loop(!loops),
  "+": zoom(0.5),
  "-": zoom(2),
  ArrowLeft: hop(-1),
  ArrowRight: hop(1),
  "Shift+ArrowLeft": hop(-1000 / show.frame_ms),
  "Shift+ArrowRight": hop(1000 / show.frame_ms),
  PageUp: hop(-1000 / show.frame_ms),
  PageDown: hop(1000 / show.frame_ms),
  Home: hop(-Infinity),
  End: hop(Infinity),
});
byId("band").addEventListener("pointerdown", () => run(false));
for (const leaving of ["blur", "pagehide"]) addEventListener(leaving, () => remote.releaseAll());
document.addEventListener("visibilitychange", () => {
  if (!document.hidden) return;
  remote.releaseAll();
  run(false);
});
new ResizeObserver(fit).observe(document.querySelector("main"));
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", fit);

// for tests and for the curious: what the page stands on
globalThis.bellcrank = { show, trims, seek, renew, run, ask, get take() { return take; }, get readings() { return readings; }, get frame() { return Math.floor(now); } };

rehearsal.extend(Math.min(rehearsal.frames, AHEAD));
band.look(rehearsal);
trims.renew(show);
furnish();
document.body.dataset.ready = "yes";
requestAnimationFrame(stamp => {
  before = stamp;
  tick(stamp);
});
