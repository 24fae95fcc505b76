// Every state that stops the work, in words: what happened and what to do.
/** @type {Record<string, {title: string, todo: string}>} */
export const MESSAGES = {
  denied: {
    title: "The browser does not let this page use the microphone",
    todo: "Click the sign to the left of the address, allow the microphone, then try again. "
      + "On a phone: site settings, microphone, allow.",
  },
  none: {
    title: "No microphone was found",
    todo: "Plug one in, or switch it on in the system's sound settings, then try again. "
      + "You can also drop recordings here, or practise without a drum.",
  },
  busy: {
    title: "Another program holds the microphone",
    todo: "Close the program that records or makes a call, then try again.",
  },
  failed: {
    title: "The microphone could not be opened",
    todo: "Unplug it and plug it in again, or choose another one in the system, then try again.",
  },
  insecure: {
    title: "The browser gives no microphone to an address without encryption",
    todo: "Open the bench as http://127.0.0.1 on the computer where it runs, or start it with "
      + "--lan and open the https address on the phone. Recordings can be dropped here all the same.",
  },
  gesture: {
    title: "The browser waits for you",
    todo: "Press Enter, or the button, so that the microphone may be switched on again. "
      + "The taps so far are kept.",
  },
  lost: {
    title: "The microphone is gone",
    todo: "It was unplugged or switched off. Plug it in and go on; the taps so far are kept.",
  },
  muted: {
    title: "The microphone is silent",
    todo: "Another program or a switch on the microphone has muted it. Unmute it; the round waits.",
  },
  asleep: {
    title: "The listening was asleep",
    todo: "The phone or the browser put the page to sleep. Touch the page to go on, and keep the "
      + "screen on; the taps so far are kept.",
  },
  away: {
    title: "The bench program does not answer",
    todo: "If it was stopped, start it again with: hoopwise bench. This page comes back by itself. "
      + "While listening, sound is kept for two minutes, so that no tap is lost.",
  },
  overflow: {
    title: "The bench program was away for more than two minutes",
    todo: "Older sound had to be let go. Look which rod is next and go on from there.",
  },
  voices: {
    title: "This browser has no voice",
    todo: "Install a voice in the system's settings, or read the large number instead; beeps work "
      + "without a voice.",
  },
  undecodable: {
    title: "The browser cannot read this file",
    todo: "Save the recording as WAV, FLAC, MP3 or M4A and drop it again.",
  },
};
