// What a take is called on the page: its title, or while it has none, what was gone round in it.
import { key_name, pretty } from '../music/text';
import type { TakeContent, TakeSummary } from '../protocol';
import { symbol_of } from '../state';

const count_words = ['', 'once', 'twice', 'three', 'four', 'five', 'six', 'seven', 'eight', 'nine', 'ten', 'eleven', 'twelve'];
const times_words = (times: number) => (times < 3 ? count_words[times]! : `${count_words[times] ?? times} times`);

/** "E♭maj9 Cm7 A♭maj7 G7sus4, ten times"; empty for a take without chords. */
export function chords_of({ content }: { content?: TakeContent }): string {
  if (!content) return '';
  const chords = content.chords.map((chord) => pretty(symbol_of(chord))).join(' ');
  return content.times > 1 ? `${chords}, ${times_words(content.times)}` : `begins ${chords}`;
}

/** The same with key and tempo: "..., ten times; C minor, 73". */
export function content_name(take: TakeSummary): string {
  const chords = chords_of(take);
  const more = [take.key ? key_name(take.key) : '', take.content?.tempo ? String(Math.round(take.content.tempo)) : ''].filter(Boolean).join(', ');
  return chords && more ? `${chords}; ${more}` : chords;
}

/** What it is called where its key is not at hand. */
export function name_of({ title, content, take }: { title: string; content?: TakeContent; take: number }): string {
  return title || chords_of(content ? { content } : {}) || `Take ${take}`;
}

const interval_words = ['', 'a semitone', 'a tone', 'a minor third', 'a major third', 'a fourth', 'a tritone'];
/** "a fourth higher", or "in the same key". */
export function interval(shift: number): string {
  return shift === 0 ? 'in the same key' : `${interval_words[Math.abs(shift)]} ${shift > 0 ? 'higher' : 'lower'}`;
}

export function day_and_time(utc_ms: number): string {
  return new Date(utc_ms).toLocaleString(undefined, { weekday: 'short', day: 'numeric', month: 'short', year: 'numeric', hour: '2-digit', minute: '2-digit' });
}
export function time_of_day(utc_ms: number): string {
  return new Date(utc_ms).toLocaleTimeString(undefined, { hour: '2-digit', minute: '2-digit' });
}
/** "in March", "in March 2024": seen from the other time. */
export function month(utc_ms: number, from_utc_ms: number): string {
  const then = new Date(utc_ms);
  const same = then.getFullYear() === new Date(from_utc_ms).getFullYear();
  return then.toLocaleDateString(undefined, same ? { month: 'long' } : { month: 'long', year: 'numeric' });
}

const evening_ends_at = 5;  // o'clock; what is played before belongs to the evening before
/** The evening in which it was played, in words. */
export function evening(utc_ms: number): string {
  return new Date(utc_ms - evening_ends_at * 3_600_000).toLocaleDateString(undefined, { weekday: 'long', day: 'numeric', month: 'long', year: 'numeric' });
}
