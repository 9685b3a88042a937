// Where a cycle is heard, and how loud.
import { local } from '../local';
import { through } from '../play/hear';
import { volume } from '../sound/tone';
import { status } from '../state';
import { stop_cycle } from './cycle_player';

export function HearOn() {
  const by = through.value;
  const output = status.value?.outputs[0];
  return (
    <div class="hear-on">
      <label><span>Heard on</span>
        <select value={by} onChange={(event) => { stop_cycle(); local.hear_through.value = event.currentTarget.value; }}>
          <option value="page">this page</option>
          <option value="midi">MIDI{output ? `: ${output.name}` : ''}</option>
        </select>
      </label>
      {by === 'page' ? (
        <label class="hear-volume"><span>Page tone</span>
          <input type="range" min="0" max="1" step="0.05" value={volume.value} aria-label="Volume of the page’s tone" aria-valuetext={`${Math.round(volume.value * 100)} percent`}
                 onInput={(event) => (volume.value = Number(event.currentTarget.value))} />
        </label>
      ) : <span class="soft small-print">{output?.trouble || 'On MIDI each chord is laid out by itself; the page’s tone plays the voicings led all the way round.'}</span>}
    </div>
  );
}
