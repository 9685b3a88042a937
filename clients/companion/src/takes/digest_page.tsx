// The moments most worth hearing again of the last evening or week: heard one after another, kept or dismissed with one key.
import { signal } from '@preact/signals';
import { useEffect, useRef } from 'preact/hooks';
import { clock, plural, pretty } from '../music/text';
import type { Digest, DigestMoment } from '../protocol';
import { ChordSymbol } from '../shell/chord_symbol';
import { ask, complain, daemon, say, status, takes_changed } from '../state';
import { play_or_stop, playing, silence } from './moment_player';
import { day_and_time, evening, name_of } from './take_name';

type Span = 'evening' | 'week';
type Verdict = DigestMoment['verdict'];

const span = signal<Span>('evening');
const digest = signal<Digest | null>(null);
const chosen = signal('');

const id = (moment: DigestMoment) => `digest ${moment.take} ${moment.from_us}`;

let asked = 0;
async function fetch_digest(): Promise<void> {
  const number = ++asked;
  try {
    const got = await ask('take.digest', { span: span.peek() });
    if (number !== asked) return;
    digest.value = got;
    if (!got.moments.some((each) => id(each) === chosen.peek())) chosen.value = got.moments[0] ? id(got.moments[0]) : '';
  } catch (error) {
    if (daemon.link.peek() === 'open') complain(error);
  }
}

const moments = () => digest.peek()?.moments ?? [];
const place = () => moments().findIndex((each) => id(each) === chosen.peek());

function choose(step: number): void {
  const next = moments()[Math.min(moments().length - 1, Math.max(0, place() + step))];
  if (next) chosen.value = id(next);
}

/** Plays it, and then those that follow. */
function play_on(moment: DigestMoment): void {
  chosen.value = id(moment);
  void play_or_stop(moment, id(moment), () => {
    const at = place();
    const next = moments()[at + 1];
    if (next && at >= 0) play_on(next);
  });
}

function judge(moment: DigestMoment, verdict: Verdict): void {
  const { take, from_us, length_us } = moment;
  const sounds = playing.peek() === id(moment);
  const at = moments().findIndex((each) => id(each) === id(moment));
  const next = moments()[at + 1];
  ask('take.judge', { take, from_us, length_us, verdict }).then(() => {
    const now = digest.peek();
    if (!now) return;
    if (verdict === 'dismissed') {
      digest.value = { ...now, moments: now.moments.filter((each) => id(each) !== id(moment)) };
      if (sounds) next ? play_on(next) : silence();
      else if (chosen.peek() === id(moment)) chosen.value = next ? id(next) : id(now.moments[at - 1] ?? moment);
      say('It will not be proposed again.', { label: 'Undo', run: () => void ask('take.judge', { take, from_us, length_us, verdict: 'open' }).then(fetch_digest).catch(complain) });
    } else {
      digest.value = { ...now, moments: now.moments.map((each) => (id(each) === id(moment) ? { ...each, verdict } : each)) };
    }
  }, complain);
}

function on_key(event: KeyboardEvent): void {
  if (event.ctrlKey || event.metaKey || event.altKey || event.defaultPrevented) return;
  const target = event.target as HTMLElement;
  if (target.matches('input, select, textarea') || target.closest('dialog')) return;
  const moment = moments()[place()];
  const key = event.key.toLowerCase();
  if (key === 'arrowdown' || key === 'arrowright') choose(1);
  else if (key === 'arrowup' || key === 'arrowleft') choose(-1);
  else if (key === ' ' && moment && !target.matches('button, a')) play_on(moment);
  else if (key === 'k' && moment) judge(moment, moment.verdict === 'kept' ? 'open' : 'kept');
  else if ((key === 'd' || key === 'delete') && moment) judge(moment, 'dismissed');
  else return;
  event.preventDefault();
}

