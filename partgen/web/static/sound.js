// Saved, odd, next, refused and lost are heard, too: eyes are on the calipers. Off by the switch; remembered.
import { byId } from "./wire.js";

const NOTES = { // [hertz, begins after s, lasts s]
  saved: [[880, 0, 0.07]],
  next: [[880, 0, 0.07], [1320, 0.1, 0.12]],
  odd: [[330, 0, 0.16], [262, 0.2, 0.26]],
  refused: [[165, 0, 0.5]],
  lost: [[262, 0, 0.2], [208, 0.25, 0.2], [165, 0.5, 0.4]],
};
let context = null;
const key = "sound", button = byId("sound");
export const heard = [];
window.heard = heard; // what was played, oldest first

const isOn = () => localStorage.getItem(key) !== "off";

export function play(what) {
  if (!isOn() || !window.AudioContext) return;
  heard.push(what);
  try {
    context = context || new AudioContext();
    for (const [hertz, after, lasts] of NOTES[what]) {
      const tone = context.createOscillator(), loud = context.createGain(), from = context.currentTime + after;
      tone.frequency.value = hertz;
      loud.gain.setValueAtTime(0.0001, from);
      loud.gain.exponentialRampToValueAtTime(0.25, from + 0.01);
      loud.gain.exponentialRampToValueAtTime(0.0001, from + lasts);
      tone.connect(loud).connect(context.destination);
      tone.start(from);
      tone.stop(from + lasts + 0.02);
    }
  } catch { /* a browser without sound */ }
}

function shown() {
  button.setAttribute("aria-pressed", String(isOn()));
  button.textContent = isOn() ? "Sound on" : "Sound off";
}
if (button) {
  shown();
  button.addEventListener("click", () => { localStorage.setItem(key, isOn() ? "off" : "on"); shown(); if (isOn()) play("saved"); });
}
