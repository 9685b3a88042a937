// The route: which screen is open, from the part of the address after #.
import { signal } from '@preact/signals';

/** `at`: a place in the take, in microseconds after its beginning. */
export type Route = { page: 'play' } | { page: 'takes' } | { page: 'digest' } | { page: 'take' | 'song'; take: number; at: number } | { page: 'settings' };

function read(): Route {
  const hash = location.hash.slice(1);
  const take = /^(take|song)\/(\d+)(?:@(\d+(?:\.\d+)?))?$/.exec(hash);  // #take/12@63.1: 63.1 seconds after its beginning
  if (take) return { page: take[1] as 'take' | 'song', take: Number(take[2]), at: Number(take[3] ?? 0) * 1e6 };
  if (hash === 'takes' || hash === 'digest' || hash === 'settings') return { page: hash };
  return { page: 'play' };
}

export const route = signal<Route>(read());
addEventListener('hashchange', () => (route.value = read()));

/** What the page is called, in the title of the document. */
export function route_title(here: Route): string {
  switch (here.page) {
    case 'play': return 'Play';
    case 'takes': return 'Takes';
    case 'digest': return 'Worth hearing again';
    case 'take': return `Take ${here.take}`;
    case 'song': return `Song of take ${here.take}`;
    case 'settings': return 'Settings';
  }
}
