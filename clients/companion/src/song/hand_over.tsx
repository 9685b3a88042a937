// What other musicians get: the files to save, and the chord chart to read at once.
import { useState } from 'preact/hooks';
import type { HandedOver } from '../protocol';
import { ask, complain } from '../state';
import { save_all, save_file, text_of } from './files';
import type { SongState } from './song_state';
import { divisi, Strings, strings } from './strings';
import { worded } from './words';

const about: Record<string, string> = {
  'parts.mid': 'the parts, on a track each', 'song.mid': 'the parts, on a track each',
  'lead_sheet.musicxml': 'melody and chord symbols, for notation programs', 'chart.txt': 'the chords in bars, as text',
  'lead_sheet_b_flat.musicxml': 'the lead sheet for instruments in B flat', 'lead_sheet_e_flat.musicxml': 'the lead sheet for instruments in E flat',
  'chords.musicxml': 'the chords alone, with slashes in their rhythm',
  'score.musicxml': 'melody, piano, bass and strings together', 'bass.musicxml': 'for the bass player, with chord symbols',
  'strings.musicxml': 'the string section together', 'violin_1.musicxml': 'violin I', 'violin_2.musicxml': 'violin II', 'viola.musicxml': 'viola', 'cello.musicxml': 'cello',
};
/** The files that were made. Each can be saved alone, or all together in one archive. */
export function Handed({ made }: { made: HandedOver }) {
  const chart = made.files.find((file) => file.name === 'chart.txt');
  return (
    <div class="handed" data-folder={made.folder}>
      <ul class="handed-files" aria-label="Files">
        {made.files.map((file) => (
          <li key={file.name}>
            <button type="button" class="quiet" onClick={() => save_file(made.folder, file)}>Save {file.name}</button>
            <span class="soft">{about[file.name] ?? ''}</span>
          </li>
        ))}
        <li><button type="button" class="quiet strong" onClick={() => void save_all(made).catch(complain)}>Save all as {made.folder}.zip</button></li>
      </ul>
      {made.remarks.length > 0 && <ul class="remarks" aria-label="Remarks">{made.remarks.map((each) => <li key={each}>{worded(each)}</li>)}</ul>}
      {chart && <pre class="chart" tabIndex={0} role="region" aria-label="The chart">{text_of(chart)}</pre>}
    </div>
  );
}

export function HandOverTake({ state }: { state: SongState }) {
  const [steady, set_steady] = useState(true);
  const [tempo, set_tempo] = useState('');
  const [made, set_made] = useState<HandedOver | null>(null);
  const [trouble, set_trouble] = useState('');
  const [busy, set_busy] = useState(false);
  const make = () => {
    set_busy(true);
    const wanted = steady && tempo !== '' ? { tempo: Number(tempo) } : {};
    ask('take.hand_over', { take: state.take, steady, strings: strings.peek(), divisi: divisi.peek(), ...wanted })
      .then((got) => { set_made(got); set_trouble(''); }, (error: Error) => set_trouble(error.message))
      .finally(() => set_busy(false));
  };
  const found = state.loop.value?.tempo;
  return (
    <section class="song-part" aria-labelledby="part-parts">
      <h2 id="part-parts">Hand over</h2>
      <p class="soft">The whole take written down for other musicians: a score and its parts, a lead sheet and a chart.</p>
      <fieldset class="how-steady">
        <legend>Tempo</legend>
        <label><input type="radio" name="steady" checked={steady} onChange={() => set_steady(true)} /> steady</label>
        <label class="line"><span>at</span>
          <input type="number" min="20" max="400" step="1" inputMode="decimal" aria-label="Beats a minute" placeholder={found ? String(Math.round(found)) : ''} value={tempo}
                 disabled={!steady} onInput={(event) => set_tempo(event.currentTarget.value)} />
          <span>beats a minute</span>
        </label>
        <label><input type="radio" name="steady" checked={!steady} onChange={() => set_steady(false)} /> as played</label>
      </fieldset>
      <Strings />
      <button type="button" class="act" disabled={busy} onClick={make}>Write it down</button>
      {trouble && <p class="trouble" role="alert">{worded(trouble)}</p>}
      {made && <Handed made={made} />}
    </section>
  );
}
