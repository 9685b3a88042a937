// A song made of sections of takes: they stand on a time line, and the chosen one can be changed. The daemon stores it as a file.
import { signal } from '@preact/signals';
import { useEffect, useState } from 'preact/hooks';
import { EditableNumber } from '../shell/editable';
import { complain, daemon } from '../state';
import { Grown } from './grow_view';
import { HandOver } from './hand_over';
import { SectionEditor } from './section_editor';
import { outlined } from './sketch_outline';
import * as sketch from './sketch_state';
import type { SongState } from './song_state';
import { Strings } from './strings';
import { TimeLine } from './song_time_line';
import { plural, worded } from './words';

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
        Begin with a proposal made from this take, then listen, drag its sections about and repeat them.</p>}
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
  const outline = outlined.value?.outline;
  const made = sketch.handed.value;
  const grown = sketch.grown.value;
  const open = sketch.selected_section.value;
  const number = open ? draft.sections.indexOf(open) + 1 : 0;
  const add = () => {
    sketch.add({ name: 'Section', kind: 'interlude', take: state.take, repeats: 1, ...(state.loop.peek() ? { label: state.loop.peek()!.sections[0]!.label } : {}) });
    requestAnimationFrame(() => document.querySelector<HTMLElement>('.section .section-name')?.focus());
  };
  return (
    <>
      <div class="sketch-head line">
        <input type="text" class="sketch-title" aria-label="Title of the song" maxLength={200} value={draft.title} onInput={(event) => sketch.change({ title: event.currentTarget.value })} />
        <label class="line"><EditableNumber min={20} max={400} label="Tempo of the song, beats a minute" placeholder={outline ? String(Math.round(outline.tempo)) : String(Math.round(state.loop.value?.tempo ?? 0) || '')} value={draft.tempo}
          keep={(tempo) => sketch.change({ tempo })} clear={() => sketch.change({ tempo: undefined })} /> <span class="soft">beats a minute</span></label>
      </div>
      <TimeLine draft={draft} add={add} />
      {trouble && trouble.section > 0 && trouble.section !== number && <p class="trouble" role="alert">{worded(trouble.sentence)}</p>}
      {open && <SectionEditor key={open.id} state={state} id={open.id} section={open.section} number={number} last={number === draft.sections.length}
                              trouble={trouble?.section === number ? trouble.sentence : ''} />}
      {trouble?.section === 0 && <p class="trouble" role="alert">{worded(trouble.sentence)}</p>}
      <div class="sketch-acts">
        <button type="button" class="act" disabled={busy || !draft.changed} onClick={() => run(sketch.keep)}>Save the sketch</button>
        <button type="button" class="act" disabled={busy} onClick={() => run(sketch.hand_over)}>Hand over</button>
        <button type="button" class="act" disabled={busy} title="The sketch is saved first." onClick={() => run(sketch.grow)}>Propose a bridge or an interlude</button>
        <Strings />
        <span class="soft" role="status" data-kept-as={draft.changed ? '' : draft.name}>{draft.changed ? (draft.name ? `Changed since it was saved as ${draft.name}.` : 'Not saved yet.') : `Saved as ${draft.name}.`}</span>
      </div>
      {grown && <Grown grown={grown} busy={busy} run={run} />}
      {made && <HandOver made={made} make={sketch.hand_over} title={draft.title || 'Song'} />}
    </>
  );
}
