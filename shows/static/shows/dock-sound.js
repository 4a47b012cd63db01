// Three answers that differ in pitch, number and length, to the ear and to the hand.
import { play } from "../company/sound.js";

export { soundIsOn, turnSound } from "../company/sound.js";

const SOUNDS = {
  fine: { notes: [[1320, 0, 0.09]], shape: "sine", shake: [40] },
  look: { notes: [[880, 0, 0.11], [660, 0.17, 0.16]], shape: "triangle", shake: [70, 60, 70] },
  stop: { notes: [[196, 0, 0.2], [196, 0.27, 0.2], [147, 0.54, 0.45]], shape: "square", shake: [260, 90, 260, 90, 420], loud: 0.5 },
};

export const sound = (signal) => play(SOUNDS[signal]);
