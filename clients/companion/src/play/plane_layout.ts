// Computes positions on the plane: dark at the left, bright at the right, resolved at the bottom, tense at the top.
//
// A stone lies exactly at the colour of its chord. Its label takes the best free place around it, better ranks first.
// The result depends only on the list and the size, so nothing moves unless one of them changes.
export interface Stone {
  x: number;  // px
  y: number;
  radius: number;
  label_x: number;  // centre of the label
  label_y: number;
  far: boolean;     // so far away that a line leads to the label
}

export interface Wanted {
  dark_bright: number;     // -1 .. 1
  resolved_tense: number;  // 0 .. 1
  radius: number;
  label_width: number;     // 0: without label
  label_height: number;
}

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

interface Box { x: number; y: number; w: number; h: number }  // centre and half sizes

function overlap(a: Box, b: Box): number {
  const x = a.w + b.w - Math.abs(a.x - b.x), y = a.h + b.h - Math.abs(a.y - b.y);
  return x > 0 && y > 0 ? x * y : 0;
}

const margin_x = 24, margin_top = 22, margin_bottom = 30;
const reaches = [0, 7, 16, 28, 42, 58];
const ways = [[1, 0], [-1, 0], [0.7, -0.8], [0.7, 0.8], [-0.7, -0.8], [-0.7, 0.8], [0, -1], [0, 1]] as const;

export function lay_out(wanted: Wanted[], width: number, height: number): Stone[] {
  const stones: Stone[] = wanted.map((each) => {
    const at = place(each.dark_bright, each.resolved_tense);
    const x = margin_x + at.x * (width - 2 * margin_x);
    const y = margin_top + at.y * (height - margin_top - margin_bottom);
    return { x, y, radius: each.radius, label_x: x, label_y: y, far: false };
  });
  const taken: Box[] = [];
  wanted.forEach((each, i) => {
    if (each.label_width === 0) return;
    const stone = stones[i]!;
    const w = each.label_width / 2, h = each.label_height / 2;
    let best: Box | null = null, least = Infinity;
    for (const reach of reaches) {
      for (const [j, [dx, dy]] of ways.entries()) {
        const away = each.radius + 3 + reach;
        const box = { x: stone.x + dx * away + Math.sign(dx) * w, y: stone.y + dy * (away + h * (dx === 0 ? 1 : 0.7)), w, h };
        const outside = Math.max(0, w + 2 - box.x, box.x + w + 2 - width) + Math.max(0, h + 1 - box.y, box.y + h + 1 - height);
        let cost = reach * 3 + j * 1.5 + outside * 400;
        for (const other of taken) cost += overlap(box, other) * 5;
        stones.forEach((other, k) => {
          const size = other.radius + (wanted[k]!.label_width > 0 ? 2 : 0);
          cost += overlap(box, { x: other.x, y: other.y, w: size, h: size }) * (wanted[k]!.label_width > 0 ? 4 : 0.5);
        });
        if (cost < least) [best, least] = [box, cost];
      }
    }
    taken.push(best!);
    stone.label_x = best!.x;
    stone.label_y = best!.y;
    stone.far = Math.hypot(Math.max(0, Math.abs(best!.x - stone.x) - w), Math.max(0, Math.abs(best!.y - stone.y) - h)) > each.radius + 9;
  });
  return stones;
}
