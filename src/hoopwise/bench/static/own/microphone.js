// The microphone: opened with the browser's sound processing off, watched for trouble.
/** @typedef {import("./outbox.js").Block} Block */

const FLAGS = ["echoCancellation", "noiseSuppression", "autoGainControl", "voiceIsolation"];
const KEPT = [...FLAGS, "sampleRate", "channelCount", "latency", "sampleSize"];

/** Names of getUserMedia's errors to ours. @type {Record<string, string>} */
const TROUBLE = {
  NotAllowedError: "denied", SecurityError: "denied", NotFoundError: "none",
  NotReadableError: "busy", AbortError: "busy", OverconstrainedError: "none",
};

/**
 * @typedef {object} Opened
 * @property {number} stream @property {number} rate @property {string} name
 * @property {Record<string, boolean | number | string | null>} settings
 * @property {"raw" | "on" | "unknown"} processing
 */

export class Microphone {
  /**
   * @param {string} worklet address of the worklet's module
   * @param {{block: (b: Block) => void, trouble: (code: string) => void,
   *   awake: () => void}} handlers
   */
  constructor(worklet, handlers) {
    this.worklet = worklet;
    this.handlers = handlers;
    /** @type {AudioContext | null} */
    this.context = null;
    /** @type {MediaStream | null} */
    this.media = null;
    /** @type {AnalyserNode | null} */
    this.analyser = null;
    /** @type {Opened | null} */
    this.opened = null;
  }

  /** Open it, or throw one of our trouble codes. @returns {Promise<Opened>} */
  async open() {
    if (!window.isSecureContext || !navigator.mediaDevices) throw new Error("insecure");
    this.close();
    const wanted = Object.fromEntries(FLAGS.map((flag) => [flag, false]));
    try {
      this.media = await navigator.mediaDevices.getUserMedia({ audio: wanted });
    } catch (error) {
      throw new Error(TROUBLE[error instanceof Error ? error.name : ""] ?? "failed");
    }
    const [track] = this.media.getAudioTracks();
    const context = new AudioContext({ latencyHint: "interactive" });
    this.context = context;
    await context.audioWorklet.addModule(this.worklet);
    await Promise.race([context.resume(), new Promise((done) => setTimeout(done, 500))]);
    if (context.state !== "running") {
      this.close();
      throw new Error("gesture");
    }
    this.connect(context, this.media);
    this.watch(track, context);
    this.opened = describe(track, context);
    return this.opened;
  }

  /** @param {AudioContext} context @param {MediaStream} media */
  connect(context, media) {
    const source = context.createMediaStreamSource(media);
    const ear = new AudioWorkletNode(context, "ear", { numberOfOutputs: 0 });
    ear.port.onmessage = (event) => this.handlers.block(event.data);
    this.analyser = context.createAnalyser();
    this.analyser.fftSize = 8192;
    this.analyser.smoothingTimeConstant = 0.5;
    source.connect(ear);
    source.connect(this.analyser);
  }

  /** @param {MediaStreamTrack} track @param {AudioContext} context */
  watch(track, context) {
    track.addEventListener("ended", () => this.lost("lost"));
    track.addEventListener("mute", () => this.handlers.trouble("muted"));
    track.addEventListener("unmute", () => this.handlers.awake());
    context.addEventListener("statechange", () => {
      if (this.context !== context) return;
      if (context.state === "running") this.handlers.awake();
      else if (context.state !== "closed") this.handlers.trouble("asleep");
    });
  }

  /** @param {string} code */
  lost(code) {
    this.close();
    this.handlers.trouble(code);
  }

  /** The audio clock now, in frames. */
  get frame() {
    return this.context ? Math.round(this.context.currentTime * this.context.sampleRate) : 0;
  }

  async wake() {
    if (this.context && this.context.state !== "running") await this.context.resume();
  }

  close() {
    const { context, media } = this;
    this.context = this.media = this.analyser = this.opened = null;
    media?.getTracks().forEach((track) => track.stop());
    if (context && context.state !== "closed") void context.close();
  }
}

/** @param {MediaStreamTrack} track @param {AudioContext} context @returns {Opened} */
function describe(track, context) {
  /** @type {Record<string, unknown>} */
  const told = { ...track.getSettings() };
  const settings = Object.fromEntries(KEPT.map((name) => [name, plain(told[name])]));
  const flags = FLAGS.map((flag) => told[flag]);
  const on = flags.some((value) => value !== undefined && value !== false);
  const raw = flags.slice(0, 3).every((value) => value === false);
  return {
    stream: crypto.getRandomValues(new Uint32Array(1))[0] || 1,
    rate: context.sampleRate,
    name: track.label.slice(0, 60),
    settings,
    processing: on ? "on" : raw ? "raw" : "unknown",
  };
}

/** @param {unknown} value @returns {boolean | number | string | null} */
function plain(value) {
  return ["boolean", "number", "string"].includes(typeof value)
    ? /** @type {boolean | number | string} */ (value) : null;
}
