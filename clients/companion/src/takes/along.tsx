// Playing along with the loop of a take: its tempo and layers, start and stop; and what was played over it.
import { signal } from '@preact/signals';
import { useEffect, useState } from 'preact/hooks';
import { through } from '../play/hear';
import type { PlayAlong, TakePasses } from '../protocol';
import { repeat_loop } from '../sound/page_loop';
import { ask, complain, say, settings, status } from '../state';
import type { TakeData } from './take_data';
import type { Round } from './time_line';

const soft_velocity = 40;  // start softly, because nobody knows how loud the instrument is set
const bars_words = ['no bar', 'one bar', 'two bars', 'three bars', 'four bars'];

// The choices of this visit. The tempo belongs to the take; the others apply to all takes.
const loudness = signal<number | null>(null);
export const count_in = signal(1);
export const how_loud = () => loudness.value ?? Math.min(soft_velocity, settings.value?.hear_velocity ?? soft_velocity);
const bass = signal(true);
const chords = signal(true);

export function Along({ take }: { take: number }) {
  const [open, set_open] = useState(false);
  const [tempo, set_tempo] = useState('');  // as typed; empty: the tempo of the take
  const along = status.value?.playing?.along ? status.value.playing : null;
  const loud = how_loud();
  const start = () => {
    const layers: PlayAlong['layers'] = [];
    if (bass.value) layers.push('bass');
    if (chords.value) layers.push('chords');
    const wish: PlayAlong = { take, count_in: count_in.value, layers, velocity: loud };
    if (Number(tempo) > 0) wish.tempo = Math.min(400, Math.max(20, Number(tempo)));
    repeat_loop(wish).then(
      (got) => say(`The loop goes round at ${Math.round(got.along?.tempo ?? 0)} a minute${count_in.peek() > 0 ? ` after ${bars_words[count_in.peek()]} of count-in` : ', at once'}. What you play now is kept against it.`),
      complain,
    );
  };
  const stop = () => void ask('play.stop', {}).catch(complain);
  return (
    <>
      <button type="button" class="quiet" aria-pressed={!!along} disabled={!along && !bass.value && !chords.value} onClick={along ? stop : start}
              title={`Bass and chords of this take’s loop, softly, ${through.value === 'page' ? 'in this page.' : 'on the MIDI output. Mind your instrument’s own volume.'}`}>
        {along ? 'Stop the loop' : 'Play along'}
      </button>
      {along && along.take !== take && <span class="soft">the loop of take {along.take} sounds</span>}
      <button type="button" class="quiet" aria-expanded={open} onClick={() => set_open(!open)}>Loop settings</button>
      {open && (
        <fieldset class="along-how" disabled={!!along}>
          <legend class="visually-hidden">How the loop is played</legend>
          <label>Tempo <input type="number" min="20" max="400" step="1" value={tempo} placeholder="as played" onInput={(event) => set_tempo(event.currentTarget.value)} /> a minute</label>
          <label>Count-in
            <select value={count_in.value} onChange={(event) => (count_in.value = Number(event.currentTarget.value))}>
              {bars_words.map((words, bars) => <option key={bars} value={bars}>{words}</option>)}
            </select>
          </label>
          <label><input type="checkbox" checked={bass.value} onChange={(event) => (bass.value = event.currentTarget.checked)} /> Bass</label>
          <label><input type="checkbox" checked={chords.value} onChange={(event) => (chords.value = event.currentTarget.checked)} /> Chords</label>
          <label>Loudness
            <input type="range" min="1" max="127" value={loud} aria-label="Loudness of the loop’s key strokes" aria-valuetext={`${loud} of 127`}
                   onInput={(event) => (loudness.value = Number(event.currentTarget.value))} />
          </label>
          {along && <span class="soft">Stop the loop to change it.</span>}
        </fieldset>
      )}
    </>
  );
}

/** What a take was played over, if the player played along with a loop. Its passes are drawn on the roll. */
export function Rounds({ data, draw }: { data: TakeData; draw: (rounds: Round[]) => void }) {
  const { take, at: begin, ended } = data.summary;
  const [passes, set_passes] = useState<TakePasses | null>(null);
  useEffect(() => {
    let wanted = true;
    const take_in = (got: TakePasses | null) => {
      if (!wanted) return;
      set_passes(got);
      draw(got?.pass_at.map((at, i) => ({ at: at - begin, number: got.first_pass + i })) ?? []);
    };
    if (ended) ask('take.passes', { take }).then(take_in, () => take_in(null));  // null: the take was not played along with a loop
    return () => { wanted = false; };
  }, [take, ended]);
  if (!passes) return null;
  const over = passes.along.take;
  return (
    <p class="rounds-about soft">
      Played over the loop of <a href={`#take/${over}`}>take {over}</a>, {Math.round(passes.along.tempo)} a minute, {passes.pass_at.length} {passes.pass_at.length === 1 ? 'round' : 'rounds'}
    </p>
  );
}
