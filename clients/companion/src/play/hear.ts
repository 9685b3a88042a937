// Plays a suggestion on the daemon's MIDI output or with the page's own sound.
import { computed, effect } from '@preact/signals';
import { local } from '../local';
import { load_piano } from '../sound/piano';
import { hush, sound_chord } from '../sound/tone';
import { ask, chosen, complain, live, say, shown_list, status } from '../state';
import { RpcError } from '../wire/connection';
import { way } from './ways';

const changed_in_between = -32003;

/** The name of the MIDI output if nothing is connected to it, so that nobody hears what is played there. */
export const unheard = computed<string | null>(() => {
  const output = status.value?.outputs[0];
  return output?.connected && output.listeners === 0 ? output.name : null;
});

export const through = computed<'midi' | 'page'>(() => {
  const wish = local.hear_through.value;
  if (wish === 'midi' || wish === 'page') return wish;
  return status.value?.outputs.some((output) => output.connected && output.listeners !== 0) ? 'midi' : 'page';
});

function offer_page(): void {
  say(`Nothing is connected to ${unheard.peek() ?? 'the MIDI output'}, so nobody hears it.`, { label: 'Hear it in this page', run: () => (local.hear_through.value = 'page') });
}

export async function hear_chosen(): Promise<void> {
  const alternative = chosen.peek();
  const list = shown_list.peek();
  if (!alternative || !list) return;
  if (through.peek() === 'page') {
    const { left, right } = way.peek() ?? alternative;
    sound_chord([...left, ...right]);
    return;
  }
  const voicing = way.peek() ? { voicing: way.peek()!.style } : {};
  try {
    const heard = await ask('hear', { ...voicing, place: list.alternatives.indexOf(alternative), list: list.number });
    if (heard.unheard) offer_page();
  } catch (error) {
    if (!(error instanceof RpcError) || error.code !== changed_in_between) return complain(error);
    // The daemon's list may be newer than the one shown here, so ask for the chord that the player sees.
    await ask('hear', { ...voicing, harte: alternative.harte }).catch(complain);
  }
}

/** Any chord, by its name. In the page it sounds as it lies best under the hands. */
export async function hear_chord(harte: string): Promise<void> {
  try {
    if (through.peek() === 'midi') {
      if ((await ask('hear', { harte })).unheard) offer_page();
      return;
    }
    const { voicings } = await ask('chord.voicings', { harte });
    if (voicings[0]) sound_chord([...voicings[0].left, ...voicings[0].right]);
  } catch (error) {
    complain(error);
  }
}

export function stop_hearing(): void {
  hush();
  if (through.peek() === 'midi') void ask('hear', { stop: true }).catch(() => undefined);
}

// Where suggestions sound in this page, the piano is fetched once all else is there, so that the first chord needs no waiting.
effect(() => {
  if (live.value && through.value === 'page') setTimeout(() => void load_piano(), 1500);
});
