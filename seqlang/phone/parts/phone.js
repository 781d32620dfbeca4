// A show's remote in a hand: large buttons that can be held, the boards in words, and stop.

const BEAT_MS = 250; // the laptop lets go of what is held when it hears nothing for 700 ms
const CUT_MS = 1500; // no answer to beats for so long: there is no connection
const AGAIN_MS = 700;
const TAP_MS = 120; // how long a press lasts that only says that it happened
const UNSURE_MS = 1000; // a stop that is not confirmed by then is told as such
const STALE_MS = 5000; // a stop is not sent again after this time
const HOLD_MS = 1200; // to re-arm
const STEP_MS = 1000; // from the first step of a re-arm to the second, for those who cannot hold
const FORGET_MS = 9000;
const KEPT_MS = 3000;
const MOST_NEWS = 4;

const at = id => document.getElementById(id);
const still = matchMedia("(prefers-reduced-motion: reduce)");

let socket = null;
let isIn = false;
let hasBeenIn = false;
let heard = 0; // when the laptop last said something
let count = 0;
let boards = [];
let newsAfter = 0;
const news = [];
const waits = new Map(); // by number, what to do with the answer
const stops = []; // not confirmed yet
const held = new Map(); // by what holds it (a pointer, a key), the button's number
const nodes = new Map(); // buttons by number

// -- the way to the laptop ----------------------------------------------------------------------

const codeHere = () => decodeURIComponent(location.hash.slice(1)).replace(/\D/g, "");
const passHere = () => history.state?.pass ?? "";

function open() {
  const opened = new WebSocket(`ws://${location.host}/socket`);
  socket = opened;
  heard = performance.now();
  opened.onopen = () => {
    if (passHere()) opened.send(JSON.stringify({ do: "return", pass: passHere() }));
    else opened.send(JSON.stringify({ do: "pair", code: codeHere() }));
  };
  opened.onmessage = event => {
    heard = performance.now();
    if (opened === socket) take(JSON.parse(event.data));
  };
  opened.onclose = () => {
    if (opened === socket) lose();
  };
}

/** Come in, if there is something to come in with. */
function come() {
  if (passHere() || codeHere()) open();
  else ask("");
}

/** The connection is gone: nothing is held any more, and it is tried again. */
function lose() {
  socket = null;
  isIn = false;
  held.clear();
  for (const node of nodes.values()) showPressed(node, false);
  waits.clear();
  disarm();
  letBenchGo();
  if (!hasBeenIn) {
    ask("The laptop does not answer; this page tries again. Does its command still run, and is this phone in its network?");
    return void setTimeout(() => socket || at("code").value || come(), AGAIN_MS);
  }
  document.body.classList.add("cut");
  at("link").textContent = "no connection";
  alarm("No connection to the laptop. Buttons do nothing, and stop does not arrive. To stop now, use the switch in the supply's lead.");
  setTimeout(() => socket || come(), AGAIN_MS);
}

function turnedAway({ left, wait_s }) {
  const hadPass = Boolean(passHere());
  hasBeenIn = false;
  isIn = false;
  socket.onclose = null;
  socket.close();
  socket = null;
  if (hadPass) {
    history.replaceState(null, ""); // of a command that has ended: its code may be the same
    return come();
  }
  if (wait_s) return ask(`Wrong code. The next try is possible in ${wait_s} s.`);
  ask(left === 1 ? "Wrong code. One try is left." : left ? `Wrong code. ${left} tries are left.` : "Give the code.");
}

/** Ask for the code. */
function ask(why) {
  at("controls").hidden = true;
  at("door").hidden = false;
  at("turned").textContent = why;
  at("code").focus();
}

at("door").addEventListener("submit", event => {
  event.preventDefault();
  const code = at("code").value.replace(/\D/g, "");
  if (!code) return ask("The code has eight digits.");
  history.replaceState(null, "", `#${code}`);
  at("turned").textContent = "";
  come();
});

function send(message) {
  if (!isIn || socket?.readyState !== WebSocket.OPEN) return false;
  socket.send(JSON.stringify(message));
  return true;
}

