// The channels of a radio as sliders, with the bands that press buttons marked beside them.

const TICKS_PER_US = 2;
const STICK_STEP = 10; // ticks that a key moves a stick
const SETTLES_MS = 400; // after a hand left a slider, before it shows the take again

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
    silent.setAttribute("aria-label", `no signal on ${source.name}`);
    const marks = node.appendChild(element("div", "marks"));
    marks.setAttribute("aria-hidden", "true"); // the slider says them
    const slider = node.appendChild(element("input"));
    Object.assign(slider, { type: "range", min: source.least, max: source.most, step: STICK_STEP, id: `stick-${source.name}` });
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
    slider.value = (source.least + source.most) / 2;
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
      if (ticks !== NO_SIGNAL) stick.slider.value = ticks;
      telling(stick, ticks);
    }
  }
}

function telling({ source, node, told, silent, slider, bands }, ticks) {
  const inside = ticks === NO_SIGNAL ? [] : bands.filter(({ band }) => band.from <= ticks && ticks <= band.to);
  const words = ticks === NO_SIGNAL ? "no signal" : wordsOfTicks(ticks);
  const presses = inside.map(({ band }) => `, button ${band.button}: ${band.does || "nothing"}`).join("");
  if (told.textContent !== words) told.textContent = words;
  slider.setAttribute("aria-valuetext", words.replace("\u00b5s", "microseconds") + presses);
  slider.setAttribute("aria-label", `channel ${source.name} on ${source.board}`);
  node.classList.toggle("off", ticks === NO_SIGNAL);
  silent.setAttribute("aria-pressed", String(ticks === NO_SIGNAL));
  for (const one of bands) one.mark.classList.toggle("runs", inside.includes(one));
}

/** A channel's pulse as people say it. */
export const wordsOfTicks = ticks => `${ticks / TICKS_PER_US} \u00b5s`;

function marksOf(holder, { bands, least, most }) {
  const share = ticks => `${(100 * (ticks - least)) / (most - least)}%`;
  return bands.map(band => {
    const mark = holder.appendChild(element("span", "mark"));
    mark.style.left = share(band.from);
    mark.style.width = `calc(${share(band.to)} - ${share(band.from)})`;
    mark.textContent = `${band.button} ${band.does}`;
    mark.title = `button ${band.button}: ${band.does || "nothing"}, ${wordsOfTicks(band.from)} to ${wordsOfTicks(band.to)}`;
    return { band, mark };
  });
}

function element(kind, name = "") {
  const node = document.createElement(kind);
  node.className = name;
  return node;
}
