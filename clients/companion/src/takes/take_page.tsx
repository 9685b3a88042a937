// One take: its roll, what applied at the cursor, and what can be done with it.
import { signal } from '@preact/signals';
import { useEffect, useMemo, useRef, useState } from 'preact/hooks';
import { clock, key_name, plural, pretty } from '../music/text';
import type { Chord, TakePicture } from '../protocol';
import { ChordSymbol } from '../shell/chord_symbol';
import { Editable } from '../shell/editable';
import { volume } from '../sound/tone';
import { ask, complain, daemon, live, say, status, symbol_of, symbol_style, takes_changed } from '../state';
import { local } from '../local';
import { through } from '../play/hear';
import { Bars } from './bars';
import { MidiPlayer } from './midi_player';
import { Player } from './player';
import { Roll } from './roll';
import { holding, load_rest, load_take, name_of, type TakeData } from './take_data';
import { delete_take } from './take_list';
import { bands_of, Passes, runs_of } from './passes';
import { Similar } from './similar';
import { content_name, day_and_time } from './take_name';
import type { Band } from './time_line';

/** `at`: where it is opened, in microseconds after its beginning. */
export function TakePage({ take, at }: { take: number; at: number }) {
  const [data, set_data] = useState<TakeData | null>(null);
  const [trouble, set_trouble] = useState('');
  const [, grown] = useState(0);
  const before = useRef<TakeData | null>(null);
  useEffect(() => {
    let wanted = true;
    load_take(take, before.current).then(async (got) => {
      if (!wanted) return;
      before.current = got;
      set_data(got);
      if (got.complete) return;
      await load_rest(got, () => wanted);
      if (wanted) grown((n) => n + 1);
    }).catch((error: Error) => wanted && daemon.link.peek() === 'open' && set_trouble(error.message));
    return () => { wanted = false; };
  }, [take, daemon.link.value, takes_changed.value]);
  if (trouble) return <div class="page"><h1>Take {take}</h1><p>{trouble}</p><p><a href="#takes">All takes</a></p></div>;
  if (!data) return <div class="page"><h1>Take {take}</h1><p class="soft">Opening …</p></div>;
  if (data.summary.deleted) return <DeletedTake data={data} />;
  return <OpenTake key={data.summary.take} data={data} at={at} />;
}

/** It was deleted here or by another client. Nothing of it is lost. */
function DeletedTake({ data: { summary } }: { data: TakeData }) {
  return (
    <div class="page">
      <h1>{summary.title || `Take ${summary.take}`}</h1>
      <p role="status">This take was deleted. Nothing of it is erased.</p>
      <p><button type="button" class="act" onClick={() => void ask('take.restore', { take: summary.take }).catch(complain)}>Bring it back</button></p>
      <p><a href="#takes">All takes</a></p>
    </div>
  );
}

