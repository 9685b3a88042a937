// Where a cycle is played, and how loud.
import { local } from '../local';
import { through, unheard } from '../play/hear';
import { volume } from '../sound/tone';
import { status } from '../state';
import { on_top, stop_cycle } from './cycle_player';
import { stop_song } from './song_player';

export function HearOn() {
  const output = status.value?.outputs[0];
  return (
    <label><span>Heard on</span>
      <select value={through.value} onChange={(event) => { stop_cycle(); stop_song(); local.hear_through.value = event.currentTarget.value; }}>
        <option value="page">this page</option>
        <option value="midi">MIDI{output ? `: ${output.name}` : ''}</option>
      </select>
    </label>
  );
}

/** Says that nobody hears the MIDI output, and offers the page's own sound. */
export function Unheard() {
  if (!unheard.value) return null;
  return (
    <p class="unheard" role="status">Nothing is connected to {unheard.value}, so nobody hears it.{' '}
      {local.hear_through.value === 'midi' &&
        <button type="button" class="quiet" onClick={() => { stop_cycle(); local.hear_through.value = 'page'; }}>Hear it in this page</button>}
    </p>
  );
}

/** The volume of the page. */
export function PageVolume() {
  return (
    <label class="tone soft"><span>Volume</span>
      <input type="range" min="0" max="1" step="0.05" value={volume.value} aria-label="Volume of the page" aria-valuetext={`${Math.round(volume.value * 100)} percent`}
             onInput={(event) => (volume.value = Number(event.currentTarget.value))} />
    </label>
  );
}

/** The volume of the page, or for MIDI what is playing there. */
export function Tone() {
  if (through.value === 'page') return <PageVolume />;
  const trouble = status.value?.outputs[0]?.trouble;
  return (
    <div class="soft small-print">
      <label><input type="checkbox" checked={on_top.value} onChange={(event) => (on_top.value = event.currentTarget.checked)} /> Held melody note on top</label>
      {trouble && <p>{trouble}</p>}
      <Unheard />
    </div>
  );
}
