// Sounds a sketch, from one of its sections on: in this page, where the daemon says which notes and when, or on the MIDI output, where the
// daemon plays and this page follows. A sketch need not be saved to be heard.
import { effect, signal } from '@preact/signals';
import { through } from '../play/hear';
import type { SketchOutline, SongSketch } from '../protocol';
import { audio, hush, sound } from '../sound/tone';
import { ask, complain, status } from '../state';
import { page_time } from '../wire/daemon_clock';

/** Where the song is: the section, which of its times, and how far through that section, 0 to 1. */
export interface Place { id: number; time: number; share: number }
export const place = signal<Place | null>(null);
export const song_seconds = signal({ now: 0, all: 0 });

const ahead_s = 1.2;  // more than a second, because browsers call a hidden page only once a second
const tick_ms = 60;
const loudness = { melody: 1, chords: 0.8, bass: 0.9, pad: 0.55 };  // a piano plays all of them, so what accompanies is softer
let timer = 0;
let asked = 0;
let on_midi = false;  // the daemon was asked to play it
let since = NaN;      // of what the daemon plays for this page

export function stop_song(): boolean {
  const sounded = !!place.peek(), midi = on_midi;
  ended();
  if (midi) void ask('play.stop', {}).catch(complain);
  else if (sounded) hush();
  return sounded;
}

function ended(): void {
  ++asked;
  clearTimeout(timer);
  on_midi = false;
  since = NaN;
  place.value = null;
}

/** `ids`: of the sections, in order; `from`: the one to begin with. `only`: it ends where that section ends. */
export async function hear_song(sketch: SongSketch, ids: number[], from: number, only: boolean): Promise<void> {
  stop_song();
  const number = ++asked;
  if (through.peek() === 'midi') {
    on_midi = true;
    return hear_on_midi(number, sketch, ids, from, only);
  }
  const ctx = audio();  // at once: browsers let a page sound only right after a press
  const outline = await ask('sketch.outline', { sketch, sounding: true });
  if (number !== asked || !outline.sound || outline.sound.turns.length === 0) return;
  sound_out(ctx, number, outline, ids, from, only);
}

interface Turn { id: number; time: number; at: number }
/** `first` and `last`: where the section begins and ends, over the times that follow each other. In seconds, like `from` and `to`. */
interface Stretch { id: number; time: number; from: number; to: number; first: number; last: number }

function stretches(turns: Turn[], length: number): Stretch[] {
  const out = turns.map(({ id, time, at }, i) => ({ id, time, from: at, to: turns[i + 1]?.at ?? length, first: 0, last: 0 }));
  for (let i = 0; i < out.length; ) {
    let end = i;
    while (end + 1 < out.length && out[end + 1]!.id === out[i]!.id) ++end;
    for (let k = i; k <= end; ++k) Object.assign(out[k]!, { first: out[i]!.from, last: out[end]!.to });
    i = end + 1;
  }
  return out;
}

/** Shows where the song is. `now`: seconds from its beginning; before `start` it has not begun. */
function show(turns: Stretch[], start: number, now: number): void {
  const here = turns.findLast((turn) => turn.from <= Math.max(start, now)) ?? turns[0]!;
  place.value = { id: here.id, time: here.time, share: Math.min(1, Math.max(0, (now - here.first) / (here.last - here.first))) };
  song_seconds.value = { now: Math.max(start, now), all: turns.at(-1)!.to };
}

function sound_out(ctx: AudioContext, number: number, { parts, sound: song }: SketchOutline, ids: number[], from: number, only: boolean): void {
  const turns = stretches(
    song!.turns.map((turn) => ({ id: ids[(parts[turn.part]?.section ?? 1) - 1] ?? 0, time: turn.time, at: turn.at_us / 1e6 })), song!.length_us / 1e6);
  const begins = turns.find((turn) => turn.id === from) ?? turns[0]!;
  const start = begins.from, end = only ? begins.last : turns.at(-1)!.to;
  const notes = song!.notes.filter((note) => note.at_us / 1e6 >= start - 0.001 && note.at_us / 1e6 < end - 0.001);
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
    show(turns, start, now);
    timer = window.setTimeout(tick, tick_ms);
  };
  tick();
}

async function hear_on_midi(number: number, sketch: SongSketch, ids: number[], from: number, only: boolean): Promise<void> {
  const section = ids.indexOf(from) + 1;
  const playing = await ask('sketch.play', { sketch, ...(section > 1 || only ? { section } : {}), ...(only ? { only } : {}) }).catch((error: unknown) => {
    if (number === asked) throw error;  // else it was stopped, or something else was asked for
  });
  if (!playing?.song || number !== asked) return;
  since = playing.since;
  const turns = stretches(playing.song.turns.map((turn) => ({ id: ids[turn.section - 1] ?? 0, time: turn.time, at: turn.at_us / 1e6 })), playing.song.length_us / 1e6);
  const begun = page_time(playing.since) ?? performance.now(), start = playing.from_us / 1e6;
  const tick = () => {
    if (number !== asked) return;
    show(turns, start, Math.min(playing.to_us / 1e6, start + (performance.now() - begun) / 1000));
    timer = window.setTimeout(tick, tick_ms);
  };
  tick();
}

// It has ended, or another client stopped it or plays something else.
effect(() => {
  const now = status.value?.playing;
  if (!Number.isNaN(since) && now?.since !== since) ended();
});
