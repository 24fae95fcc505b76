// Level meter and spectrum of the microphone, drawn about fifteen times a second.
import { h } from "../dom.js";

const FRAME_MS = 66;

export class Live {
  /** @param {() => AnalyserNode | null} analyser */
  constructor(analyser) {
    this.analyser = analyser;
    this.canvas = /** @type {HTMLCanvasElement} */ (h("canvas", { class: "spectrum", width: 340,
      height: 96, role: "img", "aria-label": "Live spectrum from 50 to 2000 Hz" }));
    this.bar = h("div", { class: "level-bar" });
    this.words = h("span", { class: "level-words" }, "–");
    this.meter = h("div", { class: "level", role: "meter", "aria-label": "Microphone level",
      "aria-valuemin": -60, "aria-valuemax": 0, "aria-valuenow": -60 }, this.bar,
    h("div", { class: "level-good", "aria-hidden": "true" }));
    this.node = h("div", { class: "live" },
      h("div", { class: "live-row" }, this.meter, this.words), this.canvas);
    this.held = -60;
    this.next = 0;
    this.timer = 0;
    /** @type {Float32Array<ArrayBuffer>} */
    this.sound = new Float32Array(4096);
    /** @type {Float32Array<ArrayBuffer>} */
    this.bins = new Float32Array(4096);
  }

  start() {
    if (!this.timer) this.timer = window.setInterval(() => this.draw(), FRAME_MS);
  }

  stop() {
    window.clearInterval(this.timer);
    this.timer = 0;
    this.show(-60);
  }

  draw() {
    const analyser = this.analyser();
    if (!analyser || document.hidden || !this.node.isConnected) return;
    const sound = this.sound;
    analyser.getFloatTimeDomainData(sound);
    let peak = 1e-6;
    for (const value of sound) peak = Math.max(peak, Math.abs(value));
    const level = 20 * Math.log10(peak);
    this.held = Math.max(level, this.held - 2.5);
    this.show(this.held);
    this.drawSpectrum(analyser);
  }

  /** @param {number} level dB of full scale */
  show(level) {
    const shown = Math.round(Math.max(-60, Math.min(0, level)));
    this.bar.style.transform = `scaleX(${(shown + 60) / 60})`;
    this.bar.classList.toggle("hot", shown > -1);
    const words = shown > -1 ? "too loud" : shown > -50 ? `${Math.abs(shown)} dB below full` : "quiet";
    if (this.words.textContent !== words) this.words.textContent = words;
    this.meter.setAttribute("aria-valuenow", String(shown));
    this.meter.setAttribute("aria-valuetext", words);
  }

  /** @param {AnalyserNode} analyser */
  drawSpectrum(analyser) {
    const pen = this.canvas.getContext("2d");
    if (!pen) return;
    const bins = this.bins;
    analyser.getFloatFrequencyData(bins);
    const shown = this.canvas.clientWidth;
    if (shown && this.canvas.width !== shown) this.canvas.width = shown;
    const { width, height } = this.canvas;
    const look = getComputedStyle(this.canvas);
    pen.clearRect(0, 0, width, height);
    pen.strokeStyle = look.getPropertyValue("--rule");
    pen.fillStyle = look.getPropertyValue("--soft");
    pen.font = "12px sans-serif";
    for (const hz of [100, 200, 500, 1000]) {
      const x = width * position(hz);
      pen.fillRect(x, 0, 0.5, height - 14);
      pen.fillText(String(hz), x - 10, height - 2);
    }
    pen.strokeStyle = look.getPropertyValue("--ink");
    pen.lineWidth = 1.5;
    pen.beginPath();
    const perBin = analyser.context.sampleRate / analyser.fftSize;
    for (let x = 0; x < width; x += 2) {
      const hz = 50 * 40 ** (x / width);
      const level = bins[Math.round(hz / perBin)] ?? -120;
      const y = (height - 16) * Math.min(1, Math.max(0, (-20 - level) / 90));
      if (x) pen.lineTo(x, y); else pen.moveTo(x, y);
    }
    pen.stroke();
  }
}

/** Where a frequency lies between 50 and 2000 Hz, 0 to 1. @param {number} hz */
function position(hz) {
  return Math.log(hz / 50) / Math.log(40);
}
