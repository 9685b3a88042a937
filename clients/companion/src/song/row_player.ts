// Plays a row of chords once, one after another, on the MIDI output or in this page. The player has not voiced them: each sounds as it
// lies best under the hands.
import { signal } from '@preact/signals';
import { hear_chord, stop_hearing } from '../play/hear';

const playing = signal<{ id: object; place: number } | null>(null);
let timer = 0;

/** The chord of this row that sounds now. */
export const row_place = (id: object) => (playing.value?.id === id ? playing.value.place : undefined);

export function hear_row(id: object, chords: string[], seconds_each: number): void {
  stop_row();
  const next = (place: number) => {
    if (place === chords.length) return stop_row();
    playing.value = { id, place };
    void hear_chord(chords[place]!);
    timer = window.setTimeout(next, seconds_each * 1000, place + 1);
  };
  next(0);
}

export function stop_row(): void {
  clearTimeout(timer);
  if (!playing.peek()) return;
  playing.value = null;
  stop_hearing();
}