export function DigestPage() {
  const now = digest.value;
  useEffect(() => void fetch_digest(), [span.value, daemon.link.value, takes_changed.value, status.value?.takes_studied]);
  useEffect(() => {
    addEventListener('keydown', on_key);
    return () => { removeEventListener('keydown', on_key); silence(); };
  }, []);
  const sounds = now?.moments.some((each) => id(each) === playing.value) ?? false;
  const all = () => {
    const first = moments()[Math.max(0, place())];
    if (sounds) silence();
    else if (first) play_on(first);
  };
  return (
    <div class="page takes digest">
      <div class="digest-head">
        <h1>Worth hearing again</h1>
        <div class="switch" role="group" aria-label="Of which time">
          {(['evening', 'week'] as const).map((each) => (
            <button key={each} type="button" class="quiet" aria-pressed={span.value === each} onClick={() => { silence(); span.value = each; }}>{each === 'evening' ? 'Last evening' : 'Last week'}</button>
          ))}
        </div>
      </div>
      {!now ? <p class="soft">{daemon.link.value === 'open' ? 'Looking …' : 'Not connected just now.'}</p> : now.moments.length === 0 ? <Nothing takes={now.takes} /> : (
        <>
          <p class="digest-about"><button type="button" class="act" onClick={all}>{sounds ? '❚❚ Stop' : '▶ Hear them all'}</button>
            <span class="soft">{span.value === 'evening' ? evening(now.from_utc_ms + 8 * 3_600_000) : 'seven days'}, {plural(now.takes, 'take')}</span>
            <span class="soft keys"><kbd>Space</kbd> plays, <kbd>K</kbd> keeps, <kbd>D</kbd> dismisses</span></p>
          <ul class="digest-rows" aria-label="Moments, the best first">
            {now.moments.map((moment) => <Row key={id(moment)} moment={moment} />)}
          </ul>
          {now.unstudied > 0 && <p class="soft">{plural(now.unstudied, 'take')} still to be looked through; the list will grow by itself.</p>}
        </>
      )}
    </div>
  );
}

function Nothing({ takes }: { takes: number }) {
  return (
    <div class="teach small"><h2>{takes > 0 ? 'Nothing stands out' : 'No takes yet'}</h2>
      <p>Moments come here that you mark, go round for long, come back to, or that hold a chord you have not played under such a note before.</p></div>
  );
}

function Row({ moment }: { moment: DigestMoment }) {
  const row = useRef<HTMLLIElement>(null);
  const key = id(moment);
  const sounds = playing.value === key, current = chosen.value === key;
  useEffect(() => { if (current && sounds) row.current!.scrollIntoView({ block: 'nearest' }); }, [current, sounds]);
  const what = `${pretty(moment.reason)}, ${name_of(moment)} at ${clock(moment.from_us)}`;
  const kept = moment.verdict === 'kept';
  return (
    <li class={`digest-row${current ? ' current' : ''}${kept ? ' kept' : ''}`} ref={row} aria-current={current} data-take={moment.take} data-from={moment.from_us} onClick={() => (chosen.value = key)}>
      <button type="button" class="act" aria-label={`${sounds ? 'Stop' : 'Play'}: ${what}`} onClick={() => (sounds ? silence() : play_on(moment))}>{sounds ? '■' : '▶'}</button>
      <span class="digest-chords">{moment.chords.length > 0 ? moment.chords.map((chord, i) => <ChordSymbol key={i} chord={chord} />) : <span class="flag">⚑</span>}</span>
      <span class="digest-reason">{pretty(moment.reason)}</span>
      <a class="digest-where soft" href={`#take/${moment.take}@${(moment.from_us / 1e6).toFixed(1)}`}>{name_of(moment)}, {clock(moment.from_us)}{span.value === 'week' && `, ${day_and_time(moment.begin_utc_ms)}`} · {moment.bars ? plural(moment.bars, 'bar') : `${Math.round(moment.length_us / 1e6)} s`}</a>
      <span class="digest-verdict">
        <button type="button" class="quiet" aria-pressed={kept} onClick={() => judge(moment, kept ? 'open' : 'kept')}>{kept ? '★ Kept' : '☆ Keep'}</button>
        <button type="button" class="quiet" aria-label={`Dismiss: ${what}`} onClick={() => judge(moment, 'dismissed')}>Dismiss</button>
      </span>
    </li>
  );
}
