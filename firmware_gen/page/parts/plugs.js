// The parts that follow a board that leads: each can be unplugged, feed and signal, and plugged in.

export class Plugs {
  /** `ask(request)` is called when somebody pulls or plugs. */
  constructor(holder, show, ask) {
    this.nodes = new Map();
    holder.hidden = !show.boards.some(board => board.role === "leads");
    document.getElementById("plugs-told").hidden = holder.hidden;
    if (holder.hidden) return;
    for (const { name, role } of show.boards) {
      if (role === "leads") continue;
      const node = document.createElement("button");
      node.type = "button";
      node.className = "press";
      node.innerHTML = '<span class="does">Unplug</span><span class="where"></span>';
      node.lastChild.textContent = name;
      node.setAttribute("aria-label", `unplug ${name}`);
      node.onclick = () => ask(`${node.getAttribute("aria-pressed") === "true" ? "plug" : "unplug"} ${name}`);
      this.nodes.set(name, node);
      holder.append(node);
    }
  }

  /** Which parts are unplugged now. */
  show(rig) {
    for (const { spec, hasPower } of rig.boards) {
      this.nodes.get(spec.name)?.setAttribute("aria-pressed", String(!hasPower));
    }
  }
}
