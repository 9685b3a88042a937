// Sounds in this page the loop that somebody plays along with. The daemon keeps the time and records what is played over it; this
// page strikes the notes that the answer to play.along brought, so that they are heard when the daemon's clock says so.
import { effect } from '@preact/signals';
import { through } from '../play/hear';
import type { PlayAlong, Playing, SoundingNote } from '../protocol';
import { ask, status } from '../state';
import { page_time } from '../wire/daemon_clock';
import { audio, hush, sound } from './tone';

const ahead_ms = 1300;  // more than a second, because browsers call a hidden page only once a second
const tick_ms = 100;

interface Sounding { since: number; stop: () => void }
let current: Sounding | null = null;

/** The time of the audio clock at which something is heard at `ms` of performance.now(). */
function audio_time(ctx: AudioContext, ms: number): number {
  const { contextTime = 0, performanceTime = 0 } = ctx.getOutputTimestamp();
  return performanceTime > 0 ? contextTime + (ms - performanceTime) / 1000 : ctx.currentTime + (ms - performance.now()) / 1000;
}

/** Repeats a loop on the MIDI output, or in this page where suggestions are heard here. */
export async function repeat_loop(wish: PlayAlong): Promise<Playing> {
  const here = through.peek() === 'page';
  if (here) audio();  // while the browser still sees the press that asked for sound
  const got = await ask('play.along', here ? { ...wish, by_client: true } : wish);
  if (got.along?.by_client) sound_loop(got);
  return got;
}

function sound_loop(playing: Playing): void {
  current?.stop();
  const along = playing.along!;
  const notes = along.notes ?? [];
  const lead_in = notes.filter((note) => note.at_us < along.count_in_us);
  const round = notes.filter((note) => note.at_us >= along.count_in_us);
  const ctx = audio();
  let timer = 0, next = 0;
  /** The n-th note from the beginning on, with its time; null after the last. */
  const nth = (n: number): { note: SoundingNote; at: number } | null => {
    if (n < lead_in.length) return { note: lead_in[n]!, at: lead_in[n]!.at_us };
    if (round.length === 0) return null;
    const times = Math.floor((n - lead_in.length) / round.length);
    if (along.rounds && times >= along.rounds) return null;
    const note = round[(n - lead_in.length) % round.length]!;
    return { note, at: note.at_us + times * along.cycle_us };
  };
  const tick = () => {
    for (let due = nth(next); due; due = nth(++next)) {
      const ms = page_time(playing.since + due.at);
      if (ms === null || ms > performance.now() + ahead_ms) break;
      const at = audio_time(ctx, ms);
      if (at > ctx.currentTime - 0.1) sound(due.note.pitch, due.note.velocity, at)(at + due.note.length_us / 1e6);  // later than that it would only disturb
    }
    timer = window.setTimeout(tick, tick_ms);
  };
  const mine: Sounding = {
    since: playing.since,
    stop: () => {
      clearTimeout(timer);
      unfollow();
      if (current === mine) current = null;
      hush();
    },
  };
  current = mine;
  // A status that comes after the answer knows of this loop; without it, the loop was stopped or is over.
  const known = status.peek();
  const unfollow = effect(() => {
    const now = status.value;
    if (now !== known && now?.playing?.since !== mine.since) queueMicrotask(mine.stop);
  });
  tick();
}
