// Prints the daemon's sentences, and lengths.
import type { LoopChord } from '../protocol';
import { pretty } from '../music/text';

export { plural } from '../music/text';

/** A sentence that may contain chord names. */
export const worded = pretty;

/** 2 beats as "2", 1.5 as "1½". */
export function number_of_beats(beats: number): string {
  const whole = Math.floor(beats + 0.02), part = Math.round((beats - whole) * 4);
  return `${whole > 0 || part === 0 ? whole : ''}${['', '¼', '½', '¾', ''][part] ?? ''}`;
}

/** How long a chord of the loop lasts, in words. */
export function lasts(chord: LoopChord): string {
  return chord.beats === undefined ? `${(chord.length_us / 1e6).toFixed(1)} s` : `${number_of_beats(chord.beats)} ${Math.abs(chord.beats - 1) < 0.02 ? 'beat' : 'beats'}`;
}

/** The length of one chord in seconds: by the tempo if there is a pulse. */
export function seconds(chord: LoopChord, tempo: number | undefined): number {
  return chord.beats !== undefined && tempo ? (chord.beats * 60) / tempo : chord.length_us / 1e6;
}
