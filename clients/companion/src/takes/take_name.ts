// What a take is called on the page: its title, or while it has none, its chords.
import type { TakeSummary } from '../protocol';
import { symbol_of } from '../state';

/** "E♭maj9 Cm7 A♭maj7 G7sus4, 10 times"; empty for a take without chords. */
export function chords_of(take: TakeSummary): string {
  if (!take.content) return '';
  const chords = take.content.chords.map(symbol_of).join(' ');
  return take.content.times > 1 ? `${chords}, ${take.content.times} times` : `${chords} …`;
}

export function day_and_time(utc_ms: number): string {
  return new Date(utc_ms).toLocaleString(undefined, { weekday: 'short', day: 'numeric', month: 'short', year: 'numeric', hour: '2-digit', minute: '2-digit' });
}

const evening_ends_at = 5;  // o'clock; what is played before belongs to the evening before
/** The evening in which it was played, in words. */
export function evening(utc_ms: number): string {
  return new Date(utc_ms - evening_ends_at * 3_600_000).toLocaleDateString(undefined, { weekday: 'long', day: 'numeric', month: 'long', year: 'numeric' });
}
