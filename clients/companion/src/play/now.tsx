// Now: the chord, the held melody note and its degree, the key. Readable from a distance of one and a half metres.
import { pretty } from '../music/text';
import { ChordSymbol } from '../shell/chord_symbol';
import { Fitted } from '../shell/fitted';
import { daemon, pin_key, shown_chord, shown_key, shown_melody, shown_readings, status, symbol_of, trail } from '../state';
import { Beat } from './beat';

export function Now() {
  const shown = shown_chord.value;
  return (
    <section class={`now${shown?.dim ? ' dim' : ''}`} aria-label="Now">
      {shown ? (
        <Fitted class="now-chord" changes={symbol_of(shown.chord)}>
          <ChordSymbol chord={shown.chord} />
        </Fitted>
      ) : (
        <FirstWords />
      )}
      {shown && <MelodyAndKey />}
      {shown && <OtherReadings />}
      <Beat />
      <Trail />
    </section>
  );
}

function MelodyAndKey() {
  const melody = shown_melody.value;
  const key = shown_key.value;
  return (
    <p class="now-line">
      {melody ? (
        <span class={`now-melody${melody.dim ? ' dim' : ''}`}>
          {melody.notes.map((note) => (
            <span key={note.pitch} class="melody-note">
              <b>{pretty(note.name)}</b>
              {note.degree && <span class="degree" title="its degree in the chord">{pretty(note.degree)}</span>}
            </span>
          ))}
        </span>
      ) : (
        <span class="now-melody dim">no melody held</span>
      )}
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
      {others.map((reading, i) => (
        <span key={reading.harte}>{i > 0 && <span class="soft"> · </span>}<ChordSymbol chord={reading} /></span>
      ))}
    </p>
  );
}

/** The previous chords, newest at the right. */
function Trail() {
  const chords = trail.value;
  if (chords.length === 0) return null;
  return (
    <ol class="trail" aria-label="Chords just played, the newest last">
      {chords.slice(-7).map((each) => <li key={each.at}><ChordSymbol chord={each} /></li>)}
    </ol>
  );
}

/** Nothing has been played since the page was opened: says what to do. */
function FirstWords() {
  if (daemon.link.value !== 'open')
    return (
      <div class="teach">
        <h2>{daemon.link.value === 'connecting' ? 'Looking for Undersong …' : 'Undersong is not running'}</h2>
        {daemon.link.value === 'lost' && <p>Start <code>undersongd</code>. This page finds it by itself.</p>}
      </div>
    );
  const keyboard = status.value?.ports.some((port) => port.connected && !port.own) ?? false;
  return keyboard ? (
    <div class="teach">
      <h2>Play something</h2>
      <p>The chord appears here, large enough to read from your seat. Then hold one note on top and change what lies beneath it.</p>
    </div>
  ) : (
    <div class="teach">
      <h2>No keyboard yet</h2>
      <p>Plug one in at any time and play; it is found by itself. Or open <b>Keys</b> below and use this computer’s keys.</p>
    </div>
  );
}
