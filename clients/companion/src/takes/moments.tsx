// Searches the moments of all takes in a musician's words. Each result has a button that plays it.
import { signal } from '@preact/signals';
import { useEffect } from 'preact/hooks';
import { clock, pretty } from '../music/text';
import type { FoundMoments, FoundMoment } from '../protocol';
import { ChordSymbol } from '../shell/chord_symbol';
import { ask, symbol_of } from '../state';
import { play_or_stop, playing, silence } from './moment_player';
import { name_of } from './take_name';

const examples = ['Db under G', '#11 over a major seventh', 'any dominant on Bb under the 9', 'Cm7 then F7 then Bbmaj7', 'minor under A in F last week'];
const page_size = 30;

const question = signal('');
const answer = signal<FoundMoments | null>(null);
const trouble = signal('');

let asked = 0;
async function find(from?: string): Promise<void> {
  const number = ++asked;
  const text = question.peek().trim();
  if (text === '') {
    answer.value = null;
    trouble.value = '';
    return;
  }
  try {
    const got = await ask('take.find', { question: text, limit: page_size, ...(from === undefined ? {} : { from }) });
    if (number !== asked) return;
    trouble.value = '';
    answer.value = from === undefined ? got : { ...got, moments: [...(answer.peek()?.moments ?? []), ...got.moments] };
  } catch (error) {
    if (number !== asked) return;
    answer.value = null;
    trouble.value = error instanceof Error ? error.message : String(error);
  }
}

function ask_for(text: string): void {
  question.value = text;
  void find();
}

export function MomentSearch() {
  useEffect(() => silence, []);
  const found = answer.value;
  return (
    <section class="moments" aria-label="Moments">
      <form role="search" onSubmit={(event) => { event.preventDefault(); void find(); }}>
        <input type="search" aria-label="Find moments" placeholder="Find moments: Db under G" value={question.value} maxLength={500} spellcheck={false} autocomplete="off"
               onInput={(event) => { question.value = event.currentTarget.value; if (event.currentTarget.value === '') void find(); }} />
        <button type="submit" class="act">Find</button>
      </form>
      {!found && !trouble.value && (
        <p class="soft examples">For example {examples.map((each) => <button key={each} type="button" class="quiet" onClick={() => ask_for(each)}>{pretty(each)}</button>)}</p>
      )}
      {trouble.value && <p class="trouble" role="alert">{trouble.value}</p>}
      {found && <Answer found={found} />}
    </section>
  );
}

function Answer({ found }: { found: FoundMoments }) {
  const near = found.near.filter((each) => each.moments > 0);
  return (
    <>
      <p class="soft" role="status">{pretty(found.understood)}: {found.moments.length === 0 ? 'no moment is like that.' : `${found.moments.length}${found.next ? ' and more' : ''}`}</p>
      {near.length > 0 && (
        <div class="near"><p class="soft">With one condition less:</p>
          <ul>{near.map((each) => <li key={each.words}>{pretty(each.words)}: {each.moments}</li>)}</ul></div>
      )}
      {found.moments.length > 0 && (
        <ul class="moment-rows" aria-label="Moments, newest first">
          {found.moments.map((moment, i) => <MomentRow key={`${moment.take} ${moment.at} ${moment.pitch ?? ''} ${i}`} moment={moment} />)}
        </ul>
      )}
      {found.unheard > 0 && <p class="soft">{found.unheard === 1 ? 'One older take is' : `${found.unheard} older takes are`} still to be listened to again, and not in this answer.</p>}
      {found.next !== undefined && <button type="button" class="act" onClick={() => void find(found.next)}>More moments</button>}
    </>
  );
}

function MomentRow({ moment }: { moment: FoundMoment }) {
  const key = `${moment.take} ${moment.from_us} ${moment.pitch ?? ''}`;
  const sounds = playing.value === key;
  const name = `${moment.chords.map(symbol_of).join(' ')}${moment.name ? ` under ${moment.name}` : ''}, take ${moment.take} at ${clock(moment.from_us)}`;
  return (
    <li class="moment-row" data-take={moment.take} data-from={moment.from_us}>
      <button type="button" class="act" aria-label={`${sounds ? 'Stop' : 'Play'} ${name}`} onClick={() => void play_or_stop(moment, key)}>{sounds ? '■' : '▶'}</button>
      <span class="moment-chords">{moment.chords.map((chord, i) => <ChordSymbol key={i} chord={chord} />)}</span>
      {moment.name && <span class="moment-note">under {pretty(moment.name)} <span class="soft">{pretty(moment.degree ?? '')}</span></span>}
      <span class="soft">{(moment.length_us / 1e6).toFixed(1)} s{moment.times > 1 ? `, ${moment.time} of ${moment.times}` : ''}</span>
      <a href={`#take/${moment.take}@${(moment.from_us / 1e6).toFixed(1)}`}>{name_of(moment)}, {clock(moment.from_us)}</a>
    </li>
  );
}
