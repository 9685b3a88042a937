// A song as a list of sections drawn from takes: order, repeats, layers, other chords. The daemon stores it as a file.
import { signal } from '@preact/signals';
import { useEffect, useRef, useState } from 'preact/hooks';
import { key_name, pretty } from '../music/text';
import type { SketchSection } from '../protocol';
import { ChordSymbol } from '../shell/chord_symbol';
import { EditableNumber } from '../shell/editable';
import { complain, daemon, symbol_of } from '../state';
import { Grown } from './grow_view';
import { Handed } from './hand_over';
import { Strings } from './strings';
import * as sketch from './sketch_state';
import type { SongState } from './song_state';
import { number_of_beats, plural, worded } from './words';

const kinds: SketchSection['kind'][] = ['intro', 'verse', 'pre_chorus', 'chorus', 'theme', 'development', 'bridge', 'solo', 'interlude', 'ending', 'outro'];

export function SketchView({ state }: { state: SongState }) {
  const now = sketch.draft.value;
  const [busy, set_busy] = useState(false);
  useEffect(() => { if (daemon.link.value === 'open') sketch.fetch_kept().catch(complain); }, [daemon.link.value]);
  const run = (work: () => Promise<unknown>) => {
    set_busy(true);
    work().catch(sketch.place_trouble).finally(() => set_busy(false));
  };
  const trouble = sketch.trouble.value;
  return (
    <section class="song-part sketch" aria-labelledby="part-sketch">
      <h2 id="part-sketch">Sketch of a song</h2>
      {!now && <p class="soft">A song is made of sections of what you played, one after another: which melody, how often, with which layers, over which chords.
        Begin with a proposal made from this take, then move things about.</p>}
      <div class="sketch-start">
        <button type="button" class="act" disabled={busy} onClick={() => run(() => sketch.propose(state.take))}>{now ? 'Propose anew' : 'Propose a song'}</button>
        <Kept run={run} />
      </div>
      {trouble && trouble.section === 0 && !now && <p class="trouble" role="alert">{worded(trouble.sentence)}</p>}
      {now && <OpenSketch state={state} draft={now} busy={busy} run={run} />}
    </section>
  );
}

const list_open = signal(false);  // remembered while the list is empty for a moment

function Kept({ run }: { run: (work: () => Promise<unknown>) => void }) {
  const list = sketch.kept.value?.sketches ?? [];
  if (list.length === 0) return null;
  return (
    <details class="kept-sketches" open={list_open.value}>
      {/* Opened by us alone: the browser tells of its own opening later, and a list that arrives meanwhile would close it again. */}
      <summary onClick={(event) => { event.preventDefault(); list_open.value = !list_open.value; }}>{plural(list.length, 'song')} saved</summary>
      <ul aria-label="Songs saved">
        {list.map((each) => (
          <li key={each.name}>
            <button type="button" class="quiet" aria-label={`Open ${each.name}`} disabled={each.problem !== ''} onClick={() => run(() => sketch.open(each.name))}>Open</button>
            <span class="kept-name"><b>{each.title || each.name}</b> <span class="soft">{each.name}{each.problem === '' && ` · ${plural(each.sections, 'section')}`}</span>
              {each.problem && <span class="trouble">{worded(each.problem)}</span>}</span>
            <button type="button" class="quiet" aria-label={`Delete ${each.name}`} onClick={() => run(() => sketch.delete_kept(each.name))}>Delete</button>
          </li>
        ))}
      </ul>
    </details>
  );
}

