// When the tour is shown: on the first visit, until it is closed, and again when it is asked for. It makes way for the music.
import { computed, signal } from '@preact/signals';
import type { ComponentType } from 'preact';
import { useEffect } from 'preact/hooks';
import { local } from '../local';
import { shown_chord } from '../state';
import { route } from './route';

const asked_for = signal(false);
const loaded = signal<ComponentType<{ close: () => void }> | null>(null);

export const show_tour = () => (asked_for.value = true);
const close = () => {
  asked_for.value = false;
  local.tour_seen.value = true;
};

const wanted = computed(() => {
  const page = route.value.page;
  if (page === 'play' && shown_chord.value) return false;  // somebody plays
  return asked_for.value || (!local.tour_seen.value && (page === 'play' || page === 'takes'));
});

export function TourWhenWanted() {
  const show = wanted.value;
  useEffect(() => { if (show && !loaded.peek()) import('./tour_view').then(({ Tour }) => (loaded.value = Tour), () => undefined); }, [show]);
  const Tour = loaded.value;
  return show && Tour ? <Tour close={close} /> : null;
}
