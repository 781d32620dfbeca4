// All boards of a show on one line, and what is said to them.

import { Board } from "./board.js";
import { bytesOf } from "./packed.js";

/** The programs of all chips, compiled once. */
export async function programs(show) {
  const found = {};
  for (const [name, chip] of Object.entries(show.chips)) {
    found[name] = await WebAssembly.compile(bytesOf(chip.program));
  }
  return found;
}

export class Rig {
  constructor(show, compiled) {
    this.boards = show.boards.map(
      spec => new Board(spec, show.chips[spec.chip], compiled[spec.chip])
    );
    this.sayings = Object.fromEntries(
      Object.entries(show.sayings).map(([name, both]) => [name, both.map(bytesOf)])
    );
    this.frame = -1; // the last one that was played
    this.turn = 0;
    this.inReach = true;
  }

  /**
   * Play one frame of every board, after these requests. The remote says in every frame that it is
   * there, as long as it is in reach.
   */
  step(requests) {
    if (this.inReach) this.say("beacon");
    for (const request of requests || []) this.ask(request);
    const said = this.boards.map(board => board.step());
    said.forEach((words, n) => {
      if (words) this.boards.forEach((board, other) => other !== n && board.hear(words));
    });
    this.frame++;
  }

  ask(request) {
    const [what, which] = request.split(" ");
    if (what === "lose") this.inReach = false;
    else if (what === "find") this.inReach = true;
    else if (what === "close" || what === "open") {
      for (const board of this.boards) board.contact(Number(which), what === "close");
    } else if (this.inReach) this.say(request);
  }

  say(request) {
    const words = this.sayings[request][this.turn];
    this.turn = 1 - this.turn;
    for (const board of this.boards) board.hear(words);
  }

  state() {
    const { frame, turn, inReach } = this;
    return { frame, turn, inReach, boards: this.boards.map(board => board.state()) };
  }

  restore({ frame, turn, inReach, boards }) {
    Object.assign(this, { frame, turn, inReach });
    this.boards.forEach((board, n) => board.restore(boards[n]));
  }
}
