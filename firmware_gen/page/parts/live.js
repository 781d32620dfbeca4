// The page of a show that is being written: it takes every version that is saved.

import { renew, trims } from "./page.js";

const mine = JSON.parse(document.getElementById("data").textContent);
const changes = new EventSource("changes");
let rig = rigOf(mine);
let version = mine.version;

/** What cannot be changed without building the page anew: parts, outputs, boards, contacts. */
function rigOf(data) {
  const parts = data.parts.map(({ held, ...part }) => part);
  const boards = data.boards.map(({ table, cues, ...board }) => board);
  return JSON.stringify([parts, boards, data.tilt_deg, data.lit]);
}

changes.addEventListener("show", event => {
  const data = JSON.parse(event.data);
  failing(null);
  if (data.version === version) return;
  if (rigOf(data) !== rig) return location.reload();
  version = data.version;
  renew(data);
});

changes.addEventListener("findings", event => {
  version = null;
  failing(JSON.parse(event.data));
});

changes.onerror = () => failing("The command that serves this page does not answer. It has ended, or is starting again.");

/** Findings instead of an old picture; null: there are none. */
function failing(words) {
  document.querySelector("main").hidden = words !== null;
  document.getElementById("state").hidden = words !== null;
  let node = document.getElementById("failing");
  if (words === null) return node?.remove();
  if (!node) {
    node = document.createElement("pre");
    node.id = "failing";
    node.setAttribute("role", "alert");
    document.querySelector("main").before(node);
  }
  node.textContent = words;
}

const write = document.getElementById("write-trims");
const toldTrims = words => (document.getElementById("trims-told").textContent = words);
write.hidden = false;

write.onclick = async () => {
  const lights = Object.fromEntries(trims.changed.map(({ name, set }) => [name, set]));
  write.disabled = true;
  toldTrims("Checking the show with them.");
  try {
    const answer = await fetch("trims", { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify({ version, lights }) });
    toldTrims(answer.ok ? (await answer.json()).words : "The command that serves this page did not take them.");
  } catch {
    toldTrims("The command that serves this page does not answer.");
  }
  write.disabled = false;
};
