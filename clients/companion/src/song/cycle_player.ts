// Sounds a cycle of chords in tempo: with the page's tone in the voicings shown, or on the MIDI output, where the daemon
// lays each chord out itself.
import { signal } from '@preact/signals';
import { through } from '../play/hear';
import type { ProposedChord } from '../protocol';
import { audio, hush, sound } from '../sound/tone';
import { ask, complain } from '../state';

/** What is heard now: which cycle, and the place in it. */
export const heard = signal<{ id: string; place: number } | null>(null);

const softly = 54;
const tick_ms = 40;
let timer = 0;

export function stop_cycle(): void {
  if (!heard.peek()) return;
  clearTimeout(timer);
  heard.value = null;
  hush();
  if (on_midi) void ask('hear', { stop: true }).catch(() => undefined);
}
let on_midi = false;

/** Once round, then it ends by itself. `lengths` in seconds. */
export function hear_cycle(id: string, chords: ProposedChord[], lengths: number[]): void {
  stop_cycle();
  on_midi = through.peek() === 'midi';
  const ctx = on_midi ? null : audio();
  const now = () => (ctx ? ctx.currentTime : performance.now() / 1000);
  const begun = now() + 0.06;
  const starts = lengths.map((_, i) => begun + lengths.slice(0, i).reduce((sum, each) => sum + each, 0));
  const end = begun + lengths.reduce((sum, each) => sum + each, 0);
  heard.value = { id, place: 0 };
  let next = 0;
  const begin = (place: number) => {
    const chord = chords[place]!;
    if (on_midi) {
      ask('hear', { harte: chord.harte }).catch((error: unknown) => { stop_cycle(); complain(error); });
      return;
    }
    const pitches = [...chord.left, ...chord.right].sort((a, b) => a - b);
    pitches.forEach((pitch, i) => sound(pitch, softly, starts[place]! + i * 0.012)(starts[place]! + lengths[place]! * 0.96));
  };
  const ahead = on_midi ? 0 : 0.2;
  const tick = () => {
    const time = now();
    while (next < chords.length && starts[next]! <= time + ahead) begin(next++);
    if (heard.peek()?.id !== id) return;
    if (time >= end) return stop_cycle();
    const place = Math.max(0, starts.findLastIndex((start) => start <= time));
    if (heard.peek()!.place !== place) heard.value = { id, place };
    timer = window.setTimeout(tick, tick_ms);
  };
  tick();
}