/** Send something that is answered; `then(failed)` gets the words of what went wrong, or nothing. */
function request(message, then) {
  const n = ++count;
  if (!send({ ...message, n })) return then("there is no connection to the laptop");
  waits.set(n, then);
}

function take(message) {
  if ("turned_away" in message) return turnedAway(message.turned_away);
  if ("show" in message) return welcome(message);
  if ("boards" in message) return showBoards(message);
  if ("let_go" in message) return letGo(message);
  if ("taken" in message) return tell(`${message.taken} has it`);
  if ("n" in message) {
    const then = waits.get(message.n);
    waits.delete(message.n);
    then?.(message.failed);
  }
}

function welcome({ phone, pass, show }) {
  isIn = true;
  hasBeenIn = true;
  history.replaceState({ pass }, "");
  document.title = `${show.title}: ${show.bench ? "bench" : "remote"}`;
  at("title").textContent = show.title;
  at("link").textContent = `phone ${phone}, connected`;
  at("door").hidden = true;
  at("controls").hidden = false;
  document.body.classList.remove("cut");
  alarm("");
  if (show.bench) layBench(show.bench);
  else build(show.buttons);
  keepAwake();
  for (const one of stops.splice(0)) {
    if (performance.now() - one.at < STALE_MS) stopAgain(one);
  }
  document.body.dataset.ready = "";
}

setInterval(() => {
  if (!isIn || document.hidden) return;
  send({ do: "beat" });
  if (performance.now() - heard > CUT_MS) {
    const late = socket;
    lose();
    late?.close();
  }
}, BEAT_MS);

document.addEventListener("visibilitychange", () => {
  if (document.hidden) return releaseAll();
  heard = performance.now();
  keepAwake();
  if (!socket && hasBeenIn) come();
});
addEventListener("pagehide", releaseAll);
addEventListener("blur", releaseAll);

/** Where the browser allows it, the screen stays on. */
function keepAwake() {
  navigator.wakeLock?.request("screen").catch(() => {});
}

// -- buttons ------------------------------------------------------------------------------------

function build(buttons) {
  const drawn = JSON.stringify(buttons);
  if (build.drawn === drawn) return;
  build.drawn = drawn;
  nodes.clear();
  at("presses").replaceChildren(...buttons.map(button => {
    const node = made(button);
    nodes.set(button.number, node);
    return node;
  }));
  if (!buttons.length) at("presses").textContent = "The remote of this show has no button that starts a cue.";
}

function made(button) {
  const node = document.createElement("button");
  node.type = "button";
  node.className = "press";
  const names = button.held ? button.cues.map(cue => cue.name).join(", ") : button.does;
  const titles = button.cues.map(cue => cue.title).filter(Boolean).join(" / ");
  const head = span("number", button.number);
  if (button.held) head.append(span("", "hold it"));
  const does = span("does", "");
  // a long name breaks where its words end
  does.append(...names.split(/(?<=_)/).flatMap((part, n) => (n ? [document.createElement("wbr"), part] : [part])));
  node.append(head, does);
  if (titles) node.append(span("small", titles));
  node.setAttribute("aria-label", `button ${button.number}: ${names}${button.held ? ", hold" : ""}${titles ? `, ${titles}` : ""}`);
  node.setAttribute("aria-pressed", "false");
  node.cues = button.cues.map(cue => cue.name);
  whilePressed(node, by => press(by, button.number), release);
  return node;
}

/** Mouse, touch, pen, keys, and aids that do neither but only click. */
function whilePressed(node, down, up) {
  node.addEventListener("pointerdown", event => {
    if (event.button !== 0) return;
    node.pointed = performance.now();
    node.setPointerCapture(event.pointerId);
    down(`pointer ${event.pointerId}`);
  });
  for (const end of ["pointerup", "pointercancel", "lostpointercapture"]) {
    node.addEventListener(end, event => up(`pointer ${event.pointerId}`));
  }
  node.addEventListener("keydown", event => {
    if (event.key !== " " && event.key !== "Enter") return;
    event.preventDefault();
    node.pointed = performance.now();
    if (!event.repeat) down(`key ${event.code}`);
  });
  node.addEventListener("keyup", event => up(`key ${event.code}`));
  node.addEventListener("blur", () => ["key Space", "key Enter", "key NumpadEnter"].forEach(up));
  node.addEventListener("click", event => {
    if (event.detail !== 0 || performance.now() - (node.pointed ?? -1e9) < 1000) return;
    down("click");
    setTimeout(() => up("click"), TAP_MS);
  });
}
for (const kind of ["contextmenu", "selectstart", "dragstart"]) {
  document.addEventListener(kind, event => {
    if (event.target.closest?.("button")) event.preventDefault();
  });
}

