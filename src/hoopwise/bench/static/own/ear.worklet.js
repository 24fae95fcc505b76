// Runs on the audio thread: gathers the microphone's sound into blocks with their frame number.
const BLOCK = 1024;

class Ear extends AudioWorkletProcessor {
  constructor() {
    super();
    this.block = new Float32Array(BLOCK);
    this.filled = 0;
    this.first = 0;
  }

  /** @param {Float32Array[][]} inputs */
  process(inputs) {
    const channels = inputs[0];
    if (!channels || !channels.length) return true;
    const length = channels[0].length;
    if (this.filled && this.first + this.filled !== currentFrame) this.filled = 0;
    if (!this.filled) this.first = currentFrame;
    for (let i = 0; i < length; i += 1) {
      let sum = 0;
      for (const channel of channels) sum += channel[i];
      this.block[this.filled + i] = sum / channels.length;
    }
    this.filled += length;
    if (this.filled >= BLOCK) {
      this.port.postMessage({ frame: this.first, samples: this.block }, [this.block.buffer]);
      this.block = new Float32Array(BLOCK);
      this.filled = 0;
    }
    return true;
  }
}

registerProcessor("ear", Ear);
