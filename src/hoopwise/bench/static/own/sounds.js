// Beep, voice, and keeping the screen awake.

/** A soft beep of less than a tenth of a second. @param {boolean} good */
export function beep(good) {
  const context = player();
  if (context.state !== "running") return;
  const tone = context.createOscillator(), gain = context.createGain();
  tone.frequency.value = good ? 1320 : 330;
  const now = context.currentTime;
  gain.gain.setValueAtTime(0, now);
  gain.gain.linearRampToValueAtTime(0.12, now + 0.02);
  gain.gain.linearRampToValueAtTime(0, now + 0.09);
  tone.connect(gain).connect(context.destination);
  tone.start(now);
  tone.stop(now + 0.1);
}

/** @type {AudioContext | null} */
let shared = null;

function player() {
  shared ??= new AudioContext();
  if (shared.state === "suspended") void shared.resume();
  return shared;
}

/** Play a take of the server. @param {string} take */
export async function play(take) {
  const context = player();
  const answer = await fetch(`/takes/${take}.flac`);
  if (!answer.ok) return;
  const sound = await context.decodeAudioData(await answer.arrayBuffer());
  const source = context.createBufferSource();
  source.buffer = sound;
  source.connect(context.destination);
  source.start(0, 0.25);
}

/** Whether this browser has a voice, once it had time to load them. @returns {Promise<boolean>} */
export async function hasVoice() {
  const speech = window.speechSynthesis;
  if (!speech) return false;
  if (speech.getVoices().length) return true;
  await new Promise((done) => {
    speech.addEventListener("voiceschanged", done, { once: true });
    setTimeout(done, 600);
  });
  return speech.getVoices().length > 0;
}

/** @param {string} words */
export function speak(words) {
  const speech = window.speechSynthesis;
  if (!speech) return;
  speech.cancel();
  const line = new SpeechSynthesisUtterance(words);
  line.lang = "en";
  line.rate = 1.1;
  speech.speak(line);
}

/** @type {WakeLockSentinel | null} */
let lock = null;

/** Keep the screen on while a round runs. @param {boolean} wanted */
export async function keepAwake(wanted) {
  try {
    if (wanted && !lock && navigator.wakeLock && !document.hidden) {
      lock = await navigator.wakeLock.request("screen");
      lock.addEventListener("release", () => { lock = null; });
    } else if (!wanted && lock) {
      await lock.release();
    }
  } catch { /* battery saver: the screen may go dark; the round goes on */ }
}
