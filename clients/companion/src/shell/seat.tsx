// The settings of the seat: how far away the player reads, and how large the screen is.
import { local } from '../local';
import { minute_px } from '../play/seat';
import { capital, distances_cm, least } from '../play/seat_angles';
import { EditableNumber } from './editable';

export function SeatSettings() {
  const inch = local.screen_inch.value;
  return (
    <fieldset>
      <legend>From where you read</legend>
      <div class="choices">
        {distances_cm.map((cm) => (
          <label class="choice" key={cm}>
            <input type="radio" name="distance" checked={local.distance_cm.value === cm} onChange={() => (local.distance_cm.value = cm)} /> <span>{cm < 100 ? `${cm} cm` : `${cm / 100} m`}</span>
          </label>
        ))}
      </div>
      <label class="line">Diagonal of the screen
        <EditableNumber min={3} max={120} name="screen" value={inch > 0 ? inch : undefined} placeholder="guessed" keep={(to) => (local.screen_inch.value = to)} clear={() => (local.screen_inch.value = 0)} /> inches
      </label>
      <p class="soft">From there the smallest word of the glance can be read: its capitals are {Math.round(least.word * minute_px.value)} pixels high, {least.word} minutes of
        arc. In a small window there are fewer cards, never smaller words.</p>
      <p class="seat-sample" style={{ '--word': `${(least.word * minute_px.value) / capital.text}px` }}>dark, at rest</p>
    </fieldset>
  );
}
