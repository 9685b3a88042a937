// Other chords for the whole loop under the same melody: wishes, the loop itself, and below it the proposals as rows, best first. Each
// chord of a row stands under the chord of the loop that it replaces. A row is heard when it is pressed.
import { useId } from 'preact/hooks';
import { spoken } from '../music/chord';
import { pretty } from '../music/text';
import { through } from '../play/hear';
import type { LoopProposal, ProposedChord, TakeLoop } from '../protocol';
import { ChordSymbol } from '../shell/chord_symbol';
import { symbol_style } from '../state';
import { columns } from './columns';
import { Course, CourseLegend } from './course';
import { hear_cycle, heard, id_of, play_along, stop_hearing, stop_midi } from './cycle_player';
import { HearOn, Tone } from './hear_on';
import type { Roots, SongState, Wish } from './song_state';
import { plural, worded } from './words';

const roots: [Roots, string][] = [['any', 'as they like'], ['fifths', 'falling fifths'], ['rising_fifths', 'rising fifths'], ['thirds', 'thirds'], ['steps', 'steps'], ['semitones', 'semitones']];

const basses = ['C', 'Db', 'D', 'Eb', 'E', 'F', 'F#', 'G', 'Ab', 'A', 'Bb', 'B'];

export function OtherChords({ state, use }: { state: SongState; use: (proposal: LoopProposal) => void }) {
  const loop = state.loop.value!;
  const others = state.others.value;
  const wish = state.wish.value;
  const labels = [...new Set(loop.sections.map((section) => section.label))];
  return (
    <section class="song-part others" aria-labelledby="part-others" aria-busy={state.asking.value}>
      <h2 id="part-others">Other chords, the same melody</h2>
      <div class="wishes" role="group" aria-label="Wishes">
        <Slider state={state} member="brighter" name="Dark to bright" low="darker" high="brighter" />
        <Slider state={state} member="tenser" name="Resolved to tense" low="resolved" high="tense" />
        <Slider state={state} member="surprising" name="Familiar to surprising" low="familiar" high="surprising" />
        <div class="wish-choices">
          <label><span>Roots move by</span>
            <select value={wish.roots} onChange={(event) => state.change({ roots: event.currentTarget.value as Roots })}>
              {roots.map(([value, words]) => <option key={value} value={value}>{words}</option>)}
            </select>
          </label>
          <label><span>Bass</span>
            <select value={wish.pedal} onChange={(event) => state.change({ pedal: event.currentTarget.value })}>
              <option value="">goes with the roots</option>
              <option value="any">stays on one note</option>
              {basses.map((name) => <option key={name} value={name}>stays on {pretty(name)}</option>)}
            </select>
          </label>
          <label><span>Melody of</span>
            <select value={wish.section || others?.section || ''} onChange={(event) => state.change({ section: event.currentTarget.value })}>
              {labels.map((label) => <option key={label} value={label}>section {label}</option>)}
            </select>
          </label>
        </div>
        <HearOn />
      </div>
      {state.no_others.value && <p class="trouble" role="alert">{worded(state.no_others.value)}</p>}
      {others && <div class="others-head"><CourseLegend /><Tone /><p class="soft small-print" aria-live="polite">{state.asking.value ? 'Asking again …' : facts(others)}</p></div>}
      <div class="chord-rows">
        <p class="soft" id="stay-help">Press a chord of the loop that is to stay. Press a row below to hear it.</p>
        <Played state={state} loop={loop} played={others?.played.chords} />
        {others ? (
          <ol class="proposals" aria-label="Proposals, best first">
            {others.proposals.map((proposal, i) => <Proposal key={proposal.chords.map((chord) => chord.harte).join()} rank={i + 1} proposal={proposal} loop={loop} use={use} />)}
          </ol>
        ) : !state.no_others.value && <p class="soft">Looking for chords …</p>}
      </div>
    </section>
  );
}

function facts({ proposals, free, apart, exact, passes, section }: { proposals: LoopProposal[]; free: number; apart: number; exact: boolean; passes: number; section: string }): string {
  return `${plural(proposals.length, 'proposal')} under the melody of ${section} (${plural(passes, 'time')} round); each differs from every other in at least ${apart} of ${plural(free, 'free chord')}`
    + `${exact ? '; each is the best there is for its colour' : ''}.`;
}

function Slider({ state, member, name, low, high }: { state: SongState; member: 'brighter' | 'tenser' | 'surprising'; name: string; low: string; high: string }) {
  const id = useId();
  const value = state.wish.value[member];
  const set = (to: number) => state.change({ [member]: Math.abs(to) < 0.06 ? 0 : to } as Partial<Wish>);
  return (
    <div class="wish">
      <label class="visually-hidden" for={id}>{name}</label>
      <span class="wish-end" aria-hidden="true">{low}</span>
      <input id={id} type="range" min="-1" max="1" step="0.1" value={value} aria-valuetext={value === 0 ? 'no wish' : `${value < 0 ? low : high} ${Math.round(Math.abs(value) * 100)} percent`}
             onInput={(event) => set(Number(event.currentTarget.value))} onDblClick={() => set(0)} />
      <span class="wish-end" aria-hidden="true">{high}</span>
    </div>
  );
}

