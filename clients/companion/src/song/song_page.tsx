// The song screen of a take: its loop, other chords for it, a sketch of a song, and what is handed over.
import { useEffect, useMemo } from 'preact/hooks';
import type { LoopProposal } from '../protocol';
import { complain, daemon, takes_changed } from '../state';
import { stop_cycle } from './cycle_player';
import { HandOverTake } from './hand_over';
import { LoopView, NoLoop } from './loop_view';
import { OtherChords } from './other_chords';
import * as sketch from './sketch_state';
import { SketchView } from './sketch_view';
import { stop_song } from './song_player';
import { SongState, type Part } from './song_state';
import './song.css';

const parts: [Part, string][] = [['loop', 'Loop'], ['others', 'Other chords'], ['sketch', 'Song sketch'], ['parts', 'Hand over']];

export function SongPage({ take }: { take: number }) {
  const state = useMemo(() => new SongState(take), [take]);
  useEffect(() => {
    if (daemon.link.value === 'open') state.load().catch((error: Error) => (state.no_loop.value = error.message));
  }, [take, daemon.link.value, takes_changed.value]);
  useEffect(() => {
    if (sketch.show_first.peek()) state.part.value = 'sketch';
    sketch.show_first.value = false;
    return () => { stop_cycle(); stop_song(); state.leave(); };
  }, [take]);
  const show = (part: Part) => {
    stop_cycle();
    stop_song();
    state.part.value = part;
    // Songs may have been saved elsewhere since the page was opened.
    if (part === 'sketch' && daemon.link.value === 'open') sketch.fetch_kept().catch(complain);
  };
  const use = (proposal: LoopProposal) => void into_song(state, proposal);
  const { loop } = state;
  const summary = state.summary.value;
  const title = summary?.title || `Take ${take}`;
  return (
    <div class={`song-page show-${state.part.value}`}>
      <div class="song-head">
        <a href={`#take/${take}`} class="quiet back" aria-label="Back to the take">‹</a>
        <h1>{title} <span class="soft">as a song</span></h1>
      </div>
      {loop.value ? (
        <>
          <div class="views song-views" role="group" aria-label="Parts of this page">
            {parts.map(([part, words]) => <button key={part} type="button" class={`to-${part}`} aria-pressed={state.part.value === part} onClick={() => show(part)}>{words}</button>)}
          </div>
          <div class="song-parts">
            <div class="place-loop" tabIndex={0} role="group" aria-labelledby="part-loop"><LoopView state={state} /></div>
            <div class="place-others"><OtherChords state={state} use={use} /></div>
            <div class="place-sketch"><SketchView state={state} /></div>
            <div class="place-parts"><HandOverTake state={state} /></div>
          </div>
        </>
      ) : state.no_loop.value ? (
        <div class="song-parts bare">
          <NoLoop sentence={state.no_loop.value} />
          <HandOverTake state={state} />
        </div>
      ) : <p class="soft song-part">{daemon.link.value === 'open' ? 'Looking for what comes round …' : 'Not connected just now.'}</p>}
    </div>
  );
}

/** Puts the chords into the open sketch, or into a new one. The first theme gets them; another section can be chosen there. */
async function into_song(state: SongState, proposal: LoopProposal): Promise<void> {
  try {
    if (!sketch.draft.peek()) await sketch.propose(state.take);
    const sections = sketch.draft.peek()!.sections;
    const place = sections.find(({ section }) => section.take === state.take && section.kind === 'theme' && !section.chords)
      ?? sections.find(({ section }) => section.take === state.take && !section.chords);
    const id = place?.id ?? sketch.add({ name: 'Theme', kind: 'theme', take: state.take, repeats: 1 });
    sketch.put_chords(id, proposal);
    sketch.selected.value = id;
    stop_cycle();
    state.part.value = 'sketch';
    requestAnimationFrame(() => document.querySelector<HTMLElement>('.section .section-over select')?.focus());
  } catch (error) {
    sketch.place_trouble(error);
    state.part.value = 'sketch';
  }
}