function OpenTake({ data, at }: { data: TakeData; at: number }) {
  const { summary } = data;
  const canvas = useRef<HTMLCanvasElement>(null);
  const cursor = useMemo(() => signal(0), [summary.take]);
  const picture = usePicture(data);
  const bands = useMemo(() => (picture ? bands_of(picture) : []), [picture]);
  const [sounding, set_sounding] = useState<Band | null>(null);
  const [playing, set_playing] = useState(false);
  const roll = useRef<Roll>();
  const players = useRef<{ page: Player; midi: MidiPlayer }>();
  const then = useRef<() => void>();  // what follows what is heard
  useEffect(() => {
    const made = (roll.current = new Roll(canvas.current!, () => (cursor.value = made.cursor)));
    const moved = (time: number) => made.set_cursor(time);
    const over = () => {
      set_playing(false);
      set_sounding(null);
      const next = then.current;
      then.current = undefined;
      next?.();
    };
    players.current = { page: new Player(moved, over), midi: new MidiPlayer(moved, over) };
    const fit = () => made.resize(canvas.current!.clientWidth, canvas.current!.clientHeight);
    fit();
    const watch = new ResizeObserver(fit);
    watch.observe(canvas.current!);
    const scheme = matchMedia('(prefers-color-scheme: dark)');
    const recolour = () => made.take_colours();
    scheme.addEventListener('change', recolour);
    const stop_theme = local.theme.subscribe(() => queueMicrotask(recolour));
    return () => {
      watch.disconnect();
      scheme.removeEventListener('change', recolour);
      stop_theme();
      players.current?.page.stop();
      players.current?.midi.leave();
      made.stop();
    };
  }, []);
  useEffect(() => roll.current!.set_data(data), [data, symbol_style.value]);
  useEffect(() => roll.current!.set_bands(bands, picture ? runs_of(bands, picture) : []), [bands, symbol_style.value]);
  useEffect(() => {
    roll.current!.set_cursor(at);
    if (at > 0) roll.current!.read_at(at);
  }, [at]);

  const by = through.value;
  const output = status.value?.outputs[0];
  const stop = () => {
    then.current = undefined;
    players.current!.page.stop();
    players.current!.midi.stop();
    set_playing(false);
    set_sounding(null);
  };
  const start = () => {
    stop();
    players.current![by].start(data, roll.current!.cursor);
    set_playing(true);
  };
  const hear = (band: Band, next?: () => void) => {
    stop();
    roll.current!.set_cursor(band.at);
    roll.current!.choose_band(band);
    players.current![by].start(data, band.at, Math.min(data.length, band.at + band.length));
    then.current = next;
    set_playing(true);
    set_sounding(band);
  };
  const toggle = () => (playing ? stop() : start());
  const scrub = (time: number) => {
    roll.current!.set_cursor(time);
    if (playing) start();
  };
  const choose_output = (wish: string) => {
    if (playing) stop();
    local.hear_through.value = wish;
  };
  return (
    <div class="take-page">
      <TakeHead data={data} />
      <div class="take-tools" role="group" aria-label="Playing and looking">
        <button type="button" class="act" onClick={toggle} aria-pressed={playing}>{playing ? '❚❚ Pause' : '▶ Play'}</button>
        <label class="through"><span>on</span>
          <select value={by} aria-label="Where the take is heard" onChange={(event) => choose_output(event.currentTarget.value)}>
            <option value="page">this page</option>
            <option value="midi">MIDI{output ? `: ${output.name}` : ''}</option>
          </select>
        </label>
        {by === 'page' ? (
          <label class="volume"><span>Volume</span>
            <input type="range" min="0" max="1" step="0.05" value={volume.value} aria-label="Volume of the page" aria-valuetext={`${Math.round(volume.value * 100)} percent`}
                   onInput={(event) => (volume.value = Number(event.currentTarget.value))} />
          </label>
        ) : output?.trouble && <span class="soft">{output.trouble}</span>}
        <span class="spring" />
        <button type="button" class="quiet" aria-label="Closer" onClick={() => roll.current!.zoom(1 / 1.6)}>+</button>
        <button type="button" class="quiet" aria-label="Further away" onClick={() => roll.current!.zoom(1.6)}>−</button>
        <button type="button" class="quiet" onClick={() => roll.current!.fit(true)}>Whole</button>
      </div>
      <Bars data={data} cursor={() => roll.current!.cursor} draw={(bars) => roll.current!.set_bars(bars)} draw_rounds={(rounds) => roll.current!.set_rounds(rounds)} />
      <RollCanvas canvas={canvas} roll={roll} data={data} cursor={cursor.value} scrub={scrub} toggle={toggle} />
      {picture && <Passes data={data} picture={picture} bands={bands} sounding={sounding} hear={hear} stop={stop} choose={(band) => roll.current!.choose_band(band)} />}
      <Instant data={data} time={cursor.value} scrub={scrub} />
      <Similar take={summary.take} known={`${summary.last_line}.${summary.content?.circled_us ?? 0}`} />
    </div>
  );
}

/** The picture of an ended take; a better one comes when the take has been studied. */
function usePicture({ summary, picture: loaded, pictured_at }: TakeData): TakePicture | null {
  const [picture, set] = useState(loaded);
  const studied = status.value?.takes_studied;
  const fresh = useRef(loaded !== null);  // it came with the take
  useEffect(() => {
    if (fresh.current && studied === pictured_at) return;
    let wanted = true;
    if (summary.ended) ask('take.picture', { take: summary.take }).then((got) => wanted && set(got), () => undefined);
    return () => { wanted = false; };
  }, [summary.take, summary.ended, studied, takes_changed.value]);
  useEffect(() => { fresh.current = false; }, []);
  return picture;
}

interface RollProps {
  canvas: { current: HTMLCanvasElement | null };
  roll: { current: Roll | undefined };
  data: TakeData;
  cursor: number;
  scrub: (time: number) => void;
  toggle: () => void;
}

