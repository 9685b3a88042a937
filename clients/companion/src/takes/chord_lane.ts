// What is written in the lane of chords: every name in full, or something true in its place.
//
// A name that has no room is written small. Where that does not help, a run of the loop becomes "E♭ Cm A♭ G ×4" or "loop ×4", and
// other chords become the key they are in, together with as many neighbours as it takes to write that. Nothing is cut off, and
// nothing is left out silently.

export interface LaneRun {
  from: number;
  to: number;
  words: string[];  // the longest first
}

export interface Lane {
  times: ArrayLike<number>;  // when each chord begins, ascending
  end: number;               // of the take
  runs: LaneRun[];           // of loops, ascending, without overlap
  px_of: (time: number) => number;
  width: number;
  chord_width: (index: number, small: boolean) => number;
  text_width: (text: string) => number;
  key_at: (time: number) => string;  // empty if none was heard
}

export interface Label {
  x: number;
  w: number;
  chord?: number;  // index; otherwise `text`
  small?: boolean;
  text?: string;
}

const pad = 8;
const narrowest = 6;  // no name is narrower; measuring the names of an hour costs more than drawing it
const enough = 0.8;  // of the chords of a run that must have room, so that it is written chord by chord

interface Item {
  x: number;
  end: number;
  from: number;  // time
  chord?: number;
  small?: boolean;
  text?: string;  // neither: it has no room yet
}

function written(lane: Lane, index: number, x: number, end: number): Pick<Item, 'chord' | 'small'> {
  if (narrowest + pad > end - x) return {};
  if (lane.chord_width(index, false) + pad <= end - x) return { chord: index };
  return lane.chord_width(index, true) + pad <= end - x ? { chord: index, small: true } : {};
}

export function lane_labels(lane: Lane): Label[] {
  const { times, width } = lane;
  const visible = (time: number) => Math.min(width, Math.max(0, lane.px_of(time)));
  const items: Item[] = [];
  const next = (i: number) => (i + 1 < times.length ? times[i + 1]! : lane.end);
  let run = 0;
  for (let i = 0; i < times.length;) {
    const from = times[i]!;
    if (lane.px_of(from) >= width) break;
    if (lane.px_of(next(i)) <= 0) { ++i; continue; }
    while (run < lane.runs.length && lane.runs[run]!.to <= from) ++run;
    const within = lane.runs[run];
    if (within && from >= within.from - 1 && from < within.to) {
      const chords: Item[] = [];
      let k = i;
      for (; k < times.length && times[k]! < within.to - 1 && lane.px_of(times[k]!) < width; ++k) {
        const x = visible(times[k]!), end = visible(next(k));
        chords.push({ x, end, from: times[k]!, ...written(lane, k, x, end) });
      }
      const room = chords.filter((each) => each.chord !== undefined).length;
      const x = visible(Math.max(from, within.from)), end = visible(k < times.length ? times[k]! : within.to);
      const words = room < chords.length * enough ? within.words.find((each) => lane.text_width(each) + pad <= end - x) : undefined;
      if (words !== undefined) items.push({ x, end, from, text: words });
      else items.push(...chords);
      i = Math.max(k, i + 1);
      continue;
    }
    const x = visible(from), end = visible(next(i));
    items.push({ x, end, from, ...written(lane, i, x, end) });
    ++i;
  }
  return together(lane, items).filter((each) => each.chord !== undefined || each.text !== undefined)
    .map(({ x, end, chord, small, text }) => ({ x, w: end - x, ...(chord === undefined ? {} : { chord }), ...(small ? { small } : {}), ...(text === undefined ? {} : { text }) }));
}

/**
 * Neighbours without room become one, and take in others until their key can be written: the one that holds longest. Where
 * another key follows for long enough to be written, it is.
 */
function together(lane: Lane, items: Item[]): Item[] {
  const out: Item[] = [];
  const bare = (each: Item | undefined) => !!each && each.chord === undefined && each.text === undefined;
  const room_for = (words: string) => lane.text_width(words) + pad;
  // The key of each, and where the neighbours without room that are in that key end.
  const keys = items.map((each) => lane.key_at(each.from));
  const ends = items.map((each) => each.end);
  for (let i = items.length - 2; i >= 0; --i)
    if (bare(items[i + 1]) && keys[i + 1] === keys[i]) ends[i] = ends[i + 1]!;
  const lasts = (i: number) => room_for(keys[i]!) <= ends[i]! - items[i]!.x;
  for (let i = 0; i < items.length;) {
    if (!bare(items[i])) { out.push(items[i++]!); continue; }
    const group: Item = { ...items[i]! };
    const shares = new Map<string, number>();  // of the keys in the group, in pixels
    let words = '';
    const take_in = (each: Item, key: string) => {
      shares.set(key, (shares.get(key) ?? 0) + each.end - each.x);
      group.x = Math.min(group.x, each.x);
      group.end = Math.max(group.end, each.end);
      if (shares.get(key)! > (shares.get(words) ?? 0)) words = key;
    };
    const fits = () => room_for(words || '·') <= group.end - group.x;
    take_in(items[i]!, keys[i]!);
    for (++i; bare(items[i]); ++i) {
      if (keys[i] && keys[i] !== words && fits() && lasts(i)) break;
      take_in(items[i]!, keys[i]!);
    }
    // First to the right, then to the left; not over a loop, which says more than a key.
    while (!fits() && i < items.length && items[i]!.text === undefined) take_in(items[i]!, keys[i++]!);
    while (!fits() && out.length > 0 && out.at(-1)!.text === undefined) {
      const before = out.pop()!;
      take_in(before, lane.key_at(before.from));
    }
    if (fits()) out.push({ ...group, text: words || '·' });
  }
  return out;
}
