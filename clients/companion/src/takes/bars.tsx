// The bars of a take: drawn on the roll and corrected at the cursor. Beside them is the loop to play along with.
import { useEffect, useRef, useState } from 'preact/hooks';
import type { CorrectBeat, TakeBeats } from '../protocol';
import { ask, complain } from '../state';
import { Along, Rounds } from './along';
import type { TakeData } from './take_data';
import type { Bar, Round } from './time_line';

interface Props {
  data: TakeData;
  cursor: () => number;
  draw: (bars: Bar[]) => void;
  draw_rounds: (rounds: Round[]) => void;
}

export function Bars({ data, cursor, draw, draw_rounds }: Props) {
  const { take, at: begin, ended } = data.summary;
  const [beats, set_beats] = useState<TakeBeats | null>(null);
  const [open, set_open] = useState(false);
  const take_in = (got: TakeBeats) => {
    set_beats(got);
    draw(got.pulse ? got.at.map((at, i) => ({ at: at - begin, one: got.place[i] === 1 })) : []);
  };
  const [given_up, set_given_up] = useState(false);
  const load = () => { set_given_up(false); return ask('take.beats', { take }).then(take_in); };
  useEffect(() => void (ended && load().catch(() => set_given_up(true))), [take, ended]);
  const correct = (what: CorrectBeat) => void ask('beat.correct', { ...what, take }).then(load).catch(complain);
  return (
    <div class="bars" role="group" aria-label="Bars and loop">
      <Along take={take} />
      {!ended ? <span class="soft">bars are found when the take has ended</span> : given_up ? <button type="button" class="quiet" onClick={() => void load().catch(() => set_given_up(true))}>Find the bars</button> : !beats ? <Finding take={take} /> : !beats.pulse ? <span class="soft">no steady pulse: no bars</span> : (
        <>
          <button type="button" class="quiet" aria-expanded={open} onClick={() => set_open(!open)}>Correct the bars</button>
          <span class="soft">{beats.meter} beats a bar</span>
        </>
      )}
      {open && beats?.pulse && (
        <>
          <button type="button" class="quiet" onClick={() => correct({ what: 'one', at: begin + Math.round(cursor()) })}>Beat one is at the cursor</button>
          <button type="button" class="quiet" onClick={() => correct({ what: 'twice' })}>Twice as fast</button>
          <button type="button" class="quiet" onClick={() => correct({ what: 'half' })}>Half as fast</button>
          <button type="button" class="quiet" onClick={() => correct({ what: 'meter', meter: beats.meter === 3 ? 4 : 3 })}>{beats.meter === 3 ? 4 : 3} beats a bar</button>
          <button type="button" class="quiet" onClick={() => correct({ what: 'undo' })}>Undo</button>
        </>
      )}
      <Rounds data={data} draw={draw_rounds} />
    </div>
  );
}

const look_every_ms = 250, patience_ms = 300;

/** How far the work is, once it takes longer than a moment; and the way to give it up. */
function Finding({ take }: { take: number }) {
  const [done, set_done] = useState<number | null>(null);
  const began = useRef(performance.now());
  useEffect(() => {
    let timer = 0;
    const look = () => {
      ask('study.progress', { take }).then((got) => {
        if (performance.now() - began.current > patience_ms) set_done(got.working ? got.done : 0);
      }, () => undefined);
      timer = window.setTimeout(look, look_every_ms);
    };
    timer = window.setTimeout(look, patience_ms);
    return () => clearTimeout(timer);
  }, [take]);
  if (done === null) return <span class="soft">finding the bars …</span>;
  return (
    <span class="finding">
      <label class="soft">finding the bars <progress max="1" value={done} /></label>
      <button type="button" class="quiet" onClick={() => void ask('study.cancel', { take }).catch(complain)}>Stop looking</button>
    </span>
  );
}
