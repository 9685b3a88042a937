// What other musicians get: the page of each to see and to print, and all the files to save.
import { signal } from '@preact/signals';
import { useEffect, useRef, useState } from 'preact/hooks';
import type { HandedOver } from '../protocol';
import { ask, complain } from '../state';
import { save_all, save_file, text_of } from './files';
import { people, type Person } from './people';
import { Sheets } from './sheets';
import type { SongState } from './song_state';
import { divisi, Strings, strings } from './strings';
import { worded } from './words';

const about: Record<string, string> = {
  'parts.mid': 'the parts, on a track each', 'song.mid': 'the parts, on a track each',
  'lead_sheet.musicxml': 'melody and chord symbols, for notation programs', 'chart.txt': 'the chords in bars, as text',
  'lead_sheet_b_flat.musicxml': 'the lead sheet for instruments in B flat', 'lead_sheet_e_flat.musicxml': 'the lead sheet for instruments in E flat',
  'chords.musicxml': 'the chords alone, with slashes in their rhythm', 'piano.musicxml': 'the melody above both hands of the piano',
  'score.musicxml': 'melody, piano, bass and strings together', 'bass.musicxml': 'for the bass player, with chord symbols',
  'strings.musicxml': 'the string section together', 'violin_1.musicxml': 'violin I', 'violin_2.musicxml': 'violin II', 'viola.musicxml': 'viola', 'cello.musicxml': 'cello',
};

/** Whose page is shown; remembered for this visit. */
const shown = signal<string>('');

interface Wanted {
  made: HandedOver | null;
  make: () => Promise<unknown>;  // writes it down, anew if it has been written; `made` follows
  title: string;                 // of the song
}

/** A button for each musician. The page of the one who is chosen is shown, written down first if need be; all the files follow. */
export function HandOver({ made, make, title }: Wanted) {
  const person = people.find((each) => each.who === shown.value);
  const choose = (each: Person) => {
    shown.value = each.who === shown.value ? '' : each.who;
    if (!made && shown.value) void make();
  };
  // A page that is shown is always of the strings that are wanted now.
  const first = useRef(true);
  useEffect(() => {
    if (!first.current && made) void make();
    first.current = false;
  }, [strings.value, divisi.value]);
  return (
    <div class="hand-over">
      <div class="people" role="group" aria-label="Who it is for">
        {people.map((each) => (
          <button key={each.who} type="button" class="act person" aria-pressed={person === each} onClick={() => choose(each)}>
            <b>{each.name}</b> <span class="soft">{each.gets}</span>
          </button>
        ))}
      </div>
      {made && person && <Pages key={person.who} person={person} made={made} title={title} />}
      {made ? <Handed made={made} /> : <button type="button" class="quiet all-files" onClick={() => void make()}>All the files</button>}
    </div>
  );
}

function Pages({ person, made, title }: { person: Person; made: HandedOver; title: string }) {
  const [at, set_at] = useState(0);
  const page = person.pages[at] ?? person.pages[0];
  const file = made.files.find((each) => each.name === page.file);
  return (
    <section class="pages" aria-label={`For the ${person.name}`}>
      {person.pages.length > 1 && (
        <div class="views part-views" role="group" aria-label="Parts">
          {person.pages.map((each, i) => <button key={each.file} type="button" aria-pressed={i === at} onClick={() => set_at(i)}>{each.name}</button>)}
        </div>
      )}
      {file ? <Sheets file={file} folder={made.folder} title={title} part={page.name} staff_mm={person.pages.length > 1 && at > 0 ? 7 : person.staff_mm} />
        : <p class="trouble" role="alert">There is no {page.file} among the files.</p>}
    </section>
  );
}

/** The files that were made. Each can be saved alone, or all together in one archive. */
function Handed({ made }: { made: HandedOver }) {
  const chart = made.files.find((file) => file.name === 'chart.txt');
  return (
    <>
      {made.remarks.length > 0 && <ul class="remarks" aria-label="Remarks">{made.remarks.map((each) => <li key={each}>{worded(each)}</li>)}</ul>}
      <details class="handed" data-folder={made.folder} open={shown.value === ''}>
        <summary>All the files</summary>
        <ul class="handed-files" aria-label="Files">
          {made.files.map((file) => (
            <li key={file.name}>
              <button type="button" class="quiet" onClick={() => save_file(made.folder, file)}>Save {file.name}</button>
              <span class="soft">{about[file.name] ?? ''}</span>
            </li>
          ))}
          <li><button type="button" class="quiet strong" onClick={() => void save_all(made).catch(complain)}>Save all as {made.folder}.zip</button></li>
        </ul>
        {chart && <pre class="chart" tabIndex={0} role="region" aria-label="The chart">{text_of(chart)}</pre>}
      </details>
    </>
  );
}

export function HandOverTake({ state }: { state: SongState }) {
  const [steady, set_steady] = useState(true);
  const [tempo, set_tempo] = useState('');
  const [made, set_made] = useState<HandedOver | null>(null);
  const [trouble, set_trouble] = useState('');
  const asked = useRef(0);
  const make = async () => {
    const number = ++asked.current;
    const wanted = steady && tempo !== '' ? { tempo: Number(tempo) } : {};
    try {
      const got = await ask('take.hand_over', { take: state.take, steady, strings: strings.peek(), divisi: divisi.peek(), ...wanted });
      if (number !== asked.current) return;
      set_made(got);
      set_trouble('');
    } catch (error) {
      if (number === asked.current) set_trouble((error as Error).message);
    }
  };
  useEffect(() => { if (made) void make(); }, [steady, tempo]);
  const found = state.loop.value?.tempo;
  return (
    <section class="song-part" aria-labelledby="part-parts">
      <h2 id="part-parts">Hand over</h2>
      <p class="soft">The whole take written down for other musicians. Press who it is for: the page is shown as it prints.</p>
      <div class="how-written">
        <fieldset class="how-steady">
          <legend>Tempo</legend>
          <label><input type="radio" name="steady" checked={steady} onChange={() => set_steady(true)} /> steady</label>
          <label class="line"><span>at</span>
            <input type="number" min="20" max="400" step="1" inputMode="decimal" aria-label="Beats a minute" placeholder={found ? String(Math.round(found)) : ''} value={tempo}
                   disabled={!steady} onChange={(event) => set_tempo(event.currentTarget.value)} />
            <span>beats a minute</span>
          </label>
          <label><input type="radio" name="steady" checked={!steady} onChange={() => set_steady(false)} /> as played</label>
        </fieldset>
        <Strings />
      </div>
      {trouble && <p class="trouble" role="alert">{worded(trouble)}</p>}
      <HandOver made={made} make={make} title={state.summary.value?.title || `Take ${state.take}`} />
    </section>
  );
}
