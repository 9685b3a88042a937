// The takes that go round the same chords as this one: "this loop again, a fourth higher, in March".
import { useEffect, useState } from 'preact/hooks';
import { clock } from '../music/text';
import type { SimilarTake } from '../protocol';
import { ask } from '../state';
import { play_or_stop, playing, silence } from './moment_player';
import { day_and_time, interval, name_of } from './take_name';

/** `known` changes when what is known of the take has changed. */
export function Similar({ take, known }: { take: number; known: string }) {
  const [found, set_found] = useState<SimilarTake[]>([]);
  useEffect(() => {
    let wanted = true;
    ask('take.similar', { take }).then((got) => wanted && set_found(got.found), () => undefined);
    return () => { wanted = false; silence(); };
  }, [take, known]);
  if (found.length === 0) return null;
  return (
    <section class="similar" aria-labelledby="similar">
      <h2 id="similar">This loop again</h2>
      <ul>
        {found.map((each) => {
          const key = `similar ${each.take}`;
          const sounds = playing.value === key;
          return (
            <li key={each.take}>
              <button type="button" class="quiet" aria-label={`${sounds ? 'Stop' : 'Play'} take ${each.take} at ${clock(each.from_us)}`} onClick={() => void play_or_stop(each, key)}>{sounds ? '■' : '▶'}</button>
              <a href={`#take/${each.take}@${(each.from_us / 1e6).toFixed(1)}`}>{interval(each.shift)}, {day_and_time(each.begin_utc_ms)}</a>
              <span class="soft">{name_of(each)}</span>
            </li>
          );
        })}
      </ul>
    </section>
  );
}