/** The canvas as a slider over time: drag to pan, tap to place the cursor, wheel to move, Ctrl and wheel to zoom. */
function RollCanvas({ canvas, roll, data, cursor, scrub, toggle }: RollProps) {
  const drag = useRef<{ x: number; from: number; moved: boolean; overview: boolean; pinch?: number }>();
  const fingers = useRef(new Map<number, number>());
  const x_of = (event: PointerEvent) => event.clientX - canvas.current!.getBoundingClientRect().left;
  const y_of = (event: PointerEvent) => event.clientY - canvas.current!.getBoundingClientRect().top;
  const down = (event: PointerEvent) => {
    canvas.current!.setPointerCapture(event.pointerId);
    fingers.current.set(event.pointerId, x_of(event));
    const overview = roll.current!.in_overview(y_of(event));
    drag.current = { x: x_of(event), from: roll.current!.from, moved: false, overview };
    if (overview) roll.current!.centre_on(roll.current!.time_in_overview(x_of(event)));
  };
  const move = (event: PointerEvent) => {
    const now = drag.current;
    if (!now) return;
    const before = [...fingers.current.values()];
    fingers.current.set(event.pointerId, x_of(event));
    const after = [...fingers.current.values()];
    if (after.length === 2 && before.length === 2) {
      const was = Math.abs(before[0]! - before[1]!), is = Math.abs(after[0]! - after[1]!);
      if (was > 10 && is > 10) roll.current!.zoom(was / is, (after[0]! + after[1]!) / 2);
      now.moved = true;
      now.x = x_of(event);
      now.from = roll.current!.from;
      return;
    }
    if (now.overview) return roll.current!.centre_on(roll.current!.time_in_overview(x_of(event)));
    if (Math.abs(x_of(event) - now.x) > 4) now.moved = true;
    if (now.moved) roll.current!.pan_to(now.from - (x_of(event) - now.x) * roll.current!.us_per_px);
  };
  const up = (event: PointerEvent) => {
    fingers.current.delete(event.pointerId);
    const now = drag.current;
    if (fingers.current.size === 0) drag.current = undefined;
    if (now && !now.moved) scrub(now.overview ? roll.current!.time_in_overview(x_of(event)) : roll.current!.time_at(x_of(event)));
  };
  useEffect(() => {
    const wheel = (event: WheelEvent) => {
      event.preventDefault();
      if (event.ctrlKey || event.metaKey) roll.current!.zoom(event.deltaY > 0 ? 1.25 : 0.8, event.offsetX);
      else roll.current!.pan_px(event.deltaX + event.deltaY);
    };
    const element = canvas.current!;
    element.addEventListener('wheel', wheel, { passive: false });
    return () => element.removeEventListener('wheel', wheel);
  }, []);
  const keys = (event: KeyboardEvent) => {
    const step = event.shiftKey ? 10e6 : 1e6;
    if (event.key === 'ArrowRight') scrub(roll.current!.cursor + step);
    else if (event.key === 'ArrowLeft') scrub(roll.current!.cursor - step);
    else if (event.key === 'Home') scrub(0);
    else if (event.key === 'End') scrub(data.length);
    else if (event.key === '+' || event.key === '=') roll.current!.zoom(1 / 1.6, roll.current!.px_of(roll.current!.cursor));
    else if (event.key === '-') roll.current!.zoom(1.6, roll.current!.px_of(roll.current!.cursor));
    else if (event.key === ' ') toggle();
    else return;
    event.preventDefault();
  };
  const chord = holding(data.chords, cursor);
  return (
    <canvas class="roll" ref={canvas} tabIndex={0} role="slider" aria-label="Place in the take" aria-valuemin={0} aria-valuemax={Math.round(data.length / 1e6)}
            aria-valuenow={Math.round(cursor / 1e6)} aria-valuetext={`${clock(cursor)}${chord ? `, ${pretty(symbol_of(chord))}` : ''}`} data-notes={data.notes.count}
            onPointerDown={down} onPointerMove={move} onPointerUp={up} onPointerCancel={up} onKeyDown={keys} />
  );
}

