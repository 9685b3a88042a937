// Bridges and interludes that contrast with a section of the song, to hear and to add.
import { useState } from 'preact/hooks';
import { spoken } from '../music/chord';
import { key_name } from '../music/text';
import { hear_chord } from '../play/hear';
import type { GrownSection, GrownSketch } from '../protocol';
import { ChordSymbol } from '../shell/chord_symbol';
import { symbol_style } from '../state';
import { seconds_a_bar } from './sketch_outline';
import * as sketch from './sketch_state';
import { hear_row, row_place, stop_row } from './row_player';
import { plural, worded } from './words';

export function Grown({ grown, busy, run }: { grown: GrownSketch; busy: boolean; run: (work: () => Promise<unknown>) => void }) {
  return (
    <section class="grown" aria-label={`Sections that contrast with ${grown.from}`}>
      <p class="soft">After section {grown.section}, {grown.from}, in {key_name(grown.key)}. Press a chord to hear it.</p>
      <ol class="proposals" aria-label="Bridges and interludes">
        {grown.proposals.map((each, i) => <Proposal key={i} number={i + 1} section={each} busy={busy} run={run} />)}
      </ol>
    </section>
  );
}

function Proposal({ number, section, busy, run }: { number: number; section: GrownSection; busy: boolean; run: (work: () => Promise<unknown>) => void }) {
  const [id] = useState({});  // which row sounds
  const place = row_place(id);
  const name = `${section.section.name} ${number}`;
  return (
    <li class="proposal" aria-label={`${name}: ${section.chords.map((chord) => spoken(chord, symbol_style.value)).join(', ')}`}>
      <div class="proposal-head">
        <span class="rank">{number}</span>
        <span>{section.section.name}, {key_name(section.key)}</span>
        <span class="soft">{plural(section.chords.length, 'bar')}</span>
        <span class="spring" />
        <button type="button" class="quiet" aria-pressed={place !== undefined} aria-label={`${place === undefined ? 'Hear' : 'Stop'} ${name}`}
                onClick={() => (place === undefined ? hear_row(id, section.chords.map((chord) => chord.harte), seconds_a_bar()) : stop_row())}>{place === undefined ? '▶ Hear' : '■ Stop'}</button>
        <button type="button" class="quiet" disabled={busy} aria-label={`Add ${name} to the song`} onClick={() => run(() => sketch.add_grown(number))}>+ Add</button>
      </div>
      <div class="cells" role="group" aria-label={`Chords of ${name}`}>
        {section.chords.map((chord, i) => (
          <button key={i} type="button" class={`pin${place === i ? ' sounding' : ''}`} data-harte={chord.harte} onClick={() => { stop_row(); void hear_chord(chord.harte); }}><ChordSymbol chord={chord} /></button>
        ))}
      </div>
      <p class="proposal-reason soft">{worded(section.reason)}</p>
    </li>
  );
}
