// What the daemon makes of the sketch as it stands, saved or not: how long each section lasts, its chords and its key. Asked for again
// whenever the sketch changes.
import { signal } from '@preact/signals';
import type { OutlinedPart, SketchOutline, SongSketch } from '../protocol';
import { ask } from '../state';

interface Outlined {
  outline: SketchOutline;
  ids: number[];  // of the sections it was made of, in order: they keep theirs when they move
}
export const outlined = signal<Outlined | null>(null);

const wait_ms = 180;  // for the player to go on typing
let timer = 0;
let asked = 0;

/** `problem` is called with the daemon's sentence if the sketch makes no song. */
export function outline_soon(sketch: SongSketch, ids: number[], problem: (error: unknown) => void): void {
  clearTimeout(timer);
  const number = ++asked;
  if (ids.length === 0) return void (outlined.value = null);
  timer = window.setTimeout(() => {
    ask('sketch.outline', { sketch }).then((outline) => { if (number === asked) outlined.value = { outline, ids }; },
                                           (error: unknown) => { if (number === asked) problem(error); });
  }, wait_ms);
}

/** The parts that a section makes: several if its passes differ, and a pickup before the first. None: not known yet. */
export function parts_of(id: number): OutlinedPart[] {
  const now = outlined.value;
  const place = now ? now.ids.indexOf(id) : -1;
  return place < 0 ? [] : now!.outline.parts.filter((part) => part.section === place + 1);
}

export const beats_of = (id: number) => parts_of(id).reduce((sum, part) => sum + part.beats, 0);

/** A bar of the song in seconds; of four beats at 100 a minute while nothing is known of it. */
export function seconds_a_bar(): number {
  const now = outlined.peek()?.outline;
  return now ? (now.meter * 60) / now.tempo : 2.4;
}
