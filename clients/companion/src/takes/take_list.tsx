// The list of takes with a thumbnail of each, and the search.
import { signal } from '@preact/signals';
import { useEffect, useRef } from 'preact/hooks';
import { clock, key_name, pitch_class_names } from '../music/text';
import type { ListTakes, TakeSummary } from '../protocol';
import { ask, complain, daemon, live, say, status, takes_changed } from '../state';
import { Bring, BringingNow } from './bring_view';
import { FindPlayed } from './find_played';
import { MomentSearch } from './moments';
import { Picture } from './picture';
import { content_name, evening, interval, month, time_of_day } from './take_name';

type Filter = Omit<ListTakes, 'limit' | 'before'>;
const filter = signal<Filter>({});
const takes = signal<TakeSummary[] | null>(null);
const more = signal(false);
const page_size = 30;

const families = ['major', 'minor', 'dominant', 'diminished', 'half_diminished', 'augmented', 'suspended', 'power'] as const;
const major_tonics = ['C', 'Db', 'D', 'Eb', 'E', 'F', 'Gb', 'G', 'Ab', 'A', 'Bb', 'B'];
const minor_tonics = ['C', 'C#', 'D', 'Eb', 'E', 'F', 'F#', 'G', 'G#', 'A', 'Bb', 'B'];
const keys = [...major_tonics.map((tonic) => `${tonic}:maj`), ...minor_tonics.map((tonic) => `${tonic}:min`)];

let asked = 0;
async function fetch_takes(before?: number): Promise<void> {
  const number = ++asked;
  try {
    const got = await ask('take.list', { ...filter.peek(), limit: page_size, ...(before === undefined ? {} : { before }) });
    if (number !== asked) return;  // a newer search has begun
    takes.value = before === undefined ? got.takes : [...(takes.peek() ?? []), ...got.takes];
    more.value = got.more;
  } catch (error) {
    if (daemon.link.peek() === 'open') complain(error);
  }
}

function change(part: { [name in keyof Filter]?: Filter[name] | undefined }): void {
  const next: Record<string, unknown> = { ...filter.peek(), ...part };
  for (const name of Object.keys(next)) if (next[name] === undefined || next[name] === '') delete next[name];
  filter.value = next as Filter;
}

export async function delete_take(take: number): Promise<void> {
  await ask('take.delete', { take });
  say(`Take ${take} is off the list.`, { label: 'Undo', run: () => void ask('take.restore', { take }).catch(complain) });
}

export function TakeList() {
  const wanted = filter.value;
  const list = takes.value;
  useEffect(() => void fetch_takes(), [wanted, takes_changed.value, status.value?.takes_studied, daemon.link.value]);
  const longest = circled_longest(list ?? []);
  const searching = Object.keys(wanted).length > 0;
  return (
    <div class="page takes">
      <h1>Takes</h1>
      <FindPlayed />
      <MomentSearch />
      <div class="folded"><Search /><Bring /></div>
      <BringingNow />
      {list === null ? <p class="soft">{daemon.link.value === 'open' ? 'Looking …' : 'Not connected just now.'}</p>
        : list.length === 0 ? <Nothing searching={searching} />
        : (
          <ul class="take-rows" aria-label={wanted.deleted ? 'Deleted takes' : 'Takes, newest first'}>
            {list.flatMap((take, i) => {
              const when = evening(take.begin_utc_ms);
              const row = <TakeRow key={take.take} take={take} longest={longest.has(take.take)} />;
              return i > 0 && evening(list[i - 1]!.begin_utc_ms) === when ? [row] : [<li key={`evening ${take.take}`} class="evening"><h2>{when}</h2>{i === 0 && !searching && <a href="#digest" class="quiet">Hear the best of it</a>}</li>, row];
            })}
          </ul>
        )}
      {more.value && list && <button type="button" class="act" onClick={() => void fetch_takes(list.at(-1)!.take)}>Older takes</button>}
    </div>
  );
}

function Nothing({ searching }: { searching: boolean }) {
  return searching ? (
    <div class="teach small"><h2>No take is like that</h2><p>Try fewer conditions.</p></div>
  ) : (
    <div class="teach small"><h2>No takes yet</h2>
      <p>Every time you play, a take is kept by itself; it ends after some seconds of silence. Nothing has to be started or saved. Play,
        and come back here.</p></div>
  );
}

/** The take of each evening in which loops were gone round longest, where there is more than one to choose from. */
function circled_longest(list: TakeSummary[]): Set<number> {
  const best = new Map<string, TakeSummary>();
  const circled = (take: TakeSummary) => take.content?.circled_us ?? 0;
  const some = new Map<string, number>();
  for (const take of list) {
    const when = evening(take.begin_utc_ms);
    if (circled(take) === 0) continue;
    some.set(when, (some.get(when) ?? 0) + 1);
    const before = best.get(when);
    if (!before || circled(take) > circled(before)) best.set(when, take);
  }
  return new Set([...best].filter(([when]) => some.get(when)! > 1).map(([, take]) => take.take));
}