function TakeHead({ data }: { data: TakeData }) {
  const { summary } = data;
  const take = summary.take;
  const rename = (title: string) => void ask('take.rename', { take, title }).catch(complain);
  const annotate = (text: string) => void ask('take.annotate', { take, text }).catch(complain);
  const save = async () => {
    const got = await ask('take.export', { take });
    const bytes = Uint8Array.from(atob(got.base64), (c) => c.charCodeAt(0));
    const link = document.createElement('a');
    link.href = URL.createObjectURL(new Blob([bytes], { type: 'audio/midi' }));
    link.download = got.file_name;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 10_000);
    say(`Saved as ${got.file_name}.`);
  };
  const remove = async () => {
    await delete_take(take);
    location.hash = '#takes';
  };
  return (
    <div class="take-head">
      <h1 class="visually-hidden">{summary.title || `Take ${take}`}</h1>
      <a href="#takes" class="quiet back" aria-label="All takes">‹</a>
      <Editable class="title" value={summary.title} label="Title of this take" placeholder={content_name(summary) || `Take ${take}`} longest={200} disabled={!summary.ended} keep={rename} />
      <button type="button" class="quiet" onClick={() => save().catch(complain)}>Export</button>
      <button type="button" class="quiet" disabled={!summary.ended} onClick={() => remove().catch(complain)}>Delete</button>
      <a class="quiet to-song" href={`#song/${take}`}>Song</a>
      <p class="take-about soft">
        {!summary.title && summary.content && `Take ${take} · `}{day_and_time(summary.begin_utc_ms)} · {clock(summary.length_us)}{summary.key ? ` · ${key_name(summary.key)}` : ''} · {plural(summary.notes, 'note')} · {plural(summary.chords, 'chord')}
        {summary.ended === 'interrupted' && ' · broken off, kept to the last note'}{!summary.ended && live.value && ' · still being played'}
      </p>
      <Editable class="annotation" value={summary.annotation} label="A note on this take" placeholder="A note to yourself" longest={2000} disabled={!summary.ended} keep={annotate} />
    </div>
  );
}

// The parts of chords that were offered, by Harte form: the log has many of them and keeps that alone.
const known = signal(new Map<string, Chord>());
const asked = new Set<string>();
function parts_of(harte: string[]): Map<string, Chord> {
  const missing = harte.filter((each) => !asked.has(each));
  if (missing.length > 0) {
    missing.forEach((each) => asked.add(each));
    ask('chord.parts', { names: missing }).then((got) => {
      const more = new Map(known.peek());
      missing.forEach((each, i) => got.chords[i] && more.set(each, got.chords[i]));
      known.value = more;
    }, () => missing.forEach((each) => asked.delete(each)));
  }
  return known.value;
}

/** What applied at the cursor. */
function Instant({ data, time, scrub }: { data: TakeData; time: number; scrub: (time: number) => void }) {
  const chord = holding(data.chords, time);
  const melody = holding(data.melody, time);
  const key = holding(data.keys, time);
  const offer = holding(data.offered, time);
  const offered = offer?.harte.slice(0, 12) ?? [];
  const parts = parts_of(offered);
  const tried = new Set(data.tried.filter((each) => offer && each.at >= offer.at && each.at <= time).map((each) => each.harte));
  const next = (list: { at: number }[], step: 1 | -1) => {
    const found = step > 0 ? list.find((each) => each.at > time + 1) : list.findLast((each) => each.at < time - 1);
    if (found) scrub(found.at);
  };
  return (
    <section class="instant" aria-label="At this instant">
      <div class="instant-now">
        <span class="instant-time">{clock(time)}</span>
        <span class="instant-chord">{chord ? <ChordSymbol chord={chord} /> : <span class="soft">no chord</span>}</span>
        {melody && <span class="instant-melody">{name_of(melody.pitch, melody.name)}{melody.degree && <span class="degree">{pretty(melody.degree)}</span>}</span>}
        {key && <span class="soft">in {key_name(key.harte)}</span>}
        <span class="spring" />
        <button type="button" class="quiet" onClick={() => next(data.chords, -1)}>‹ chord</button>
        <button type="button" class="quiet" onClick={() => next(data.chords, 1)}>chord ›</button>
        {data.marks.length > 0 && <button type="button" class="quiet" onClick={() => next(data.marks, 1)}>mark ›</button>}
      </div>
      <div class="instant-offer">
        {offer ? (
          <>
            <span class="soft">Offered under {offer.melody.join(' ')}:</span>
            <ul aria-label="What was offered, best first">
              {offered.map((each) => (
                <li key={each} class={tried.has(each) ? 'tried' : ''}>{parts.has(each) && <ChordSymbol chord={parts.get(each)!} />}{tried.has(each) && <span class="check"> ✓<span class="visually-hidden"> tried</span></span>}</li>
              ))}
              {offer.harte.length > offered.length && <li class="soft">and {offer.harte.length - offered.length} more</li>}
            </ul>
          </>
        ) : <span class="soft">Nothing had been offered yet.</span>}
      </div>
      {through.value === 'midi' && <p class="soft small-print">Played on the MIDI output, brought down to the loudness of the settings. Mind your instrument’s own volume.</p>}
    </section>
  );
}
