// The section "Your own harmony" of the settings: what the daemon has learnt from kept takes, the switch, and the
// button that erases it.
import { signal } from '@preact/signals';
import { useEffect } from 'preact/hooks';
import { pretty } from '../music/text';
import type { Habit, OwnIdiom, Settings } from '../protocol';
import { ask, complain, daemon } from '../state';
import { ChordSymbol } from './chord_symbol';

const shown = 5;  // chords and steps each
const own = signal<OwnIdiom | null>(null);
const asking = signal(false);  // whether to erase it

async function fetch_own(): Promise<void> {
  own.value = await ask('idiom.get', {});
}

async function erase(): Promise<void> {
  own.value = await ask('idiom.erase', {});
  asking.value = false;
}

const day = (utc_ms: number) => new Date(utc_ms).toLocaleDateString(undefined, { day: 'numeric', month: 'long', year: 'numeric' });

function Habits({ title, habits, style }: { title: string; habits: Habit[]; style: Settings['symbol_style'] }) {
  return (
    <div>
      <h3>{title}</h3>
      <ol>
        {habits.slice(0, shown).map(({ chord, after, share }) => (
          <li key={`${after?.harte} ${chord.harte}`}>
            {after && <><ChordSymbol chord={after} style={style} /> <span aria-label="to">→</span> </>}
            <ChordSymbol chord={chord} style={style} /> <span class="soft">{pretty(`${Math.round(share * 100)} %`)}</span>
          </li>
        ))}
      </ol>
    </div>
  );
}

export function OwnHarmony({ on, style }: { on: boolean; style: Settings['symbol_style'] }) {
  useEffect(() => {
    asking.value = false;
    if (daemon.link.value === 'open') fetch_own().catch(complain);
  }, [daemon.link.value]);
  const known = own.value;
  return (
    <fieldset class="own">
      <legend>Your own harmony</legend>
      <label class="choice">
        <input type="checkbox" name="own" checked={on} onChange={(event) => ask('settings.set', { own: event.currentTarget.checked }).catch(complain)} />
        <span>Let it shape the suggestions</span>
      </label>
      <p class="soft">It is what you returned to, marked, and took from the list in the takes you kept. Older takes count less.</p>
      {known && known.takes === 0 && (
        <p class="soft">Nothing is known yet{known.erased_utc_ms !== null ? `: it was erased on ${day(known.erased_utc_ms)}` : ''}.</p>
      )}
      {known && known.takes > 0 && (
        <>
          <p>From {known.takes} {known.takes === 1 ? 'take' : 'takes'}{known.since_utc_ms !== null ? ` since ${day(known.since_utc_ms)}` : ''},
            as if every key were C major or A minor:</p>
          <div class="habits">
            <Habits title="Chords" habits={known.chords} style={style} />
            <Habits title="Steps" habits={known.steps} style={style} />
          </div>
          {!asking.value ? <button type="button" name="erase_own" onClick={() => (asking.value = true)}>Forget it …</button> : (
            <div role="group" aria-label="Forget your own harmony?">
              <p class="caution">Your takes stay, but they no longer shape the suggestions. This can’t be undone.</p>
              <button type="button" name="erase_own_now" onClick={() => erase().catch(complain)}>Forget it</button>{' '}
              <button type="button" name="keep_own" onClick={() => (asking.value = false)}>Do not forget</button>
            </div>
          )}
        </>
      )}
    </fieldset>
  );
}