function Again({ take }: { take: TakeSummary }) {
  const again = take.content?.again;
  if (!again) return null;
  const same = evening(again.begin_utc_ms) === evening(take.begin_utc_ms);
  const when = same ? '' : ` ${again.shift === 0 ? 'as' : 'than'} in ${month(again.begin_utc_ms, take.begin_utc_ms)}`;
  return <a class="again" href={`#take/${again.take}`}>this loop again, {interval(again.shift)}{when}</a>;
}

function TakeRow({ take, longest }: { take: TakeSummary; longest: boolean }) {
  const name = take.title || `Take ${take.take}`;
  const called = content_name(take);
  const circled = take.content?.circled_us ?? 0, returns = take.content?.returns ?? 0;
  const restore = () => ask('take.restore', { take: take.take }).then(() => say(`${name} is back on the list.`), complain);
  return (
    <li class="take-row">
      <a href={`#take/${take.take}`} data-take={take.take}>
        {take.ended ? <Picture take={take.take} known={`${take.begin_utc_ms}.${take.take}.${take.last_line}.${circled}.${take.content?.tempo}`} /> : <span class="thumbnail" />}
        <span class="take-name">{take.title || called || name}</span>
        <span class="take-when">{time_of_day(take.begin_utc_ms)}</span>
        <span class="take-facts">
          <span>{clock(take.length_us)}</span>
          {circled > 0 && <span class={longest ? 'longest' : ''}>{longest ? 'circled longest, ' : 'circled '}{clock(circled)}</span>}
          {returns > 0 && <span>came back to {returns === 1 ? 'one chord' : `${returns} chords`}</span>}
          {take.marks > 0 && <span class="marked">⚑ {take.marks === 1 ? 'marked' : `${take.marks} marks`}</span>}
          {take.title ? called && <span>{called}</span> : called && <span>Take {take.take}</span>}
          {!called && take.key && <span>{key_name(take.key)}</span>}
          {!take.ended && live.value && <span class="live">being played</span>}
        </span>
        {take.annotation && <span class="take-note">{take.annotation}</span>}
      </a>
      <Again take={take} />
      {take.ended && !take.deleted && <a class="quiet to-song" href={`#song/${take.take}`} aria-label={`${name} as a song`}>Song</a>}
      {take.deleted && <button type="button" class="quiet" onClick={() => void restore()}>Bring back</button>}
    </li>
  );
}

// ---- search

function Select({ label, value, options, none, change: set }: {
  label: string; value: string | number | undefined; options: (readonly [string | number, string])[]; none: string; change: (value: string | undefined) => void;
}) {
  return (
    <label><span>{label}</span>
      <select value={value === undefined ? '' : String(value)} onChange={(event) => set(event.currentTarget.value || undefined)}>
        <option value="">{none}</option>
        {options.map(([of, words]) => <option key={of} value={String(of)}>{words}</option>)}
      </select>
    </label>
  );
}

const pitch_classes = pitch_class_names.map((name, i) => [i, name] as const);
const number = (text: string | undefined) => (text === undefined ? undefined : Number(text));
const day_ms = (text: string, end: boolean) => (text ? new Date(`${text}T${end ? '23:59:59.999' : '00:00:00'}`).getTime() : undefined);
const day_text = (ms: number | undefined) => {
  if (ms === undefined) return '';
  const day = new Date(ms);
  return `${day.getFullYear()}-${String(day.getMonth() + 1).padStart(2, '0')}-${String(day.getDate()).padStart(2, '0')}`;
};

function Search() {
  const now = filter.value;
  const details = useRef<HTMLDetailsElement>(null);
  const any = Object.keys(now).length;
  return (
    <details class="search" ref={details} open={any > 0}>
      <summary>Search{any > 0 ? ` (${any})` : ''}</summary>
      <form class="fields" onSubmit={(event) => event.preventDefault()}>
        <Select label="Chord on" none="any root" value={now.root} options={pitch_classes} change={(root) => change({ root: number(root) })} />
        <Select label="of kind" none="any kind" value={now.family} options={families.map((each) => [each, each.replace('_', '-')] as const)}
                change={(family) => change({ family: family as Filter['family'] })} />
        <Select label="Melody note" none="any note" value={now.melody} options={pitch_classes} change={(melody) => change({ melody: number(melody) })} />
        <Select label="over root" none="any root" value={now.melody_over} options={pitch_classes} change={(over) => change({ melody_over: number(over) })} />
        <Select label="Key" none="any key" value={now.key} options={keys.map((each) => [each, key_name(each)] as const)} change={(key) => change({ key })} />
        <label><span>From</span><input type="date" value={day_text(now.from_utc_ms)} onChange={(event) => change({ from_utc_ms: day_ms(event.currentTarget.value, false) })} /></label>
        <label><span>to</span><input type="date" value={day_text(now.to_utc_ms)} onChange={(event) => change({ to_utc_ms: day_ms(event.currentTarget.value, true) })} /></label>
        <label class="tick"><input type="checkbox" checked={now.deleted ?? false} onChange={(event) => change({ deleted: event.currentTarget.checked || undefined })} /> deleted ones</label>
        {any > 0 && <button type="button" class="quiet" onClick={() => (filter.value = {})}>Clear</button>}
      </form>
    </details>
  );
}
