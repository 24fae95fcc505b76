// Sound that the server may still need: kept until it says that it does not.
/** @typedef {{frame: number, samples: Float32Array}} Block */

const MOST_S = 120;

export class Outbox {
  /** @param {number} stream @param {number} rate */
  constructor(stream, rate) {
    this.stream = stream;
    this.rate = rate;
    /** @type {Block[]} */
    this.blocks = [];
    this.sent = 0;
    this.lost = 0;
  }

  /** @param {Block} block */
  push(block) {
    this.blocks.push(block);
    const first = this.blocks[0];
    if (first && block.frame - first.frame > MOST_S * this.rate) {
      this.blocks.shift();
      if (this.sent > 0) this.sent -= 1;
      else this.lost += first.samples.length;
    }
  }

  /** Drop what ends at or before this frame. @param {number} frame */
  acknowledge(frame) {
    let count = 0;
    for (const block of this.blocks) {
      if (block.frame + block.samples.length > frame) break;
      count += 1;
    }
    this.blocks.splice(0, count);
    this.sent = Math.max(0, this.sent - count);
  }

  /** After a reconnection everything that is kept goes out again. */
  rewind() {
    this.sent = 0;
  }

  /** Blocks that were not sent yet, as frames for the wire. @returns {Generator<ArrayBuffer>} */
  *due() {
    while (this.sent < this.blocks.length) {
      const block = this.blocks[this.sent];
      this.sent += 1;
      yield pack(this.stream, block);
    }
  }

  get seconds() {
    const [first] = this.blocks, last = this.blocks[this.blocks.length - 1];
    return first && last ? (last.frame + last.samples.length - first.frame) / this.rate : 0;
  }
}

/**
 * One block as the protocol sends it: letters, stream, frame, samples, little-endian.
 * @param {number} stream @param {Block} block @returns {ArrayBuffer}
 */
export function pack(stream, block) {
  const data = new ArrayBuffer(16 + 4 * block.samples.length);
  const view = new DataView(data);
  [72, 87, 65, 49].forEach((letter, i) => view.setUint8(i, letter));
  view.setUint32(4, stream, true);
  view.setFloat64(8, block.frame, true);
  block.samples.forEach((value, i) => view.setFloat32(16 + 4 * i, value, true));
  return data;
}
