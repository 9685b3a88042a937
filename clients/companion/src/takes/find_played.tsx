// Finds the takes that hold what was just played: by the button on the screen of takes, or by a pedal.
import { effect, signal } from '@preact/signals';
import { useEffect } from 'preact/hooks';
import { clock, plural } from '../music/text';
import type { FoundTake, FoundTakes } from '../protocol';
import { ask, status } from '../state';
import { play_or_stop, playing, silence } from './moment_player';
import { day_and_time, name_of } from './take_name';

const answer = signal<FoundTakes | null>(null);
const trouble = signal('');

let asked = 0;
async function find(): Promise<void> {
  const number = ++asked;
  silence();
  try {
    const got = await ask('take.find_played', {});
    if (number !== asked) return;
    trouble.value = '';
    answer.value = got;
  } catch (error) {
    if (number !== asked) return;
    answer.value = null;
    trouble.value = error instanceof Error ? error.message : String(error);
  }
}

// A pedal or pad asked for it: the takes come to the screen.
let seen: number | null = null;
effect(() => {
  const asked_for = status.value?.finds_asked;
  if (asked_for === undefined) return;
  if (seen !== null && asked_for > seen) {
    location.hash = '#takes';
    void find();
  }
  seen = asked_for;
});

const found_as: Record<FoundTake['as'], string> = { tune: 'the tune', chords: 'the chords', passage: 'the whole passage' };

function transposed(shift: number): string {
  return shift === 0 ? '' : `, ${plural(Math.abs(shift), 'semitone')} ${shift > 0 ? 'higher' : 'lower'}`;
}

export function FindPlayed() {
  useEffect(() => silence, []);
  const found = answer.value;
  return (
    <section class="moments find-played" aria-label="Find by playing">
      <p><button type="button" class="act" onClick={() => void find()}>Find what I just played</button>{' '}
        <span class="soft">Play a few notes of a tune, some chords or a passage first, in any key.</span></p>
      {trouble.value && <p class="trouble" role="alert">{trouble.value}</p>}
      {found && <Answer found={found} />}
    </section>
  );
}

function Answer({ found }: { found: FoundTakes }) {
  return (
    <>
      <p class="soft" role="status">{plural(found.notes, 'note')} looked for in {plural(found.takes, 'take')}{found.found.length === 0 ? ': nothing like them is there.' : '.'}{' '}
        <button type="button" class="quiet" onClick={() => { silence(); answer.value = null; }}>Close</button></p>
      {found.found.length > 0 && (
        <ul class="moment-rows" aria-label="Takes that hold it, best first">
          {found.found.map((place) => <Row key={place.take} place={place} />)}
        </ul>
      )}
      {found.unprepared > 0 && <p class="soft">{plural(found.unprepared, 'older take')} will be looked at once prepared for this, and can’t be in this answer yet.</p>}
    </>
  );
}

function Row({ place }: { place: FoundTake }) {
  const key_at = (from_us: number) => `found ${place.take} ${from_us}`;
  const key = key_at(place.from_us);
  const sounds = playing.value === key;
  const name = name_of(place);
  return (
    <li class="moment-row" data-take={place.take} data-from={place.from_us}>
      <button type="button" class="act" aria-label={`${sounds ? 'Stop' : 'Play'} ${name} at ${clock(place.from_us)}`} onClick={() => void play_or_stop(place, key)}>{sounds ? '■' : '▶'}</button>
      <span>{found_as[place.as]}{place.as === 'chords' ? '' : transposed(place.shift)}</span>
      <span class="soft">{(place.length_us / 1e6).toFixed(1)} s{place.times > 1 ? `, ${place.times} times` : ''}, {day_and_time(place.begin_utc_ms)}</span>
      <a href={`#take/${place.take}@${(place.from_us / 1e6).toFixed(1)}`}>{name}, {clock(place.from_us)}</a>
      {place.others.length > 0 && (
        <span class="soft other-places">also at {place.others.map((other) => {
          const heard = playing.value === key_at(other.from_us);
          return <button key={other.from_us} type="button" class="quiet" aria-pressed={heard} aria-label={`${heard ? 'Stop' : 'Play'} ${name} at ${clock(other.from_us)}`}
                         onClick={() => void play_or_stop({ take: place.take, ...other }, key_at(other.from_us))}>{heard ? `■ ${clock(other.from_us)}` : clock(other.from_us)}</button>;
        })}</span>
      )}
    </li>
  );
}
