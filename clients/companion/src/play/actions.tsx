// Buttons: hear a suggestion, freeze the list, mark the moment.
import { ChordSymbol } from '../shell/chord_symbol';
import { ask, chosen, chosen_by_hand, chosen_is_listed, complain, live, say, status, still, symbol_style } from '../state';
import { spoken } from '../music/chord';
import { hear_chosen } from './hear';

export function toggle_still(): void {
  ask('hold', { on: !still.peek() }).catch(complain);
}

export function mark(): void {
  ask('take.mark', {}).then(({ number: line }) => {
    const take = status.peek()?.take?.take;
    say('Marked.', { label: 'Undo', run: () => ask('take.unmark', take ? { take, line } : {}).then(() => say('The mark was taken back.'), complain) });
  }, complain);
}

/** `words`: is there room for words on the buttons? */
export function Actions({ words = true }: { words?: boolean }) {
  const alternative = chosen_by_hand.value ? chosen.value : null;
  const gone = alternative !== null && !chosen_is_listed.value;
  const what = alternative ? spoken(alternative, symbol_style.value) : 'the first suggestion';
  return (
    <section class={`actions${words ? '' : ' signs-only'}`} aria-label="Actions">
      <button type="button" class={`act hear${gone ? ' gone' : ''}`} disabled={!chosen.value || !live.value} onClick={() => void hear_chosen()} aria-keyshortcuts="Enter"
              aria-label={`Hear ${what}${gone ? ', no longer in the list' : ''}`} title={`Hear ${what}${gone ? ': no longer in the list' : ''}`}>
        <Ear gone={gone} />
        {words && (gone ? <span class="gone-words">no longer in the list</span> : <span>{alternative ? 'Hear' : 'Hear first'}</span>)}
        {words && alternative && <span class="hear-chord"><ChordSymbol chord={alternative} /></span>}
      </button>
      <button type="button" class="act" aria-pressed={still.value} disabled={!live.value} onClick={toggle_still} aria-keyshortcuts="Space" aria-label={still.value ? 'Held still' : 'Hold still'}
              title={still.value ? 'The list is held still' : 'Hold the list still'}>
        <Anchor /> {words && <span>{still.value ? 'Held' : 'Hold'}</span>}
      </button>
      <button type="button" class="act" disabled={!live.value} onClick={mark} aria-keyshortcuts="M Shift+Enter" aria-label="Mark" title="Mark this moment of the take">
        <Flag /> {words && <span>Mark</span>}
      </button>
    </section>
  );
}

// Icons drawn for this page.
const icon = { viewBox: '0 0 24 24', class: 'icon', 'aria-hidden': true } as const;
const Ear = ({ gone }: { gone: boolean }) => <svg {...icon}><path d="M4 14 C4 10 8 10 8 14 S12 18 12 12 S16 6 16 11 S20 14 20 9" />{gone && <path d="M4 21 L20 3" />}</svg>;
const Anchor = () => <svg {...icon}><path d="M4 7 H20 M4 12 H20 M4 17 H20 M9 4 V20 M15 4 V20" /></svg>;
const Flag = () => <svg {...icon}><path d="M7 21 V4 L18 8 L7 12" /></svg>;
