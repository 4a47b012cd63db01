// Three answers that differ in pitch, number and length, to the ear and to the hand. One switch for both.
const SOUNDS = {
  fine: { notes: [[1320, 0, 0.09]], shape: "sine", shake: [40] },
  look: { notes: [[880, 0, 0.11], [660, 0.17, 0.16]], shape: "triangle", shake: [70, 60, 70] },
  stop: { notes: [[196, 0, 0.2], [196, 0.27, 0.2], [147, 0.54, 0.45]], shape: "square", shake: [260, 90, 260, 90, 420] },
};

let context;

export const soundIsOn = () => localStorage.getItem("kg.sound") !== "off";
export const turnSound = (on) => localStorage.setItem("kg.sound", on ? "on" : "off");

export function sound(signal) {
  const what = SOUNDS[signal];
  if (!what || !soundIsOn()) return;
  // A browser lets a page sound and shake only after a touch or a key; before that there is nothing to start.
  if (navigator.userActivation?.hasBeenActive === false) return;
  navigator.vibrate?.(what.shake);
  const Audio = globalThis.AudioContext ?? globalThis.webkitAudioContext;
  if (!Audio) return;
  context ??= new Audio();
  if (context.state === "suspended") context.resume();
  for (const [pitch, after, length] of what.notes) {
    const [voice, gain] = [context.createOscillator(), context.createGain()];
    const at = context.currentTime + after;
    voice.type = what.shape;
    voice.frequency.value = pitch;
    gain.gain.setValueAtTime(0.0001, at);
    gain.gain.exponentialRampToValueAtTime(signal === "stop" ? 0.5 : 0.3, at + 0.01);
    gain.gain.exponentialRampToValueAtTime(0.0001, at + length);
    voice.connect(gain).connect(context.destination);
    voice.start(at);
    voice.stop(at + length + 0.02);
  }
}
