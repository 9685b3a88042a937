// Compares what the hands hold with what they would hold: which keys stay, and which move where.

export interface Moves {
  stay: number[];
  move: { from: number; to: number }[];
  add: number[];   // keys for a further finger
  lift: number[];  // keys that are only released
}

/** Keys in common stay; the others are paired in order so that the fingers travel least and never cross. */
export function moves(from: number[], to: number[]): Moves {
  const stay = to.filter((pitch) => from.includes(pitch));
  const a = from.filter((pitch) => !to.includes(pitch)).sort((x, y) => x - y);
  const b = to.filter((pitch) => !from.includes(pitch)).sort((x, y) => x - y);
  const [few, many] = a.length <= b.length ? [a, b] : [b, a];
  // best[i][j]: least travel for the first i of the few among the first j of the many.
  const best: number[][] = [many.map(() => 0).concat(0)];
  for (let i = 1; i <= few.length; ++i) {
    best[i] = Array<number>(many.length + 1).fill(Infinity);
    for (let j = i; j <= many.length; ++j)
      best[i]![j] = Math.min(best[i]![j - 1]!, best[i - 1]![j - 1]! + Math.abs(few[i - 1]! - many[j - 1]!));
  }
  const move: Moves['move'] = [];
  const left_over = new Set(many);
  for (let i = few.length, j = many.length; i > 0; --j) {
    if (best[i]![j] === best[i]![j - 1]) continue;
    const pair = [few[i - 1]!, many[j - 1]!] as const;
    move.unshift(few === a ? { from: pair[0], to: pair[1] } : { from: pair[1], to: pair[0] });
    left_over.delete(pair[1]);
    --i;
  }
  const rest = [...left_over];
  return { stay: stay.sort((x, y) => x - y), move, add: many === b ? rest : [], lift: many === b ? [] : rest };
}

/** How far a hand goes, in semitones on average over its fingers; negative: to the left. Null: it has no key in the chord. */
export interface HandsWay {
  left: number | null;
  right: number | null;
}

/** Where each hand goes from the keys that are down to a chord of two hands. */
export function hands_way(down: number[], left: number[], right: number[]): HandsWay {
  const change = moves(down, [...left, ...right]);
  const way = (hand: number[]) => {
    if (hand.length === 0) return null;
    const steps = hand.flatMap((pitch) => {
      if (change.stay.includes(pitch)) return [0];
      const move = change.move.find(({ to }) => to === pitch);
      return move ? [move.to - move.from] : [];
    });
    return steps.length === 0 ? 0 : steps.reduce((sum, step) => sum + step, 0) / steps.length;
  };
  return { left: way(left), right: way(right) };
}

const hand_words = (name: string, way: number | null) =>
  way === null ? '' : Math.abs(way) < 0.5 ? `${name} hand stays` : `${name} hand goes ${way < 0 ? 'down' : 'up'} ${Math.round(Math.abs(way))}`;

/** "left hand goes down 3, right hand stays" */
export function hands_text(way: HandsWay): string {
  return [hand_words('left', way.left), hand_words('right', way.right)].filter(Boolean).join(', ');
}