/** The loop as it was played, at the head of the rows. */
function Played({ state, loop, played }: { state: SongState; loop: TakeLoop; played: ProposedChord[] | undefined }) {
  const mine = played && heard.value?.id === id_of(played) && !heard.value.along ? heard.value : null;
  return (
    <div class="chord-row played">
      <button type="button" class="quiet row-hear" disabled={!played} aria-pressed={!!mine} aria-label={`${mine ? 'Stop' : 'Hear'} the loop as played`}
              onClick={() => (mine ? stop_hearing() : played && hear_cycle(loop, played))}>{mine ? '■' : '▶'}<span class="row-name">Loop</span></button>
      <div class="cells" role="group" aria-label="Chords of the loop, any of which can stay" aria-describedby="stay-help" style={columns(loop)}>
        {loop.chords.map((chord, i) => {
          const stays = state.wish.value.keep.includes(i + 1);
          return (
            <button key={i} type="button" class={`pin${mine?.place === i ? ' sounding' : ''}`} aria-pressed={stays} onClick={() => state.pin(i + 1)}>
              <ChordSymbol chord={chord} />
              <span class="cell-word">{stays ? '◆ stays' : '◇ may change'}</span>
              {played?.[i] && <DegreeList chord={played[i]} />}
            </button>
          );
        })}
      </div>
    </div>
  );
}

/** The degrees of the melody over a chord; long notes have a frame. */

function DegreeList({ chord }: { chord: ProposedChord }) {
  const said = chord.melody.map((note) => `${pretty(note.note)} is ${pretty(note.degree)}${note.role === 'tension' ? ', a tension' : note.role === 'avoid' ? ', a clash' : ''}`).join('; ');
  return (
    <span class="cell-degrees" title={said}>
      <span class="visually-hidden">melody: {said}</span>
      {chord.melody.map((note, i) => <span key={i} aria-hidden="true" class={`${note.held ? 'degree' : 'passing'} ${note.role}`}>{pretty(note.degree)}{note.role === 'avoid' && '!'}</span>)}
    </span>
  );
}

function Proposal({ rank, proposal, loop, use }: { rank: number; proposal: LoopProposal; loop: TakeLoop; use: (proposal: LoopProposal) => void }) {
  const id = id_of(proposal.chords);
  const mine = heard.value?.id === id ? heard.value : null;
  const sounding = mine?.place ?? -1, hearing = !!mine && !mine.along, along = !!mine?.along;
  const name = proposal.chords.map((chord) => spoken(chord, symbol_style.value)).join(', ');
  const hear = () => (hearing ? stop_hearing() : hear_cycle(loop, proposal.chords));
  return (
    <li class={`chord-row proposal${mine ? ' heard' : ''}`} data-harte={id} aria-label={`Proposal ${rank}: ${name}`} onClick={(event) => { if (!(event.target as Element).closest('button')) hear(); }}>
      <button type="button" class="quiet row-hear" aria-pressed={hearing} aria-label={`${hearing ? 'Stop' : 'Hear'} proposal ${rank}`} onClick={hear}>{hearing ? '■' : '▶'}<span class="row-name">{rank}</span></button>
      <div class="cells" style={columns(loop)}>
        {proposal.chords.map((chord, i) => (
          <div key={i} class={`cell${chord.changed ? ' changed' : ''}${chord.kept ? ' kept' : ''}${sounding === i ? ' sounding' : ''}`} data-kept={chord.kept} data-changed={chord.changed}
               title={`reached by: ${worded(chord.reached_by)}`}>
            <ChordSymbol chord={chord} />
            <span class="cell-word">{chord.kept ? '◆ stays' : chord.changed ? worded(chord.change) : chord.harte === loop.chords[i]?.harte ? 'same' : 'same, varied'}</span>
            <DegreeList chord={chord} />
          </div>
        ))}
      </div>
      <div class="row-foot">
        <Course chords={proposal.chords} />
        <p class="proposal-reason soft">{worded(proposal.reason)} · {proposal.changed} of {loop.chords.length} new · hands move {plural(proposal.hands_move, 'semitone')} once round</p>
        <button type="button" class="quiet" aria-pressed={along} aria-label={along ? `Stop playing along with proposal ${rank}` : `Play along with proposal ${rank}`}
                title={`Round and round ${through.value === 'page' ? 'in this page' : 'on the MIDI output'}, softly, after a count-in. What you play over it is recorded with its place in the loop.`}
                onClick={() => (along ? stop_midi() : play_along(loop, proposal.chords))}>{along ? '■ Stop' : '↻ Play along'}</button>
        <button type="button" class="quiet" aria-label={`Put proposal ${rank} in the song`} onClick={() => use(proposal)}>+ Song</button>
      </div>
    </li>
  );
}
