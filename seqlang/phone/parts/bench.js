
// -- a servo on the bench -------------------------------------------------------------------------
// One hand holds, the other slides: both are at the phone then, and in no mechanism.

const SLIDE_MS = 40; // words of the slider come no closer than this; a board makes a frame in 20
const KEYS_US = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1, PageUp: 10, PageDown: -10 };

let isBench = false;
let bench = null; // the newest of the servo
let hasMinded = false;
let wanted = 0; // us, where the slider stands
let toldAt = 0;
let telling = 0;
const holders = new Set(); // what holds the pad: pointers and keys
const slides = new Map(); // by pointer, where it was last

function layBench({ servos, cautions }) {
  isBench = true;
  at("boards").hidden = at("presses").hidden = true;
  at("minding").hidden = hasMinded;
  at("bench").hidden = !hasMinded;
  at("cautions").replaceChildren(...cautions.map(words => {
    const node = document.createElement("li");
    node.textContent = `${words[0].toUpperCase()}${words.slice(1)}.`;
    return node;
  }));
  at("servo").replaceChildren(...servos.map((name, number) => new Option(name, number)));
  at("servo").disabled = servos.length < 2;
  if (hasMinded) mind();
}

function mind() {
  request({ do: "minded" }, failed => {
    if (failed) return tell(`${failed}.`);
    hasMinded = true;
    at("minding").hidden = true;
    at("bench").hidden = false;
  });
}

at("minded").addEventListener("click", mind);

function showBench(now) {
  const was = bench;
  bench = now;
  at("servo").value = now.servo;
  at("state").textContent = now.by && !holders.size ? `${now.by} holds it. ${now.state}` : now.state;
  at("state").classList.toggle("has-pulses", now.has_pulses);
  at("bench").classList.toggle("live", now.has_pulses);
  if (!slides.size && !telling) wanted = now.held;
  if (!now.has_pulses) wanted = now.pulse;
  at("record").setAttribute("aria-pressed", String(now.records));
  at("record").firstElementChild.textContent = now.records ? "End recording" : "Record";
  at("recorded").textContent = now.recorded_s === null ? "what the part does" : `${now.recorded_s.toFixed(1)} s`;
  const takes = Object.entries(now.takes).map(([name, lasts]) => `${name}: ${lasts.toFixed(1)} s`);
  at("takes").textContent = takes.length ? `Recorded: ${takes.join(", ")}. It becomes a gesture when the laptop's command is ended.` : "";
  if (now.message && now.message !== was?.message) tell(`${now.message[0].toUpperCase()}${now.message.slice(1)}.`);
  at("stop").lastElementChild.textContent = "the servo goes limp";
  drawSlider();
}

function drawSlider() {
  const [low, high] = bench.ends;
  const share = us => Math.min(1, Math.max(0, (us - low) / Math.max(1, high - low)));
  const slider = at("slider");
  slider.style.setProperty("--wanted", share(wanted));
  slider.style.setProperty("--stands", share(bench.pulse));
  slider.setAttribute("aria-valuemin", low);
  slider.setAttribute("aria-valuemax", high);
  slider.setAttribute("aria-valuenow", wanted);
  slider.setAttribute("aria-valuetext", bench.at);
  slider.setAttribute("aria-disabled", String(!bench.has_pulses));
  at("where").textContent = bench.at;
}

/** The knob goes as far as the finger does, wherever that touches: a touch alone moves nothing. */
function slideBy(us) {
  if (!bench?.has_pulses || !holders.size) return;
  const [low, high] = bench.ends;
  wanted = Math.min(Math.max(wanted + us, Math.min(low, wanted)), Math.max(high, wanted));
  drawSlider();
  const early = toldAt + SLIDE_MS - performance.now();
  if (early <= 0) tellSlide();
  else telling ||= setTimeout(tellSlide, early);
}

function tellSlide() {
  clearTimeout(telling);
  telling = 0;
  toldAt = performance.now();
  if (holders.size) send({ do: "slide", pulse: Math.round(wanted) });
}

at("slider").addEventListener("pointerdown", event => {
  if (event.button !== 0) return;
  at("slider").setPointerCapture(event.pointerId);
  slides.set(event.pointerId, event.clientX);
});
at("slider").addEventListener("pointermove", event => {
  if (!slides.has(event.pointerId)) return;
  const [low, high] = bench?.ends ?? [0, 0];
  const way = at("slider").clientWidth - at("knob").offsetWidth;
  slideBy(((event.clientX - slides.get(event.pointerId)) / way) * (high - low));
  slides.set(event.pointerId, event.clientX);
});
for (const end of ["pointerup", "pointercancel", "lostpointercapture"]) {
  at("slider").addEventListener(end, event => slides.delete(event.pointerId));
}
at("slider").addEventListener("keydown", event => {
  const us = KEYS_US[event.key];
  if (us === undefined) return;
  event.preventDefault();
  slideBy(us);
});

function grasp(by) {
  if (by === "click") return tell("Hold it with a finger, or with the space bar from anywhere on this page.");
  const isFirst = !holders.size;
  holders.add(by);
  at("hold").setAttribute("aria-pressed", "true");
  if (!isFirst) return;
  request({ do: "grasp" }, failed => {
    if (failed) tell(`Not held: ${failed}.`);
    else buzz(15);
  });
}

function loose(by) {
  if (!holders.delete(by) || holders.size) return;
  at("hold").setAttribute("aria-pressed", "false");
  request({ do: "loose" }, failed => failed && tell(`${failed[0].toUpperCase()}${failed.slice(1)}.`));
}

/** The page goes: nobody holds any more. */
function loosen() {
  for (const by of [...holders]) loose(by);
  slides.clear();
}

/** The laptop has let go, or is gone. */
function letBenchGo() {
  holders.clear();
  slides.clear();
  at("hold").setAttribute("aria-pressed", "false");
}

whilePressed(at("hold"), grasp, loose);
// with keys one hand holds the space bar, and the other has the slider's arrows or a mouse
addEventListener("keydown", event => {
  if (event.key !== " " || event.repeat || !isBench || at("bench").hidden) return;
  if (event.target.closest?.("button, select")) return;
  event.preventDefault();
  grasp("space");
});
addEventListener("keyup", event => event.key === " " && loose("space"));

// while a finger holds, another's tap is no click
whilePressed(at("record"), () => request({ do: "record" }, failed => failed && tell(`Record: ${failed}.`)), () => {});
at("servo").addEventListener("change", () => {
  request({ do: "servo", servo: Number(at("servo").value) }, failed => failed && tell(`Servo: ${failed}.`));
  at("servo").blur();
});

come();
