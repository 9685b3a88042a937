// Computes positions on the plane: dark at the left, bright at the right, resolved at the bottom, tense at the top.
//
// A stone lies exactly at the colour of its chord; chords whose stones would cover each other share one. A label stands beside its
// stone, better ranks first, and only where it covers nothing. The result depends only on the list and the size, so nothing moves
// unless one of them changes.

// Most chords are near the middle of both scales, so the middle gets more room: of 1,535 chords offered in the demo, the
// middle half lies within -0.12..0.13 and 0.56..0.74. The scale is fixed: a position always means the same colour.
const usual_tension = 0.6;
function stretched(value: number, low: number, high: number, middle: number, steep: number): number {
  const bend = (of: number) => Math.tanh(steep * (of - middle));
  return (bend(Math.min(high, Math.max(low, value))) - bend(low)) / (bend(high) - bend(low));
}

/** Position as fractions of width and height, from the upper left. */
export function place(dark_bright: number, resolved_tense: number): { x: number; y: number } {
  return { x: stretched(dark_bright, -1, 1, 0, 2.4), y: 1 - stretched(resolved_tense, 0, 1, usual_tension, 4) };
}

export const margin = { x: 26, top: 26, bottom: 30 } as const;

export interface Point {
  x: number;
  y: number;
}

/** The position in a field of this size, px. */
export function point(dark_bright: number, resolved_tense: number, width: number, height: number): Point {
  const at = place(dark_bright, resolved_tense);
  return { x: margin.x + at.x * (width - 2 * margin.x), y: margin.top + at.y * (height - margin.top - margin.bottom) };
}

/** Gathers what would lie on each other, in the order given: each goes to the first group whose first one is nearer than `near`. */
export function merge<T extends Point>(all: T[], near: number): T[][] {
  const groups: T[][] = [];
  for (const each of all) {
    const home = groups.find(([first]) => Math.hypot(first!.x - each.x, first!.y - each.y) < near);
    if (home) home.push(each);
    else groups.push([each]);
  }
  return groups;
}

export interface Box extends Point {  // the centre and half of the size
  w: number;
  h: number;
}

export const covers = (a: Box, b: Box) => Math.abs(a.x - b.x) < a.w + b.w && Math.abs(a.y - b.y) < a.h + b.h;

export interface Wanted extends Point {
  radius: number;
  width: number;  // of the label
  height: number;
}

const ways = [[1, 0], [-1, 0], [0, -1], [0, 1], [1, -0.8], [1, 0.8], [-1, -0.8], [-1, 0.8]] as const;
const distance = 4;

/** Where each label goes, in the order of their importance; null where there is no free place. `taken`: what no label may cover. */
export function place_labels(wanted: Wanted[], taken: Box[], width: number, height: number): (Box | null)[] {
  const stones = wanted.map(({ x, y, radius }) => ({ x, y, w: radius + 1, h: radius + 1 }));
  const placed: Box[] = [];
  return wanted.map((each, i) => {
    const w = each.width / 2, h = each.height / 2;
    for (const [dx, dy] of ways) {
      const box = {
        x: each.x + dx * (each.radius + distance + w),
        y: each.y + dy * (each.radius + h + (dx === 0 ? 1 : 0)), w, h,
      };
      if (box.x - w < 2 || box.x + w > width - 2 || box.y - h < 2 || box.y + h > height - 2) continue;
      if (placed.some((other) => covers(box, other)) || taken.some((other) => covers(box, other))) continue;
      if (stones.some((stone, j) => j !== i && covers(box, stone))) continue;
      placed.push(box);
      return box;
    }
    return null;
  });
}
