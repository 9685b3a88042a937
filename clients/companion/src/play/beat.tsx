// The beat: the bar as dots, the tempo and how sure it is; and corrections by the player, which apply at once.
import { signal } from '@preact/signals';
import { ask, complain, shown_beat, shown_chord } from '../state';
import type { CorrectBeat } from '../protocol';

const open = signal(false);

/** Nothing moves here unless the music changed. */
export function Beat() {
  const beat = shown_beat.value;
  if (!shown_chord.value) return null;
  const sure = !beat ? '' : beat.source === 'clock' ? 'by the clock' : beat.source === 'tapped' ? 'as tapped' : beat.confidence > 0.65 ? '' : beat.confidence > 0.35 ? 'fairly sure' : 'unsure';
  return (
    <div class="beat-line">
      {beat ? (
        <p class="beat" data-source={beat.source}>
          <span class="beat-dots" aria-hidden="true">
            {Array.from({ length: beat.meter }, (_, i) => <i key={i} class={i + 1 === beat.place ? 'on' : i === 0 ? 'one' : ''} />)}
          </span>
          <span class="beat-tempo">{beat.tempo}<span class="soft"> a minute, {beat.meter} a bar{sure && `, ${sure}`}</span></span>
        </p>
      ) : <p class="beat soft">no steady pulse</p>}
      <button type="button" class="quiet beat-open" aria-expanded={open.value} aria-label="Correct the beat" onClick={() => (open.value = !open.peek())}>…</button>
      {open.value && <Corrections has_beat={!!beat} meter={beat?.meter ?? 4} />}
    </div>
  );
}

function Corrections({ has_beat, meter }: { has_beat: boolean; meter: number }) {
  const correct = (what: CorrectBeat) => void ask('beat.correct', what).catch(complain);
  return (
    <div class="beat-tools" role="group" aria-label="The beat is">
      <button type="button" class="quiet" onClick={() => void ask('beat.tap', {}).catch(complain)} title="Four even taps set the tempo; the first is one">Tap</button>
      <button type="button" class="quiet" disabled={!has_beat} onClick={() => correct({ what: 'one' })}>This is one</button>
      <button type="button" class="quiet" disabled={!has_beat} onClick={() => correct({ what: 'twice' })}>Twice as fast</button>
      <button type="button" class="quiet" disabled={!has_beat} onClick={() => correct({ what: 'half' })}>Half as fast</button>
      <button type="button" class="quiet" disabled={!has_beat} onClick={() => correct({ what: 'meter', meter: meter === 3 ? 4 : 3 })}>{meter === 3 ? '4' : '3'} a bar</button>
      <button type="button" class="quiet" onClick={() => correct({ what: 'undo' })}>Undo</button>
    </div>
  );
}
