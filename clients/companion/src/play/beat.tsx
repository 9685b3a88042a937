// The beat: the bar as dots, the tempo and how sure it is; and corrections by the player, which apply at once.
import { ask, complain, live, shown_beat } from '../state';
import type { CorrectBeat } from '../protocol';

export const beat_popover = 'beat-tools';

/** One line; it opens the corrections, which lie over the page and move nothing. */
export function BeatLine() {
  const beat = shown_beat.value;
  return (
    <p class="beat-line">
      <button type="button" class="beat" data-source={beat?.source} popovertarget={beat_popover} aria-label={`${beat_words()}. Correct the beat`}>
        {beat ? (
          <>
            <span class="beat-dots" aria-hidden="true">
              {Array.from({ length: beat.meter }, (_, i) => <i key={i} class={i + 1 === beat.place ? 'on' : i === 0 ? 'one' : ''} />)}
            </span>
            <span class="beat-tempo">{beat.tempo}</span>
          </>
        ) : <span class="soft">no steady pulse</span>}
      </button>
    </p>
  );
}

/** "96 a minute, 4 a bar, as tapped"; "56 a minute, 2 a bar in 6/8"; "132 a minute, 4 a bar, swung 1.8 to 1" */
export function beat_words(): string {
  const beat = shown_beat.value;
  if (!beat) return 'no steady pulse';
  const sure = beat.source === 'clock' ? 'by the clock' : beat.source === 'tapped' ? 'as tapped' : beat.confidence > 0.65 ? '' : beat.confidence > 0.35 ? 'fairly sure' : 'unsure';
  const compound = beat.signature.lower === 8 ? ` in ${beat.signature.upper}/8` : '';
  const swung = beat.swing > 1 ? `, swung ${beat.swing} to 1` : '';
  return `${beat.tempo} a minute, ${beat.meter} a bar${compound}${swung}${sure && `, ${sure}`}`;
}

export function BeatPopover() {
  const beat = shown_beat.value;
  const has_beat = beat !== null;
  const meter = beat?.meter ?? 4;
  const correct = (what: CorrectBeat) => void ask('beat.correct', what).catch(complain);
  return (
    <div id={beat_popover} popover="auto" class="sheet beat-tools" role="group" aria-label="The beat is">
      <p class="beat-words">{beat_words()}</p>
      <button type="button" class="act" disabled={!live.value} onClick={() => void ask('beat.tap', {}).catch(complain)} title="Four even taps set the tempo; the first is one">Tap</button>
      <button type="button" class="quiet" disabled={!has_beat} onClick={() => correct({ what: 'one' })}>This is one</button>
      <button type="button" class="quiet" disabled={!has_beat} onClick={() => correct({ what: 'twice' })}>Twice as fast</button>
      <button type="button" class="quiet" disabled={!has_beat} onClick={() => correct({ what: 'half' })}>Half as fast</button>
      <button type="button" class="quiet" disabled={!has_beat} onClick={() => correct({ what: 'meter', meter: meter === 3 ? 4 : 3 })}>{meter === 3 ? '4' : '3'} a bar</button>
      <button type="button" class="quiet" disabled={!live.value} onClick={() => correct({ what: 'undo' })}>Undo</button>
    </div>
  );
}