function press(by, number) {
  if (held.has(by)) return;
  const already = [...held.values()].includes(number);
  held.set(by, number);
  const node = nodes.get(number);
  showPressed(node, true);
  node.classList.remove("refused");
  if (already) return;
  request({ do: "down", button: number }, failed => {
    if (!failed) return buzz(15);
    node.classList.add("refused"); // with its reason in words below
    setTimeout(() => node.classList.remove("refused"), 2000);
    buzz([40, 60, 40]);
    tell(`Button ${number}: ${failed}.`);
  });
}

function release(by) {
  if (!held.has(by)) return;
  const number = held.get(by);
  held.delete(by);
  if ([...held.values()].includes(number)) return; // another finger holds it
  showPressed(nodes.get(number), false);
  request({ do: "up", button: number }, failed => failed && tell(`Button ${number}: ${failed}.`));
}

function releaseAll() {
  for (const by of [...held.keys()]) release(by);
  disarm();
  loosen();
}

function letGo({ let_go, why }) {
  if (isBench) return letBenchGo(), tell(`Let go: ${why}. Hold again.`);
  for (const [by, number] of [...held]) {
    if (let_go.includes(number)) held.delete(by);
  }
  for (const number of let_go) showPressed(nodes.get(number), false);
  tell(`Let go of button ${let_go.join(", ")}: ${why}. Press again.`);
}

function showPressed(node, isDown) {
  node?.setAttribute("aria-pressed", String(isDown));
}

// -- stop, limp, re-arm ---------------------------------------------------------------------------

function stop(kind) {
  disarm();
  const press = [...crypto.getRandomValues(new Uint8Array(8))].map(byte => byte.toString(16).padStart(2, "0")).join("");
  tell(`${titleOf(kind)} is on its way.`);
  stopAgain({ kind, press, at: performance.now() });
}

function stopAgain(one) {
  stops.push(one);
  const unsure = setTimeout(() => {
    if (stops.includes(one)) alarm(`${titleOf(one.kind)} is not confirmed. Use the switch in the supply's lead.`);
  }, UNSURE_MS);
  request({ do: one.kind, press: one.press }, failed => {
    clearTimeout(unsure);
    if (failed && !isIn) return alarm(`${titleOf(one.kind)} did not arrive: ${failed}. Use the switch in the supply's lead.`);
    stops.splice(stops.indexOf(one), 1);
    if (failed) {
      buzz([40, 60, 40]);
      return alarm(`${failed[0].toUpperCase()}${failed.slice(1)}. Use the switch in the supply's lead.`);
    }
    buzz(30);
    alarm("");
    tell(`${titleOf(one.kind)}: every board has it.`);
  });
}

const titleOf = kind => (kind === "stop" ? "Stop" : "Limp");

whilePressed(at("stop"), () => stop("stop"), () => {});
whilePressed(at("limp"), () => stop("limp"), () => {});
addEventListener("keydown", event => {
  if (event.key !== "Escape" || event.repeat || at("controls").hidden) return;
  event.preventDefault();
  stop("stop");
});

let arming = null; // { by, timer, since }

whilePressed(at("rearm"), arm, by => {
  if (arming?.by === by) disarm();
});

/** Hold it; an aid that can only click does it in two steps. */
function arm(by) {
  if (by === "click") return armByStep();
  if (arming) return;
  disarm();
  at("rearm").classList.add("filling");
  if (still.matches) labelRearm("Go on holding");
  request({ do: "ready-to-rearm" }, failed => failed && tell(`Re-arm: ${failed}.`));
  arming = { by, timer: setTimeout(rearm, HOLD_MS) };
}

