// Sounds a sketch in this page, from one of its sections on. The daemon says which notes and when; a sketch need not be saved to be heard.
import { signal } from '@preact/signals';
import type { SketchOutline, SongSketch } from '../protocol';
import { audio, hush, sound } from '../sound/tone';
import { ask } from '../state';

/** Where the song is: the section, which of its times, and how far through that section, 0 to 1. */
export interface Place { id: number; time: number; share: number }
export const place = signal<Place | null>(null);
export const song_seconds = signal({ now: 0, all: 0 });

const ahead_s = 1.2;  // more than a second, because browsers call a hidden page only once a second
const tick_ms = 60;
const loudness = { melody: 1, chords: 0.8, bass: 0.9, pad: 0.55 };  // a piano plays all of them, so what accompanies is softer
let timer = 0;
let asked = 0;

export function stop_song(): boolean {
  ++asked;
  clearTimeout(timer);
  if (!place.peek()) return false;
  place.value = null;
  hush();
  return true;
}

/** `ids`: of the sections, in order; `from`: the one to begin with. `only`: it ends where that section ends. */
export async function hear_song(sketch: SongSketch, ids: number[], from: number, only: boolean): Promise<void> {
  stop_song();
  const number = ++asked;
  const ctx = audio();  // at once: browsers let a page sound only right after a press
  const outline = await ask('sketch.outline', { sketch, sounding: true });
  if (number !== asked || !outline.sound || outline.sound.turns.length === 0) return;
  sound_out(ctx, number, outline, ids, from, only);
}

interface Stretch { id: number; time: number; from: number; to: number; first: number; last: number }

/** The turns of the song in seconds. `first` and `last`: where the section begins and ends, over the times that follow each other. */
function stretches({ parts, sound }: SketchOutline, ids: number[]): Stretch[] {
  const out = sound!.turns.map((turn, i) => ({
    id: ids[(parts[turn.part]?.section ?? 1) - 1] ?? 0, time: turn.time, from: turn.at_us / 1e6, to: (sound!.turns[i + 1]?.at_us ?? sound!.length_us) / 1e6, first: 0, last: 0,
  }));
  for (let i = 0; i < out.length; ) {
    let end = i;
    while (end + 1 < out.length && out[end + 1]!.id === out[i]!.id) ++end;
    for (let k = i; k <= end; ++k) Object.assign(out[k]!, { first: out[i]!.from, last: out[end]!.to });
    i = end + 1;
  }
  return out;
}

function sound_out(ctx: AudioContext, number: number, outline: SketchOutline, ids: number[], from: number, only: boolean): void {
  const turns = stretches(outline, ids);
  const begins = turns.find((turn) => turn.id === from) ?? turns[0]!;
  const start = begins.from, end = only ? begins.last : turns.at(-1)!.to;
  const notes = outline.sound!.notes.filter((note) => note.at_us / 1e6 >= start - 0.001 && note.at_us / 1e6 < end - 0.001);
  const zero = ctx.currentTime + 0.08 - start;  // of the song, on the audio clock
  let next = 0;
  const tick = () => {
    if (number !== asked) return;
    const now = ctx.currentTime - zero;
    for (; next < notes.length && notes[next]!.at_us / 1e6 < now + ahead_s; ++next) {
      const note = notes[next]!, at = zero + note.at_us / 1e6;
      sound(note.pitch, Math.max(1, Math.round(note.velocity * loudness[note.layer])), at)(at + Math.min(note.length_us / 1e6, end - note.at_us / 1e6));
    }
    if (now >= end) return void stop_song();
    const here = turns.findLast((turn) => turn.from <= Math.max(start, now)) ?? begins;
    place.value = { id: here.id, time: here.time, share: Math.min(1, Math.max(0, (now - here.first) / (here.last - here.first))) };
    song_seconds.value = { now: Math.max(start, now), all: turns.at(-1)!.to };
    timer = window.setTimeout(tick, tick_ms);
  };
  tick();
}
