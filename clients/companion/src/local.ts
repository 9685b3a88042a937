// Settings of this page in this browser. The settings of the daemon are in its status.
import { effect, signal, type Signal } from '@preact/signals';

function kept<T extends string | number | boolean>(name: string, initial: T): Signal<T> {
  const key = `undersong.${name}`;
  let value = initial;
  try {
    const text = localStorage.getItem(key);
    if (text !== null) {
      const read = JSON.parse(text) as unknown;
      if (typeof read === typeof initial) value = read as T;
    }
  } catch {
    // No storage, or its content is not ours: begin with defaults.
  }
  const made = signal(value);
  effect(() => {
    const text = JSON.stringify(made.value);
    try {
      localStorage.setItem(key, text);
    } catch {
      // Without storage the settings last for this visit only.
    }
  });
  return made;
}

const in_the_hand = matchMedia('(pointer: coarse)').matches && Math.min(screen.width, screen.height) < 500;

export type View = 'plane' | 'list' | 'voicing';

export const local = {
  theme: kept<string>('theme', 'auto'),
  study: kept<boolean>('study', false),  // the plane, the whole list and the voicing instead of the glance
  distance_cm: kept<number>('distance', in_the_hand ? 50 : 100),  // from the eyes to the screen
  screen_inch: kept<number>('screen', 0),  // the diagonal of the screen; 0: not known
  view: kept<string>('view', 'plane'),
  all_alternatives: kept<boolean>('all', false),
  hear_through: kept<string>('hear', 'auto'),
  keys_open: kept<boolean>('keys', false),
  latch: kept<boolean>('latch', false),
  tour_seen: kept<boolean>('tour', false),
  paper: kept<string>('paper', ''),  // on which parts are printed; empty: what is usual where the browser's language is spoken
};