function armByStep() {
  if (arming && performance.now() - arming.since >= STEP_MS) return rearm();
  if (arming) return;
  request({ do: "ready-to-rearm" }, failed => failed && tell(`Re-arm: ${failed}.`));
  arming = { by: null, since: performance.now(), timer: setTimeout(disarm, FORGET_MS) };
  labelRearm("Press again to re-arm");
  tell("Press again, a second later, to re-arm. Keep clear of the parts.");
}

function rearm() {
  disarm();
  request({ do: "rearm" }, failed => {
    buzz(failed ? [40, 60, 40] : 30);
    tell(failed ? `Re-arm: ${failed}.` : "Re-armed: servos come on one after another.");
  });
}

function disarm() {
  if (arming) clearTimeout(arming.timer);
  arming = null;
  at("rearm").classList.remove("filling");
  labelRearm("Hold to re-arm");
}

function labelRearm(words) {
  at("rearm").firstElementChild.textContent = words;
}

// -- boards ---------------------------------------------------------------------------------------

function showBoards(message) {
  if (message.bench) return showBench(message.bench);
  const before = new Map(boards.map(board => [board.name, board]));
  boards = message.boards;
  at("boards").replaceChildren(...boards.map(row), ...message.notes.map(words => {
    const node = document.createElement("li");
    node.className = "note";
    node.textContent = words;
    return node;
  }));
  for (const board of boards) {
    const was = before.get(board.name);
    if (was && was.words !== board.words) tellNews(`${board.name} ${board.words}.`);
    if (was && board.battery && was.battery !== board.battery) tellNews(`${board.name}: ${board.battery}.`);
  }
  const playing = new Set(boards.flatMap(board => board.plays));
  for (const node of nodes.values()) node.classList.toggle("runs", node.cues.some(name => playing.has(name)));
  document.body.classList.toggle("idle", !boards.some(board => board.mode === "ready"));
  const isLimp = boards.some(board => board.mode === "limp");
  if (!isLimp) disarm();
  at("rearm").hidden = !isLimp;
  const isStopping = boards.some(board => board.mode === "stopping");
  at("stop").lastElementChild.textContent = isStopping ? "again: ends all pulses at once" : "to the safe pose, then limp";
}

function row(board) {
  const node = document.createElement("li");
  node.className = board.battery ? `${board.mode} flat` : board.mode;
  const head = document.createElement("p");
  const name = document.createElement("strong");
  name.textContent = board.name;
  const plays = board.plays.length ? `, and plays ${board.plays.join(", ")}` : "";
  head.append(name, ` ${board.words}${plays}${board.battery ? `; ${board.battery}` : ""}`);
  node.append(head);
  if (board.to_do) node.append(line("to-do", `${board.to_do[0].toUpperCase()}${board.to_do.slice(1)}.`));
  if (board.since) node.append(line("since", board.since));
  return node;
}

// -- words ----------------------------------------------------------------------------------------

/** What came of a press stays for a moment before news of the boards take its place. */
function tell(words) {
  at("told").textContent = words;
  newsAfter = performance.now() + KEPT_MS;
  news.length = 0;
}

function tellNews(words) {
  news.push(words);
  if (news.length === 1) setTimeout(showNews, Math.max(0, newsAfter - performance.now()));
}

function showNews() {
  const left = newsAfter - performance.now();
  if (news.length && left > 0) return setTimeout(showNews, left);
  if (news.length) at("told").textContent = news.slice(-MOST_NEWS).join(" ");
  news.length = 0;
}

function alarm(words) {
  if (at("alarm").textContent === words) return;
  at("alarm").textContent = words;
  if (words) document.querySelector("main").scrollTop = 0;
}

function buzz(pattern) {
  if (!still.matches) navigator.vibrate?.(pattern);
}

function span(name, text) {
  const node = document.createElement("span");
  node.className = name;
  node.textContent = text;
  return node;
}

function line(name, text) {
  const node = document.createElement("p");
  node.className = name;
  node.textContent = text;
  return node;
}
