// The chosen section of a song: its name, kind, melody, chords, layers and place.
import { key_name, pretty } from '../music/text';
import type { SketchSection } from '../protocol';
import { ChordSymbol } from '../shell/chord_symbol';
import { EditableNumber } from '../shell/editable';
import { symbol_of } from '../state';
import { beats_of, parts_of } from './sketch_outline';
import * as sketch from './sketch_state';
import type { SongState } from './song_state';
import { number_of_beats, worded } from './words';

const kinds: SketchSection['kind'][] = ['intro', 'verse', 'pre_chorus', 'chorus', 'theme', 'development', 'bridge', 'solo', 'interlude', 'ending', 'outro'];

interface Props {
  state: SongState;
  id: number;
  section: SketchSection;
  number: number;
  last: boolean;
  trouble: string;
}

export function SectionEditor({ state, id, section, number, last, trouble }: Props) {
  const named = (what: string) => `${what}, section ${number}`;
  const change = (part: Parameters<typeof sketch.change_section>[1]) => sketch.change_section(id, part);
  const beats = beats_of(id), own_key = parts_of(id).find((part) => part.key)?.key;
  const layers = section.layers ?? sketch.all_layers;
  const toggle = (layer: sketch.Layer) => {
    const next = sketch.all_layers.filter((each) => (each === layer ? !layers.includes(each) : layers.includes(each)));
    if (next.length > 0) change({ layers: next.length === sketch.all_layers.length ? undefined : [...next] });
  };
  return (
    <section class="section" data-id={id} data-name={section.name} aria-label={`Section ${number}, ${section.name}`}>
      <div class="section-line">
        <input type="text" class="section-name" aria-label={named('Name')} maxLength={60} value={section.name} onInput={(event) => change({ name: event.currentTarget.value })} />
        <label class="times"><EditableNumber min={1} max={64} label={named('Times')} value={sketch.times_of(id)} keep={(repeats) => change({ repeats })} /> ×</label>
        {beats > 0 && <span class="soft section-beats">{number_of_beats(beats)} beats{own_key && `, ${key_name(own_key)}`}</span>}
        <span class="spring" />
        <button type="button" class="quiet" disabled={number === 1} aria-label={`Move ${section.name} earlier`} onClick={() => sketch.move_to(id, number - 2)}>← earlier</button>
        <button type="button" class="quiet" disabled={last} aria-label={`Move ${section.name} later`} onClick={() => sketch.move_to(id, number)}>later →</button>
        <button type="button" class="quiet" aria-label={`Take ${section.name} out`} onClick={() => sketch.remove(id)}>✕ take out</button>
      </div>
      <div class="section-line">
        <select aria-label={named('Kind')} value={section.kind} onChange={(event) => change({ kind: event.currentTarget.value as SketchSection['kind'] })}>
          {kinds.map((kind) => <option key={kind} value={kind}>{kind.replace('_', '-')}</option>)}
        </select>
        <Source state={state} section={section} label={named('Melody from')} change={change} />
        <Chords state={state} id={id} section={section} label={named('Chords')} />
      </div>
      <div class="section-line layers" role="group" aria-label={named('Layers')}>
        {sketch.all_layers.map((layer) => (
          <button key={layer} type="button" class="layer" aria-pressed={layers.includes(layer)} onClick={() => toggle(layer)}><span aria-hidden="true">{layers.includes(layer) ? '●' : '○'}</span> {layer}</button>
        ))}
      </div>
      {section.chords && <p class="section-chords">{section.chords.map((name, i) => { const chord = sketch.chords_put_in.value.get(name); return chord ? <ChordSymbol key={i} chord={chord} /> : <span key={i}>{pretty(name)}</span>; })}</p>}
      {trouble && <p class="trouble" role="alert">{worded(trouble)}</p>}
    </section>
  );
}

/** For a section of this take, its label; for anything else, the words of the sketch. */
function Source({ state, section, label, change }: { state: SongState; section: SketchSection; label: string; change: (part: Parameters<typeof sketch.change_section>[1]) => void }) {
  const from = section.source ?? `take ${section.take ?? '?'}`;
  const loop = state.loop.value;
  if (section.take !== state.take || !loop || section.passes || section.span)
    return <span class="soft source">{from}{section.label && `, section ${section.label}`}{section.passes && `, passes ${section.passes.join(', ')}`}{section.span && `, ${section.span.join(' to ')} s`}</span>;
  const labels = [...new Set([...loop.sections.map((each) => each.label), ...(section.label ? [section.label] : [])])];
  return (
    <label class="source"><span class="soft">{from}</span>
      <select aria-label={label} value={section.label ?? ''} onChange={(event) => change({ label: event.currentTarget.value || undefined })}>
        <option value="">longest section</option>
        {labels.map((each) => <option key={each} value={each}>section {each}</option>)}
      </select>
    </label>
  );
}

function Chords({ state, id, section, label }: { state: SongState; id: number; section: SketchSection; label: string }) {
  const proposals = section.take === state.take ? state.others.value?.proposals ?? [] : [];  // they make sense only under the melody of the same take
  const mine = section.chords?.join(' ');
  const of = (i: number) => proposals[i]!.chords.map((chord) => chord.harte).join(' ');
  const here = proposals.findIndex((_, i) => of(i) === mine);
  const value = section.chords ? (here >= 0 ? String(here) : 'own') : section.reharmonise ? 'number' : '';
  const choose = (wanted: string) => {
    if (wanted === '') sketch.change_section(id, { chords: undefined, chord_line: undefined, reharmonise: undefined });
    else if (proposals[Number(wanted)]) sketch.put_chords(id, proposals[Number(wanted)]!);
  };
  return (
    <label class="section-over"><span class="soft">over</span>
      <select aria-label={label} value={value} onChange={(event) => choose(event.currentTarget.value)}>
        <option value="">the chords as played</option>
        {value === 'own' && <option value="own">other chords</option>}
        {value === 'number' && <option value="number">proposal {section.reharmonise} of its take</option>}
        {proposals.map((proposal, i) => <option key={i} value={String(i)}>{i + 1}: {proposal.chords.map((chord) => worded(symbol_of(chord))).join('  ')}</option>)}
      </select>
    </label>
  );
}
