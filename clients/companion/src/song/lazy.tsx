// Opens the song screen. Its script and style are loaded when it is opened for the first time.
import { signal } from '@preact/signals';
import type { ComponentType } from 'preact';
import { useEffect } from 'preact/hooks';
import { complain } from '../state';

const page = signal<{ SongPage: ComponentType<{ take: number }> } | null>(null);

export function LazySong({ take }: { take: number }) {
  useEffect(() => {
    if (!page.peek()) import('./song_page').then((got) => (page.value = got), complain);
  }, []);
  if (!page.value) return <div class="page"><h1>Song</h1><p class="soft">Opening …</p></div>;
  const { SongPage } = page.value;
  return <SongPage key={take} take={take} />;
}
