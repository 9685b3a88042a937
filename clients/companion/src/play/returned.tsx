// The chords that the player came back to in this take: beside the list, so that favourites don't crowd out what is new.
import { spoken } from '../music/chord';
import { clock } from '../music/text';
import type { Returned as ReturnedChord } from '../protocol';
import { ChordSymbol } from '../shell/chord_symbol';
import { shown_returned, status, symbol_style } from '../state';
import { hear_chord } from './hear';

export function Returned() {
  const all = shown_returned.value;
  if (all.length === 0) return null;
  const began = status.value?.take?.since;
  const when = (each: ReturnedChord) => (began === undefined ? '' : clock(Math.max(0, each.last - began)));
  return (
    <div class="returned" role="group" aria-label="Chords you came back to">
      <span class="soft">You came back to</span>
      {all.map((each) => (
        <button type="button" key={each.harte} class="quiet" data-harte={each.harte} onClick={() => void hear_chord(each.harte)}
                aria-label={`Hear ${spoken(each, symbol_style.value)}: played ${each.times} times, last at ${when(each)}`}>
          <ChordSymbol chord={each} /> <span class="soft">{each.times}× · {when(each)}</span>
        </button>
      ))}
    </div>
  );
}
