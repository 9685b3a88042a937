// One grid for the loop and all that stands below it: a column a chord, as wide as the chord is long.
import type { TakeLoop } from '../protocol';

export const most_in_a_row = 4;

export function columns(loop: TakeLoop): { gridTemplateColumns: string } | undefined {
  if (loop.chords.length > most_in_a_row) return undefined;  // then all are the same, and they wrap where there is no room
  const shares = loop.chords.map((chord) => Math.max(0.001, chord.beats ?? chord.length_us / 1e6));
  const mean = shares.reduce((sum, each) => sum + each, 0) / shares.length;
  return { gridTemplateColumns: shares.map((share) => `minmax(0, ${Math.min(1.8, Math.max(0.75, share / mean)).toFixed(2)}fr)`).join(' ') };
}
