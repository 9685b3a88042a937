// The chords shown last, which are a path on the plane. It outlasts a reload of the page, in this window only.
import { signal } from '@preact/signals';
import type { ChordInForce } from './protocol';

const most = 7;  // the current chord and six before it
const name = 'undersong.path';
const forget_ms = 10 * 60_000;

/** The newest last. */
export const path = signal<ChordInForce[]>(read());

export function step(chord: ChordInForce): void {
  const before = path.peek();
  const last = before.at(-1);
  if (last && chord.since < last.since) path.value = [chord];                        // the daemon was started anew
  else if (last?.harte === chord.harte && last.since === chord.since) return;        // read from before the reload
  else path.value = [...before, chord].slice(-most);
  try {
    sessionStorage.setItem(name, JSON.stringify({ at: Date.now(), chords: path.peek() }));
  } catch {
    // Without storage the path begins anew after a reload.
  }
}

function read(): ChordInForce[] {
  try {
    const { at, chords } = JSON.parse(sessionStorage.getItem(name) ?? '{}') as { at?: number; chords?: ChordInForce[] };
    if (at && Date.now() - at < forget_ms && Array.isArray(chords)) return chords;
  } catch {
    // What is stored there is not ours.
  }
  return [];
}
