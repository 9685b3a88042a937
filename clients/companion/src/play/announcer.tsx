// Speaks the chord in words, for people who do not see it: politely, and only a chord that lasts.
import { useEffect, useState } from 'preact/hooks';
import { spoken } from '../music/chord';
import { live, shown_chord, symbol_style } from '../state';

const lasts_ms = 700;

export function Announcer() {
  const chord = live.value ? shown_chord.value?.chord : undefined;
  const [said, say] = useState('');
  useEffect(() => {
    if (!chord) return say('');
    const timer = setTimeout(() => say(spoken(chord, symbol_style.peek())), lasts_ms);
    return () => clearTimeout(timer);
  }, [chord?.harte, symbol_style.value]);
  return <p class="visually-hidden" role="status" aria-live="polite" data-announced>{said}</p>;
}
