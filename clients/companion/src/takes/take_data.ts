// One take as the page needs it: notes in columns, everything else by time. All times are microseconds from its beginning.
import type { LogLine, TakeDetail, TakeNotes, TakeSummary } from '../protocol';
import { ask } from '../state';

export interface Notes {
  count: number;
  at: Float64Array;
  length: Float64Array;
  latest_end: Float64Array;  // the latest end among this note and all before; drawing starts looking here
  pitch: Uint8Array;
  velocity: Uint8Array;
  lowest: number;
  highest: number;
}

export interface TimedChord { at: number; symbol: string; harte: string }
export interface TimedMelody { at: number; pitch: number; degree: string }
export interface TimedOffer { at: number; harte: string[]; melody: number[] }
export interface TimedTrial { at: number; harte: string; place: number }

export interface TakeData {
  summary: TakeSummary;
  length: number;
  notes: Notes;
  pedal: { at: number; down: boolean }[];
  chords: TimedChord[];
  keys: { at: number; harte: string }[];
  marks: { at: number; text: string }[];
  melody: TimedMelody[];
  offered: TimedOffer[];
  tried: TimedTrial[];
  complete: boolean;  // the take has ended and all of it is loaded
}

function in_columns(got: TakeNotes, begin: number): Notes {
  const count = got.at.length;
  const notes: Notes = {
    count,
    at: new Float64Array(count),
    length: Float64Array.from(got.length_us),
    latest_end: new Float64Array(count),
    pitch: Uint8Array.from(got.pitch),
    velocity: Uint8Array.from(got.velocity),
    lowest: 127,
    highest: 0,
  };
  let latest = 0;
  for (let i = 0; i < count; ++i) {
    const at = got.at[i]! - begin;
    notes.at[i] = at;
    latest = Math.max(latest, at + notes.length[i]!);
    notes.latest_end[i] = latest;
    notes.lowest = Math.min(notes.lowest, notes.pitch[i]!);
    notes.highest = Math.max(notes.highest, notes.pitch[i]!);
  }
  if (count === 0) [notes.lowest, notes.highest] = [48, 72];
  return notes;
}

/** The first index in ascending `times` that is not before `time`. */
export function first_from(times: ArrayLike<number>, time: number): number {
  let low = 0, high = times.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (times[middle]! < time) low = middle + 1;
    else high = middle;
  }
  return low;
}

/** The same for a list of things that have a time. */
export function first_at(list: { at: number }[], time: number): number {
  let low = 0, high = list.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (list[middle]!.at < time) low = middle + 1;
    else high = middle;
  }
  return low;
}

/** The item that applies at a time: the last one that began by then. */
export function holding<T extends { at: number }>(list: T[], time: number): T | null {
  let low = 0, high = list.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (list[middle]!.at <= time) low = middle + 1;
    else high = middle;
  }
  return list[low - 1] ?? null;
}

/** Loads notes, chords, keys and marks: enough to draw. */
export async function load_take(take: number, before: TakeData | null = null): Promise<TakeData> {
  // The notes of a finished take never change.
  const kept = before?.complete && before.summary.take === take ? before : null;
  const [detail, notes] = await Promise.all([ask('take.get', { take }), kept ? null : ask('take.notes', { take })]);
  const begin = detail.summary.at;
  const data: TakeData = kept ? { ...kept, ...timed(detail) } : {
    ...timed(detail),
    notes: in_columns(notes!, begin),
    pedal: notes!.pedal.map(({ at, down }) => ({ at: at - begin, down })),
    melody: [], offered: [], tried: [], complete: false,
  };
  const symbols = await ask('chord.symbols', { harte: [...new Set(data.chords.map((each) => each.harte))].slice(0, 1000) });
  const by_harte = new Map([...new Set(data.chords.map((each) => each.harte))].map((harte, i) => [harte, symbols.symbols[i] ?? '']));
  for (const chord of data.chords) chord.symbol = by_harte.get(chord.harte) || chord.symbol;
  return data;
}

function timed(detail: TakeDetail) {
  const begin = detail.summary.at;
  return {
    summary: detail.summary,
    length: Math.max(1e6, detail.summary.length_us),
    chords: detail.chords.map(({ at, symbol, harte }) => ({ at: at - begin, symbol, harte })),
    keys: detail.keys.map(({ at, harte }) => ({ at: at - begin, harte })),
    marks: detail.marks.map(({ at, text }) => ({ at: at - begin, text })),
  };
}

/** Loads the rest, which may be large: melody, what was offered and what was tried. Calls `grown` after each part. */
export async function load_rest(data: TakeData, grown: () => void, wanted: () => boolean): Promise<void> {
  const begin = data.summary.at;
  let from = data.summary.first_line;
  for (;;) {
    const got = await ask('take.events', { take: data.summary.take, from, limit: 2000, kinds: ['melody', 'offered', 'tried'] });
    if (!wanted()) return;
    for (const line of got.lines) add(data, line, begin);
    for (const list of [data.melody, data.offered, data.tried]) list.sort((a, b) => a.at - b.at);
    grown();
    if (!got.more) {
      data.complete = data.summary.ended !== undefined;
      return;
    }
    from = got.next;
  }
}

function add(data: TakeData, line: LogLine, begin: number): void {
  const at = line.at - begin;
  if (line.melody) data.melody.push({ at, pitch: line.melody.pitch, degree: line.melody.degree ?? '' });
  if (line.offered) data.offered.push({ at, harte: line.offered.harte, melody: line.offered.melody });
  if (line.tried) data.tried.push({ at, harte: line.tried.harte, place: line.tried.place });
}
