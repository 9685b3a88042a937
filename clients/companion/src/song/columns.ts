// One grid for the loop and everything below it. In a short loop each chord has a column as wide as the chord is long.
// A longer loop continues in the next row, like the lines of a chart.
import type { FoundLoop } from '../protocol';

export const most_in_a_row = 4;
const most_where_there_is_room = 8;

export function columns(loop: Pick<FoundLoop, 'chords'>): Record<string, string> {
  const count = loop.chords.length;
  if (count > most_in_a_row) return { '--in-a-row': String(Math.min(most_where_there_is_room, count)) };
  const shares = loop.chords.map((chord) => Math.max(0.001, chord.beats ?? chord.length_us / 1e6));
  const mean = shares.reduce((sum, each) => sum + each, 0) / shares.length;
  return { gridTemplateColumns: shares.map((share) => `minmax(0, ${Math.min(1.8, Math.max(0.75, share / mean)).toFixed(2)}fr)`).join(' ') };
}
