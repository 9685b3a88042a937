// Buttons: hear a suggestion, freeze the list, mark the moment; and the volume of the page.
import { local } from '../local';
import { ChordSymbol } from '../shell/chord_symbol';
import { volume } from '../sound/tone';
import { ask, chosen, complain, say, still } from '../state';
import { hear_chosen, through } from './hear';

export function toggle_still(): void {
  ask('hold', { on: !still.peek() }).catch(complain);
}

export function mark(): void {
  ask('take.mark', {}).then(() => say('Marked.'), complain);
}

export function Actions() {
  const alternative = chosen.value;
  const by_page = through.value === 'page';
  return (
    <section class="actions" aria-label="Actions">
      <button type="button" class="act hear" disabled={!alternative} onClick={() => void hear_chosen()} aria-keyshortcuts="Enter">
        <Ear /> <span>Hear{alternative ? <> <ChordSymbol chord={alternative} /></> : ''}</span>
      </button>
      <button type="button" class="act" aria-pressed={still.value} onClick={toggle_still} aria-keyshortcuts="Space">
        <Anchor /> <span>{still.value ? 'Held still' : 'Hold still'}</span>
      </button>
      <button type="button" class="act" onClick={mark} aria-keyshortcuts="Shift+Enter"><Flag /> <span>Mark</span></button>
      <button type="button" class="act" aria-pressed={local.keys_open.value} onClick={() => (local.keys_open.value = !local.keys_open.peek())}>
        <KeysIcon /> <span>Keys</span>
      </button>
      <label class="volume" title={by_page ? 'Suggestions sound in this page. Begin low: it may be louder than you expect.' : 'Suggestions sound on the MIDI output; this is for the page’s own tone.'}>
        <span>{by_page ? 'Page tone' : 'Page tone (hear: MIDI)'}</span>
        <input type="range" min="0" max="1" step="0.05" value={volume.value} onInput={(event) => (volume.value = Number(event.currentTarget.value))}
               aria-label="Volume of the page’s tone" aria-valuetext={`${Math.round(volume.value * 100)} percent`} />
      </label>
    </section>
  );
}

// Icons drawn for this page.
const icon = { viewBox: '0 0 24 24', class: 'icon', 'aria-hidden': true } as const;
const Ear = () => <svg {...icon}><path d="M4 14 C4 10 8 10 8 14 S12 18 12 12 S16 6 16 11 S20 14 20 9" /></svg>;
const Anchor = () => <svg {...icon}><path d="M4 7 H20 M4 12 H20 M4 17 H20 M9 4 V20 M15 4 V20" /></svg>;
const Flag = () => <svg {...icon}><path d="M7 21 V4 L18 8 L7 12" /></svg>;
const KeysIcon = () => <svg {...icon}><path d="M4 5 H20 V19 H4 Z M9.3 5 V14 M14.7 5 V14 M9.3 14 V19 M14.7 14 V19" /></svg>;
