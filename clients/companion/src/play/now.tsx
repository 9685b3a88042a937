// Now: the chord, the held melody note and its degree, the key, the beat.
import { computed } from '@preact/signals';
import { pretty } from '../music/text';
import { ChordSymbol } from '../shell/chord_symbol';
import { Fitted } from '../shell/fitted';
import { line } from '../shell/status_line';
import { daemon, live, pin_key, settings, shown_chord, shown_key, shown_list, shown_melody, shown_readings, status, still, symbol_of } from '../state';
import { local } from '../local';
import { BeatLine } from './beat';

interface Props {
  least?: number;  // size of the font of the chord, px
  key_line?: boolean;
  readings?: boolean;
  beat?: boolean;
}

export function Now({ least = 16, key_line = true, readings = true, beat = true }: Props) {
  const shown = shown_chord.value;
  if (!live.value || !shown) return <section class="now" aria-label="Now"><FirstWords /></section>;
  const trouble = line.value.bad ? line.value.text : '';
  return (
    <section class={`now${shown.dim ? ' dim' : ''}`} aria-label="Now">
      <Fitted class="now-chord" changes={symbol_of(shown.chord)} least={least}>
        <ChordSymbol chord={shown.chord} />
      </Fitted>
      <div class="now-lines">
        <Melody caption={!key_line} />
        {trouble && readings ? <p class="now-trouble">{trouble}</p> : readings && <OtherReadings />}
        {key_line && (list_of_other_notes.value ? <p class="now-key-line"><CardsUnder /></p> : <Key />)}
        {beat && <BeatLine />}
      </div>
    </section>
  );
}

// The cards may be for other notes than those that are held: while the list is held still, or if it is to fit more notes.
const list_of_other_notes = computed(() => {
  const under = shown_list.value?.under ?? [];
  const now = shown_melody.value?.notes.map((note) => note.name) ?? [];
  return under.length > 0 && (still.value || settings.value?.melody !== 'note') && under.join() !== now.join();
});

function CardsUnder() {
  return <span class="now-under">list under {shown_list.value!.under.map(pretty).join(' ')}</span>;
}

/** `caption`: there is no other line to say what the list is for. */
function Melody({ caption }: { caption: boolean }) {
  const melody = shown_melody.value;
  return (
    <p class={`now-melody${melody && !melody.dim ? '' : ' dim'}`}>
      {melody ? melody.notes.map((note) => (
        <span key={note.pitch} class="melody-note">
          <b>{pretty(note.name)}</b>
          {note.degree && <span class="degree" title="its degree in the chord">{pretty(note.degree)}</span>}
        </span>
      )) : 'no melody held'}
      {caption && list_of_other_notes.value && <CardsUnder />}
    </p>
  );
}

function Key() {
  const key = shown_key.value;
  return (
    <p class="now-key-line">
      {key && (
        <button type="button" class="now-key" aria-pressed={key.pinned} onClick={() => pin_key(key.pinned ? '' : key.harte)}
                title={key.pinned ? 'Pinned: it stays whatever is heard. Press to let it be heard again.' : 'Press to pin this key: it then stays whatever is heard.'}>
          in {pretty(key.name)}{key.pinned && <span class="pinned"> pinned</span>}
        </button>
      )}
    </p>
  );
}

function OtherReadings() {
  const others = shown_readings.value;
  return (
    <p class="now-others">
      {others.length > 0 && <span class="soft">or </span>}
      {others.map((reading) => <ChordSymbol key={reading.harte} chord={reading} />)}
    </p>
  );
}

/** Nothing was heard yet, or nothing is heard any longer: says so where the chord would be, and what to do. */
function FirstWords() {
  const last = shown_chord.value;
  if (!live.value)
    return (
      <div class="teach">
        <h2>{daemon.link.value === 'connecting' ? 'Looking for Undersong …' : 'Undersong is not running'}</h2>
        {daemon.link.value === 'lost' && <p>This page finds it by itself when it is back.</p>}
        {last && <p class="last-heard">Last heard: <ChordSymbol chord={last.chord} /></p>}
      </div>
    );
  const keyboard = status.value?.ports.some((port) => port.connected && !port.own) ?? false;
  return keyboard ? (
    <div class="teach">
      <h2>Play something</h2>
      <p>The chord appears here, large enough to read from your seat. Then hold a note on top and change what lies beneath it.</p>
    </div>
  ) : (
    <div class="teach">
      <h2>No keyboard yet</h2>
      <p>Plug one in at any time and play; it is found by itself.</p>
      {!local.keys_open.value && <p><button type="button" class="quiet" onClick={() => (local.keys_open.value = true)}>Play on this computer’s keys</button></p>}
    </div>
  );
}
