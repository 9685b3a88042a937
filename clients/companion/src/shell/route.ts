// The route: which screen is open, from the part of the address after #.
import { signal } from '@preact/signals';

export type Route = { page: 'play' } | { page: 'takes' } | { page: 'take' | 'song'; take: number } | { page: 'settings' };

function read(): Route {
  const hash = location.hash.slice(1);
  const take = /^(take|song)\/(\d+)$/.exec(hash);
  if (take) return { page: take[1] as 'take' | 'song', take: Number(take[2]) };
  if (hash === 'takes' || hash === 'settings') return { page: hash };
  return { page: 'play' };
}

export const route = signal<Route>(read());
addEventListener('hashchange', () => (route.value = read()));

/** What the page is called, in the title of the document. */
export function route_title(here: Route): string {
  switch (here.page) {
    case 'play': return 'Play';
    case 'takes': return 'Takes';
    case 'take': return `Take ${here.take}`;
    case 'song': return `Song of take ${here.take}`;
    case 'settings': return 'Settings';
  }
}
