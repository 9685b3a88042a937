// One take as the page needs it: notes in columns, everything else by time. All times are microseconds from its beginning.
import { plain_pitch, pretty } from '../music/text';
import type { Chord, LogLine, TakeDetail, TakeNotes, TakePicture, TakeSummary } from '../protocol';
import { ask, status } from '../state';

export interface Notes {
  count: number;
  at: Float64Array;
  length: Float64Array;
  latest_end: Float64Array;  // the latest end among this note and all before; drawing starts looking here
  pitch: Uint8Array;
  velocity: Uint8Array;
  lowest: number;
  highest: number;
  usual_length: number;  // half of them are shorter
}

export type TimedChord = Chord & { at: number };
export interface TimedMelody { at: number; until: number; pitch: number; name: string | undefined; degree: string }  // until: when it ends
export interface TimedOffer { at: number; harte: string[]; melody: string[] }  // names of the melody notes
export interface TimedTrial { at: number; harte: string; place: number }

export interface TakeData {
  summary: TakeSummary;
  length: number;
  notes: Notes;
  pedal: { at: number; down: boolean }[];
  chords: TimedChord[];
  keys: { at: number; harte: string }[];
  marks: { at: number; text: string }[];
  kept: { at: number; length: number }[];  // parts that the player kept
  melody: TimedMelody[];
  offered: TimedOffer[];
  tried: TimedTrial[];
  complete: boolean;  // the take has ended and all of it is loaded
  picture: TakePicture | null;      // as it was when the take was loaded
  pictured_at: number | undefined;  // how many takes had been studied by then
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
    usual_length: count > 0 ? Float64Array.from(got.length_us).sort()[count >> 1]! : 3e5,
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

/** Loads notes, melody, chords, keys, marks and the picture: all that is drawn. */
export async function load_take(take: number, before: TakeData | null = null): Promise<TakeData> {
  // The notes of a finished take never change.
  const kept = before?.complete && before.summary.take === take ? before : null;
  const pictured_at = status.peek()?.takes_studied;
  const pictured = ask('take.picture', { take }).catch(() => null);
  const sung = kept ? null : lines_of(take, ['melody']);
  sung?.catch(() => undefined);  // it is waited for below, if nothing else fails before
  const [detail, notes, got] = await Promise.all([ask('take.get', { take }), kept ? null : ask('take.notes', { take }), pictured]);
  const picture = detail.summary.ended ? got : null;
  if (kept) return { ...kept, ...timed(detail), picture, pictured_at };
  const begin = detail.summary.at;
  const data: TakeData = {
    ...timed(detail),
    notes: in_columns(notes!, begin),
    pedal: notes!.pedal.map(({ at, down }) => ({ at: at - begin, down })),
    melody: [], offered: [], tried: [], complete: false, picture, pictured_at,
  };
  for (const line of await sung!) add(data, line, begin);
  data.melody.sort((a, b) => a.at - b.at);
  end_melody(data);
  return data;
}

function timed(detail: TakeDetail) {
  const begin = detail.summary.at;
  return {
    summary: detail.summary,
    length: Math.max(1e6, detail.summary.length_us),
    chords: detail.chords.map((chord) => ({ ...chord, at: chord.at - begin })),
    keys: detail.keys.map(({ at, harte }) => ({ at: at - begin, harte })),
    marks: detail.marks.map(({ at, text }) => ({ at: at - begin, text })),
    kept: detail.kept.map(({ from_us, length_us }) => ({ at: from_us, length: length_us })),
  };
}

async function lines_of(take: number, kinds: LogLine['kind'][], wanted = () => true): Promise<LogLine[]> {
  const lines: LogLine[] = [];
  for (let from = 1; wanted();) {
    const got = await ask('take.events', { take, from, limit: 2000, kinds });
    lines.push(...got.lines);
    if (!got.more) break;
    from = got.next;
  }
  return lines;
}

/** Loads the rest, which may be large and is not drawn: what was offered and what was tried. */
export async function load_rest(data: TakeData, wanted: () => boolean): Promise<void> {
  const lines = await lines_of(data.summary.take, ['offered', 'tried'], wanted);
  if (!wanted()) return;
  for (const line of lines) add(data, line, data.summary.at);
  for (const list of [data.offered, data.tried]) list.sort((a, b) => a.at - b.at);
  data.complete = data.summary.ended !== undefined;
}

const near_us = 80_000;     // a melody note is the note struck at about its time
const longest_us = 4e6;     // a melody note that no note of the take agrees with

/** A melody note lasts as long as the note that was struck, with the pedal, and until the next one at most. */
function end_melody(data: TakeData): void {
  const { notes, melody } = data;
  melody.forEach((each, i) => {
    const next = melody[i + 1]?.at ?? data.length;
    let until = Math.min(next, each.at + longest_us);
    for (let k = first_from(notes.at, each.at - near_us); k < notes.count && notes.at[k]! <= each.at + near_us; ++k) {
      if (notes.pitch[k] !== each.pitch) continue;
      until = Math.min(next, Math.max(each.at + near_us, pedal_end(data, notes.at[k]! + notes.length[k]!)));
      break;
    }
    each.until = until;
  });
}

/** A note whose key is released while the pedal is down sounds until the pedal goes up, at most for some seconds. */
export function pedal_end({ pedal }: TakeData, up: number): number {
  const i = first_at(pedal, up) - 1;
  if (i < 0 || !pedal[i]!.down) return up;
  return Math.min(pedal[i + 1]?.at ?? up, up + 5e6);
}

// Lines of older takes have no names.
export const name_of = (pitch: number, name: string | undefined) => (name ? pretty(name) : plain_pitch(pitch));

function add(data: TakeData, line: LogLine, begin: number): void {
  const at = line.at - begin;
  if (line.melody) data.melody.push({ at, until: at, pitch: line.melody.pitch, name: line.melody.name, degree: line.melody.degree ?? '' });
  if (line.offered) {
    const { harte, melody, names } = line.offered;
    data.offered.push({ at, harte, melody: melody.map((pitch, i) => name_of(pitch, names?.[i])) });
  }
  if (line.tried) data.tried.push({ at, harte: line.tried.harte, place: line.tried.place });
}
