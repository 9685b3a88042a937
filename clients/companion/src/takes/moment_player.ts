// Plays one moment of a take, on the MIDI output or with the page's own sound, including what is already held when it begins.
import { signal } from '@preact/signals';
import type { FoundMoment } from '../protocol';
import { through } from '../play/hear';
import { audio, hush, sound } from '../sound/tone';
import { ask, complain } from '../state';
import { load_take } from './take_data';

const shortest_us = 600_000;  // anything shorter would only be a blip

export type Sounding = Pick<FoundMoment, 'take' | 'from_us' | 'length_us'>;

/** Resolves when it begins. `over` is called when it has ended by itself. */
async function play_moment(moment: Sounding, over: () => void): Promise<() => void> {
  const from = moment.from_us, to = from + Math.max(shortest_us, moment.length_us);
  if (through.peek() === 'midi') {
    await ask('take.play', { take: moment.take, from_us: from, to_us: to, held: true });
    const timer = window.setTimeout(over, (to - from) / 1000);
    return () => {
      clearTimeout(timer);
      void ask('play.stop', {}).catch(() => undefined);
    };
  }
  const { notes } = await load_take(moment.take);
  const begin = audio().currentTime + 0.05;
  for (let i = 0; i < notes.count && notes.at[i]! < to; ++i) {
    const end = Math.min(to, notes.at[i]! + notes.length[i]!);
    if (end <= from) continue;
    const at = Math.max(from, notes.at[i]!);
    sound(notes.pitch[i]!, notes.velocity[i]!, begin + (at - from) / 1e6)(begin + (end - from) / 1e6);
  }
  const timer = window.setTimeout(over, (to - from) / 1000 + 50);
  return () => {
    clearTimeout(timer);
    hush();
  };
}

/** The key of what is playing; empty if nothing is. One thing sounds at a time. */
export const playing = signal('');
let stop: (() => void) | null = null;

export function silence(): void {
  stop?.();
  stop = null;
  playing.value = '';
}

/** Plays it, or stops it if it is what is playing. `then` follows when it has ended by itself. */
export async function play_or_stop(moment: Sounding, key: string, then?: () => void): Promise<void> {
  const same = playing.peek() === key;
  silence();
  if (same) return;
  playing.value = key;
  try {
    stop = await play_moment(moment, () => {
      if (playing.peek() !== key) return;
      playing.value = '';
      then?.();
    });
  } catch (error) {
    playing.value = '';
    complain(error);
  }
}
