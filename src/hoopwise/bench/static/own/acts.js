// What a person can do on the page, and what it sends.
import { readChoice } from "./views/read.js";
import { passRod } from "./views/mount.js";
import { drumOf } from "./views/setup.js";
import { applyTheme, savePrefs } from "./prefs.js";
import { hasVoice, play } from "./sounds.js";
import { sendDrumFile, sendRecording, Undecodable } from "./uploads.js";
import { MESSAGES } from "./messages.js";
/** @typedef {import("./types").App} App */
/** @typedef {import("./types").Act} Act */
/** @typedef {import("./types").StateName} StateName */
/** @typedef {import("./hearing.js").Hearing} Hearing */
/** @typedef {import("./link.js").Link} Link */

/** @implements {Act} */
export class Acts {
  /**
   * @param {Link} link @param {Hearing} hearing @param {() => App} app
   * @param {(patch: Partial<App>) => void} change
   */
  constructor(link, hearing, app, change) {
    this.link = link;
    this.hearing = hearing;
    this.app = app;
    this.change = change;
    this.listenNext = false;
    /** Which of the reading's ways on was taken. */
    this.asked = "";
    /** @type {{state: StateName, done: () => void}[]} */
    this.waits = [];
    for (const name of ["send", "prefer", "listen", "stopListening", "play", "upload", "openDrumFile", "primary"]) {
      const self = /** @type {any} */ (this);
      self[name] = self[name].bind(this);
    }
  }

  /** @param {Record<string, unknown>} message */
  send(message) {
    if (this.link.send(message)) return;
    this.change({ notice: { code: "away" } });
  }

  /** @param {Partial<import("./types").Prefs>} patch */
  prefer(patch) {
    const prefs = { ...this.app().prefs, ...patch };
    savePrefs(prefs);
    applyTheme(prefs);
    this.change({ prefs });
    if (patch.speech) void hasVoice().then((yes) => { if (!yes) this.change({ notice: { code: "voices" } }); });
  }

  listen() {
    void this.startListening();
  }

  async startListening() {
    const { session, prefs } = this.app();
    if (!session?.drum || !this.link.ready) return;
    const retap = session.state === "read" && this.asked === "retap";
    this.asked = "";
    if (!["ready", "read", "listening"].includes(session.state)) return;
    const real = !session.practice && (session.state !== "listening" || session.round?.source === "microphone");
    if (real) {
      await this.hearing.mic.wake();
      if (!(await this.hearing.open())) return;
    }
    this.change({ notice: null });
    if (session.state === "listening") this.hearing.follow();
    else if (retap) this.send({ kind: "retap", rods: [session.round?.reading?.ask?.rod] });
    else this.send({ kind: "begin_round", source: "microphone", order: prefs.order, taps_per_rod: prefs.taps });
    this.change({ lastTap: null, lostFrames: 0 });
  }

  stopListening() {
    this.hearing.close();
  }

  /** @param {string} take */
  play(take) {
    void play(take);
  }

  /** The main button of the view. */
  primary() {
    const session = this.app().session;
    if (this.app().changing || session?.state === "bare") return this.begin();
    switch (session?.state) {
      case "ready": return this.primaryReady();
      case "listening": return this.primaryListening();
      case "sorting": return this.send({ kind: "finish_round" });
      case "read": return this.primaryRead();
      case "turning": return this.primaryTurning();
      default: return undefined;
    }
  }

  begin() {
    const begin = document.querySelector("[data-key=begin]");
    if (begin instanceof HTMLButtonElement && drumOf(this.app()).drum) begin.click();
  }

  primaryReady() {
    const app = this.app(), rod = passRod(app);
    if (app.session?.stage === "mount" && rod) this.send({ kind: "mark", item: `pass-${rod}`, done: true });
    else this.listen();
  }

  primaryListening() {
    const { session, ear } = this.app();
    if (session?.round?.source === "practice") this.send({ kind: "practice_tap", rod: session.round.next_rod ?? 1 });
    else if (ear.state !== "open") this.listen();
  }

  primaryRead() {
    const main = readChoice(this.app());
    if (main === "trial") this.send({ kind: "begin_turning", trial: true });
    else if (main === "turn") this.send({ kind: "begin_turning" });
    else {
      this.asked = main;
      this.listen();
    }
  }

  primaryTurning() {
    const due = this.app().session?.steps.some((step) => step.made === null);
    if (due) return this.send({ kind: "turn_done" });
    this.listenNext = true;
    return this.send({ kind: "finish_turning" });
  }

  /** The session is in a new state. @param {StateName} state */
  arrived(state) {
    this.waits = this.waits.filter((wait) => {
      if (wait.state === state) wait.done();
      return wait.state !== state;
    });
    if (state === "ready" && this.listenNext) {
      this.listenNext = false;
      this.listen();
    }
  }

  /** @param {FileList | File[]} files */
  upload(files) {
    void this.uploadAll([...files]);
  }

  /** @param {File[]} files */
  async uploadAll(files) {
    const state = this.app().session?.state;
    if (state === "ready" || state === "read") {
      const sorting = new Promise((done) => {
        this.waits.push({ state: "sorting", done: () => done(undefined) });
      });
      this.send({ kind: "begin_round", source: "files", order: this.app().prefs.order, taps_per_rod: this.app().prefs.taps });
      await Promise.race([sorting, new Promise((done) => setTimeout(done, 3000))]);
    }
    for (const file of files) {
      try {
        await sendRecording(file);
      } catch (error) {
        const sentence = error instanceof Undecodable ? `${file.name}: ${MESSAGES.undecodable.todo}`
          : error instanceof Error ? error.message : String(error);
        this.change({ notice: { code: error instanceof Undecodable ? "undecodable" : "upload", sentence } });
      }
    }
  }

  /** @param {File} file */
  openDrumFile(file) {
    sendDrumFile(file).then(
      (table) => this.change({ setup: { ...this.app().setup, table, own: false }, notice: null }),
      (error) => this.change({ notice: { code: "drumfile", sentence: error.message } }));
  }
}
