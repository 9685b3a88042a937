// How the string section of a hand-over plays.
import { signal } from '@preact/signals';
import type { HandOverTake } from '../protocol';

type Style = NonNullable<HandOverTake['strings']>;

/** Each hand-over of this visit begins with the last choice. */
export const strings = signal<Style>('still');
export const divisi = signal(false);

export function Strings() {
  return (
    <span class="line"><label class="line"><span>Strings</span>
      <select value={strings.value} onChange={(event) => (strings.value = event.currentTarget.value as Style)}>
        <option value="still">hold what they can</option>
        <option value="moving">with a moving inner voice</option>
        <option value="chorale">strike every chord</option>
      </select>
    </label>
    <label class="line"><input type="checkbox" checked={divisi.value} onChange={(event) => (divisi.value = event.currentTarget.checked)} /> <span>divided</span></label></span>
  );
}
