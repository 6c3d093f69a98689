/* What the hand and the ear are told when something was saved: the eye is on the animal. */

/** @type {[string, string][]} */
export const SENSES = [["sound", "A sound when something is saved"], [
  "vibration",
  "A vibration when something is saved",
]];
const PITCH = 880; // Hz
const LONG = 0.09; // seconds
const LOUD = 0.06; // of 1: animals are asleep beside it
const SHAKE = 40; // milliseconds

/** Of this phone, whoever is signed in; on unless it was silenced.
    @param {string} sense */
export const isOn = (sense) => localStorage.getItem(sense) !== "off";

/** @param {string} sense
    @param {boolean} on */
export function turn(sense, on) {
  if (on) localStorage.removeItem(sense);
  else localStorage.setItem(sense, "off");
}

/** Something was saved by a touch or a key: a browser lets nothing sound or shake before one. */
export function felt() {
  if (!navigator.userActivation?.hasBeenActive) return;
  if (isOn("vibration")) navigator.vibrate?.(SHAKE);
  if (isOn("sound")) sound().catch(() => {}); // no loudspeaker is no fault
}

/** @type {AudioContext | null} */
let audio = null;

async function sound() {
  audio ??= new AudioContext();
  await audio.resume();
  const tone = new OscillatorNode(audio, { frequency: PITCH });
  const gain = new GainNode(audio, { gain: LOUD });
  gain.gain.setTargetAtTime(0, audio.currentTime + LONG / 2, LONG / 6); // no click at its end
  tone.connect(gain).connect(audio.destination);
  tone.start();
  tone.stop(audio.currentTime + LONG);
}