function OpenSketch({ state, draft, busy, run }: { state: SongState; draft: sketch.Draft; busy: boolean; run: (work: () => Promise<unknown>) => void }) {
  const trouble = sketch.trouble.value;
  const outline = sketch.outline.value;
  const made = sketch.handed.value;
  const grown = sketch.grown.value;
  const list = useRef<HTMLOListElement>(null);
  const add = () => {
    const id = sketch.add({ name: 'Section', kind: 'interlude', take: state.take, repeats: 1, ...(state.loop.peek() ? { label: state.loop.peek()!.sections[0]!.label } : {}) });
    requestAnimationFrame(() => list.current?.querySelector<HTMLElement>(`[data-id="${id}"] input`)?.focus());
  };
  return (
    <>
      <div class="sketch-head line">
        <input type="text" class="sketch-title" aria-label="Title of the song" maxLength={200} value={draft.title} onInput={(event) => sketch.change({ title: event.currentTarget.value })} />
        <label class="line"><EditableNumber min={20} max={400} label="Tempo of the song, beats a minute" placeholder={outline ? String(Math.round(outline.tempo)) : String(Math.round(state.loop.value?.tempo ?? 0) || '')} value={draft.tempo}
          keep={(tempo) => sketch.change({ tempo })} clear={() => sketch.change({ tempo: undefined })} /> <span class="soft">beats a minute</span></label>
      </div>
      <ol class="sections" ref={list} aria-label="Sections of the song, in order">
        {draft.sections.map((each, i) => <Section key={each.id} state={state} id={each.id} section={each.section} number={i + 1} last={i === draft.sections.length - 1}
          beats={outline?.parts[i]?.beats} own_key={outline?.parts[i]?.key} trouble={trouble?.section === i + 1 ? trouble.sentence : ''} />)}
      </ol>
      <button type="button" class="quiet add-section" onClick={add}>+ Add a section</button>
      {trouble?.section === 0 && <p class="trouble" role="alert">{worded(trouble.sentence)}</p>}
      <div class="sketch-acts">
        <button type="button" class="act" disabled={busy || !draft.changed} onClick={() => run(sketch.keep)}>Save the sketch</button>
        <button type="button" class="act" disabled={busy} onClick={() => run(sketch.hand_over)}>Hand over</button>
        <button type="button" class="act" disabled={busy} title="The sketch is saved first." onClick={() => run(sketch.grow)}>Propose a bridge or an interlude</button>
        <Strings />
        <span class="soft" role="status" data-kept-as={draft.changed ? '' : draft.name}>{draft.changed ? (draft.name ? `Changed since it was saved as ${draft.name}.` : 'Not saved yet.') : `Saved as ${draft.name}.`}
          {outline && ` ${number_of_beats(outline.parts.reduce((sum, part) => sum + part.beats, 0))} beats in all.`}</span>
      </div>
      {grown && <Grown grown={grown} busy={busy} run={run} />}
      {made && <Handed made={made} />}
    </>
  );
}

interface SectionProps {
  state: SongState;
  id: number;
  section: SketchSection;
  number: number;
  last: boolean;
  beats: number | undefined;
  own_key: string | undefined;  // only if it differs from the key of the song
  trouble: string;
}

function Section({ state, id, section, number, last, beats, own_key, trouble }: SectionProps) {
  const row = useRef<HTMLLIElement>(null);
  const named = (what: string) => `${what}, section ${number}`;
  const change = (part: Parameters<typeof sketch.change_section>[1]) => sketch.change_section(id, part);
  // After a move the focus stays on the pressed button; at an end of the list it goes to the other one.
  const move = (step: 1 | -1) => {
    sketch.move(id, step);
    requestAnimationFrame(() => {
      const buttons = [...row.current!.querySelectorAll<HTMLButtonElement>('.order button')];
      (step < 0 ? buttons : buttons.reverse()).find((each) => !each.disabled)?.focus();
    });
  };
  const layers = section.layers ?? sketch.all_layers;
  const toggle = (layer: sketch.Layer) => {
    const next = sketch.all_layers.filter((each) => (each === layer ? !layers.includes(each) : layers.includes(each)));
    if (next.length > 0) change({ layers: next.length === sketch.all_layers.length ? undefined : [...next] });
  };
  return (
    <li ref={row} class="section" data-id={id} data-name={section.name}>
      <div class="order" role="group" aria-label={named('Order')}>
        <button type="button" class="quiet" disabled={number === 1} aria-label={`Move ${section.name} up`} onClick={() => move(-1)}>↑</button>
        <span class="section-number">{number}</span>
        <button type="button" class="quiet" disabled={last} aria-label={`Move ${section.name} down`} onClick={() => move(1)}>↓</button>
      </div>
      <div class="section-body">
        <div class="section-line">
          <input type="text" class="section-name" aria-label={named('Name')} maxLength={60} value={section.name} onInput={(event) => change({ name: event.currentTarget.value })} />
          <label class="times"><EditableNumber min={1} max={64} label={named('Times')} value={section.repeats ?? 1} keep={(repeats) => change({ repeats })} /> ×</label>
          {beats !== undefined && <span class="soft section-beats">{number_of_beats(beats)} beats{own_key && `, ${key_name(own_key)}`}</span>}
          <span class="spring" />
          <button type="button" class="quiet" aria-label={`Take ${section.name} out`} onClick={() => sketch.remove(id)}>✕</button>
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
      </div>
    </li>
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
