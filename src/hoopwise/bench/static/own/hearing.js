// Ties microphone, outbox and link together: opens the ear, sends sound, loses none of it.
import { Microphone } from "./microphone.js";
import { Outbox } from "./outbox.js";
/** @typedef {import("./types").App} App */
/** @typedef {import("./link.js").Link} Link */

const MOST_WAITING = 4_000_000;

export class Hearing {
  /**
   * @param {Link} link @param {() => App} app @param {(patch: Partial<App>) => void} change
   * @param {string} worklet
   */
  constructor(link, app, change, worklet) {
    this.link = link;
    this.app = app;
    this.change = change;
    /** @type {Outbox | null} */
    this.outbox = null;
    this.asked = 0;
    this.mic = new Microphone(worklet, {
      block: (block) => this.take(block),
      trouble: (code) => this.trouble(code),
      awake: () => this.awake(),
    });
  }

  /** Open the microphone; false when it could not be opened (the page then says why). */
  async open() {
    if (this.mic.opened) return true;
    this.change({ ear: { ...this.app().ear, state: "opening" }, notice: null });
    try {
      const opened = await this.mic.open();
      this.outbox = new Outbox(opened.stream, opened.rate);
      this.asked = 0;
      this.change({ ear: { state: "open", processing: opened.processing, rate: opened.rate, name: opened.name } });
      return true;
    } catch (error) {
      const code = error instanceof Error ? error.message : "failed";
      const known = ["denied", "none", "busy", "insecure", "gesture"].includes(code);
      this.close();
      this.change({ notice: { code: known ? code : "failed" } });
      return false;
    }
  }

  close() {
    const stream = this.mic.opened?.stream;
    this.mic.close();
    this.outbox = null;
    if (stream) this.link.send({ kind: "close_ear", stream });
    this.change({ ear: { state: "closed", processing: "unknown", rate: 0, name: "" } });
  }

  /** The server's state changed, or it came back: make sure that it listens to us. */
  follow() {
    const session = this.app().session, opened = this.mic.opened;
    if (!session || !opened || !this.link.ready) return;
    const listening = session.state === "listening" && session.round?.source === "microphone";
    if (!listening) {
      if (session.state !== "ready" && session.state !== "read") this.close();
      return;
    }
    if (session.ear?.stream === opened.stream) this.flush();
    else if (this.asked !== opened.stream) {
      this.asked = opened.stream;
      this.link.send({ kind: "open_ear", stream: opened.stream, rate: opened.rate, settings: opened.settings });
    }
  }

  /** The server is back: it may have lost what it had not judged yet. */
  rejoin() {
    this.asked = 0;
    this.outbox?.rewind();
  }

  /** @param {{frame: number, samples: Float32Array}} block */
  take(block) {
    const outbox = this.outbox;
    if (!outbox) return;
    const before = outbox.lost;
    outbox.push(block);
    if (outbox.lost > before && this.app().notice?.code !== "overflow") {
      this.change({ notice: { code: "overflow" } });
    }
    if (this.app().session?.ear?.stream === outbox.stream) this.flush();
  }

  flush() {
    if (!this.outbox || !this.link.ready || this.app().link !== "open") return;
    for (const data of this.outbox.due()) {
      this.link.sendSound(data);
      if (this.link.waiting > MOST_WAITING) break;
    }
  }

  /** @param {{stream: number, frame: number}} event */
  acknowledge(event) {
    if (this.outbox?.stream === event.stream) this.outbox.acknowledge(event.frame);
  }

  /** Own sounds are no taps. @param {number} seconds how long they last */
  deafen(seconds) {
    const opened = this.mic.opened;
    if (!opened) return;
    const begin = this.mic.frame, end = begin + Math.round(seconds * opened.rate);
    this.link.send({ kind: "deafen", stream: opened.stream, begin, end });
  }

  /** @param {string} code */
  trouble(code) {
    if (code === "lost") this.close();
    else this.change({ ear: { ...this.app().ear, state: "asleep" } });
    this.change({ notice: { code } });
  }

  awake() {
    const app = this.app();
    if (app.ear.state !== "asleep") return;
    const stale = ["asleep", "muted"].includes(app.notice?.code ?? "");
    this.change({ ear: { ...app.ear, state: "open" }, notice: stale ? null : app.notice });
  }
}
