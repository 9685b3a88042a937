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
