// Recordings on their way to the server: decoded by the browser, sent as WAV.

/** Thrown when the browser cannot make sound of a file. */
export class Undecodable extends Error {}

/**
 * 32-bit float WAV of one channel.
 * @param {Float32Array} samples @param {number} rate @returns {ArrayBuffer}
 */
export function wav(samples, rate) {
  const data = new ArrayBuffer(44 + 4 * samples.length), view = new DataView(data);
  /** @param {number} at @param {string} letters */
  const write = (at, letters) => [...letters].forEach((c, i) => view.setUint8(at + i, c.charCodeAt(0)));
  write(0, "RIFF"); view.setUint32(4, 36 + 4 * samples.length, true); write(8, "WAVEfmt ");
  view.setUint32(16, 16, true); view.setUint16(20, 3, true); view.setUint16(22, 1, true);
  view.setUint32(24, rate, true); view.setUint32(28, 4 * rate, true);
  view.setUint16(32, 4, true); view.setUint16(34, 32, true);
  write(36, "data"); view.setUint32(40, 4 * samples.length, true);
  samples.forEach((value, i) => view.setFloat32(44 + 4 * i, value, true));
  return data;
}

/** One channel of a file, at its own rate if the browser tells it. @param {File} file */
async function decode(file) {
  const context = new OfflineAudioContext(1, 1, 48000);
  try {
    const sound = await context.decodeAudioData(await file.arrayBuffer());
    const mono = new Float32Array(sound.length);
    for (let c = 0; c < sound.numberOfChannels; c += 1) {
      const channel = sound.getChannelData(c);
      for (let i = 0; i < mono.length; i += 1) mono[i] += channel[i] / sound.numberOfChannels;
    }
    return wav(mono, sound.sampleRate);
  } catch {
    throw new Undecodable(file.name);
  }
}

/** What the server reads by itself; anything else is decoded here. */
const DIRECT = /\.(wav|flac|ogg|mp3|aiff?)$/i;

/**
 * Send one recording; throws an Error with the server's sentence when it is refused.
 * @param {File} file
 */
export async function sendRecording(file) {
  const body = DIRECT.test(file.name) ? await file.arrayBuffer() : await decode(file);
  await post(`/recordings?name=${encodeURIComponent(file.name)}`, body);
}

/** @param {File} file @returns {Promise<Record<string, unknown>>} the drum's tables */
export async function sendDrumFile(file) {
  const answer = await post("/drum-file", await file.arrayBuffer());
  return answer.drum;
}

/** @param {string} address @param {BodyInit} body @returns {Promise<any>} */
async function post(address, body) {
  const answer = await fetch(address, { method: "POST", body });
  const told = await answer.json().catch(() => ({}));
  if (!answer.ok) throw new Error(told.error ?? `The bench answered ${answer.status}.`);
  return told;
}
