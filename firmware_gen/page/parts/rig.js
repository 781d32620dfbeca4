// All boards of a show, what is said to them, and the line from the one that leads to the others.

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
    this.leader = this.boards.find(board => board.spec.role === "leads");
    this.hearers = this.leader ? [this.leader] : this.boards; // of the remote
    this.sayings = Object.fromEntries(
      Object.entries(show.sayings).map(([name, both]) => [name, both.map(bytesOf)])
    );
    this.frame = -1; // the last one that was played
    this.turn = 0;
    this.inReach = true;
    this.sources = new Map(); // by name, ticks of a channel's pulses (0: none) or a sensor's reading; what is not there is 0
  }

  /**
   * Play one frame of every board, after these requests. The remote says in every frame that it is
   * there, as long as it is in reach. The board that leads plays first: the others hear of it
   * before their own frame.
   */
  step(requests) {
    if (this.inReach) this.say("beacon");
    for (const request of requests || []) this.ask(request);
    for (const board of this.boards) board.receive(this.sources);
    const led = this.leader?.step();
    const told = this.leader?.hasPower && this.leader.told();
    const said = this.boards.map(board => {
      if (board === this.leader) return led;
      if (told) board.hearLeader(told);
      return board.step();
    });
    said.forEach((words, n) => {
      if (words) this.boards.forEach((board, other) => other !== n && board.hear(words));
    });
    this.frame++;
  }

  ask(request) {
    const [what, which, value] = request.split(" ");
    if (what === "unplug" || what === "plug") {
      this.boards.find(board => board.spec.name === which).power(what === "plug");
    } else if (what === "put") this.sources.set(which, Number(value));
    else if (what === "lose") this.inReach = false;
    else if (what === "find") this.inReach = true;
    else if (what === "close" || what === "open") {
      for (const board of this.boards) board.contact(Number(which), what === "close");
    } else if (this.inReach) this.say(request);
  }

  say(request) {
    const words = this.sayings[request][this.turn];
    this.turn = 1 - this.turn;
    for (const board of this.hearers) board.hear(words);
  }

  state() {
    const { frame, turn, inReach, sources } = this;
    return { frame, turn, inReach, sources: [...sources], boards: this.boards.map(board => board.state()) };
  }

  restore({ frame, turn, inReach, sources, boards }) {
    Object.assign(this, { frame, turn, inReach, sources: new Map(sources) });
    this.boards.forEach((board, n) => board.restore(boards[n]));
  }
}
