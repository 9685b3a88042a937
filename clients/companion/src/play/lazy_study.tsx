// What is there to study comes after the first paint.
import type { ComponentType } from 'preact';
import { signal } from '@preact/signals';
import { useEffect } from 'preact/hooks';
import { daemon } from '../state';

const loaded = signal<ComponentType | null>(null);
const fetch_study = () => import('./study').then(({ Study }) => (loaded.value = Study), () => undefined);  // asked for again with the next connection

export function LazyStudy() {
  useEffect(() => { if (!loaded.peek()) void fetch_study(); }, [daemon.link.value]);
  const Study = loaded.value;
  return Study ? <Study /> : <div class="study" />;
}
