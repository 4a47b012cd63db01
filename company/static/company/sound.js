// Answers that differ in pitch, number and length, to the ear and to the hand. One switch for all pages of this device.
let context;

export const soundIsOn = () => localStorage.getItem("kg.sound") !== "off";
export const turnSound = (on) => localStorage.setItem("kg.sound", on ? "on" : "off");

// `what` is { notes: [[pitch in Hz, start in s, length in s]], shape, shake: [ms], loud }.
export function play(what) {
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
    gain.gain.exponentialRampToValueAtTime(what.loud ?? 0.3, at + 0.01);
    gain.gain.exponentialRampToValueAtTime(0.0001, at + length);
    voice.connect(gain).connect(context.destination);
    voice.start(at);
    voice.stop(at + length + 0.02);
  }
}
