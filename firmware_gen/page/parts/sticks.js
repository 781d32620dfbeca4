// The channels of a radio and the sensors as sliders, with what they press and move beside them.

const TICKS_PER_US = 2;
const SENSOR_ONE = 1024;
const KEY_STEPS = { channel: 10, sensor: 11 }; // that a key moves one; both reach the ends of their scales
const SETTLES_MS = 400; // after a hand left a slider, before it shows the take again

const ROW_REM = 1.5; // of the bands beside a slider

export const NO_SIGNAL = 0;

export class Sticks {
  /** `put(name, ticks)` is called when somebody moves one, or ends its signal. */
  constructor(holder, show, put) {
    this.put = put;
    holder.hidden = !show.sources.length;
    this.sticks = show.sources.map(source => this.stick(holder, source));
  }

  stick(holder, source) {
    const node = element("div", "stick");
    const line = node.appendChild(element("div", "line"));
    const name = line.appendChild(element("label", "name"));
    name.textContent = source.name;
    const told = line.appendChild(element("span", "told"));
    const silent = line.appendChild(element("button", "silent"));
    silent.type = "button";
    silent.textContent = "No signal";
    silent.hidden = source.kind === "sensor";
    silent.setAttribute("aria-label", `no signal on ${source.name}`);
    const marks = node.appendChild(element("div", "marks"));
    marks.setAttribute("aria-hidden", "true"); // the slider says them
    const slider = node.appendChild(element("input"));
    Object.assign(slider, { type: "range", min: source.least, max: source.most, step: KEY_STEPS[source.kind], id: `stick-${source.name}` });
    name.htmlFor = slider.id;
    const stick = { source, node, told, silent, slider, bands: marksOf(marks, source), touched: -Infinity, held: false };
    slider.addEventListener("input", () => {
      stick.touched = performance.now();
      this.moved(stick, Number(slider.value));
    });
    slider.addEventListener("pointerdown", () => (stick.held = true));
    for (const end of ["pointerup", "pointercancel", "lostpointercapture"]) {
      slider.addEventListener(end, () => (stick.held = false));
    }
    silent.onclick = () => this.moved(stick, silent.getAttribute("aria-pressed") === "true" ? Number(slider.value) : NO_SIGNAL);
    slider.value = source.kind === "sensor" ? source.least : (source.least + source.most) / 2;
    telling(stick, NO_SIGNAL);
    holder.append(node);
    return stick;
  }

  moved(stick, ticks) {
    telling(stick, ticks);
    this.put(stick.source.name, ticks);
  }

  /** As the take has them at the time shown, unless a hand is on it. */
  show(rig) {
    for (const stick of this.sticks) {
      if (stick.held || performance.now() - stick.touched < SETTLES_MS) continue;
      const ticks = rig.sources.get(stick.source.name) || NO_SIGNAL;
      if (ticks !== NO_SIGNAL || stick.source.kind === "sensor") stick.slider.value = ticks;
      telling(stick, ticks);
    }
  }
}

function telling({ source, node, told, silent, slider, bands }, value) {
  const isSilent = source.kind === "channel" && value === NO_SIGNAL;
  const inside = isSilent ? [] : bands.filter(({ band }) => band.from <= value && value <= band.to);
  const words = isSilent ? "no signal" : `${wordsOfSource(source, value)}${value < source.quiet ? ", quiet" : ""}`;
  const presses = inside.map(({ band }) => `, button ${band.button}: ${band.does || "nothing"}`).join("");
  if (told.textContent !== words) told.textContent = words;
  slider.setAttribute("aria-valuetext", words.replace("\u00b5s", "microseconds").replace("%", "percent") + presses);
  slider.setAttribute("aria-label", `${source.kind} ${source.name} on ${source.board}`);
  node.classList.toggle("off", isSilent);
  silent.setAttribute("aria-pressed", String(isSilent));
  for (const one of bands) for (const mark of one.marks) mark.classList.toggle("runs", inside.includes(one));
}

/** Where a source stands, as people say it. */
export const wordsOfSource = ({ kind }, value) =>
  kind === "sensor" ? `${((100 * value) / SENSOR_ONE).toFixed(0)} %` : `${value / TICKS_PER_US} \u00b5s`;

/** On the scale: the bands of buttons, what counts as quiet, and below them a row for each output that follows. */
function marksOf(holder, source) {
  const { bands, follows, quiet, least, most } = source;
  const share = value => (100 * (value - least)) / (most - least);
  const spread = (node, from, to) => Object.assign(node.style, { left: `${share(from)}%`, width: `${share(to) - share(from)}%` });
  const mark = (kind, from, to, text, title) => {
    const node = holder.appendChild(element("span", kind));
    spread(node, from, to);
    node.textContent = text;
    node.title = title;
    return node;
  };
  const row = (from, to, text, title) => {
    const node = holder.appendChild(element("div", "follower"));
    node.title = title;
    spread(node.appendChild(element("span", "stretch")), from, to);
    node.appendChild(element("span")).style.flex = `0 1 ${share(from)}%`; // gives way to the words
    node.appendChild(element("span", "words")).textContent = text;
  };
  holder.style.paddingTop = bands.length || quiet ? `${ROW_REM}rem` : "";
  for (const { output, from, to, at, unit } of follows) {
    const [a, b] = at.map(end => `${end} ${unit}`);
    const where = [from, to].map(value => wordsOfSource(source, value)).join(" to ");
    row(from, to, `${output} ${a} to ${b}`, `${output}: ${a} to ${b}, at ${where}`);
  }
  const legend = element("div", "legend"); // their words whole, whatever room a band has
  legend.setAttribute("aria-hidden", "true");
  if (bands.length) holder.parentElement.append(legend);
  if (quiet) mark("mark quiet", least, quiet, "", `below ${wordsOfSource(source, quiet)} it counts as 0`);
  return bands.map(band => {
    const [from, to] = [band.from, band.to].map(value => wordsOfSource(source, value));
    const title = `button ${band.button}: ${band.does || "nothing"}, ${from} to ${to}`;
    const words = legend.appendChild(element("span", "band"));
    words.textContent = `${band.button} ${band.does || "nothing"}`;
    return { band, marks: [mark("mark", band.from, band.to, `${band.button}`, title), words] };
  });
}

function element(kind, name = "") {
  const node = document.createElement(kind);
  node.className = name;
  return node;
}
