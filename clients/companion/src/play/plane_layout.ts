// Where things stand on the plane: dark at the left, bright at the right, resolved below, tense above.
//
// A stone lies exactly where its chord's colour is. Its label lies beside it and is pushed aside where another is in the
// way. The result depends on the list and the size alone, so nothing moves unless one of them changes.
export interface Stone {
  x: number;  // px
  y: number;
  radius: number;
  label_x: number;  // centre of the label
  label_y: number;
}

export interface Wanted {
  dark_bright: number;     // -1 .. 1
  resolved_tense: number;  // 0 .. 1
  radius: number;
  label_width: number;     // 0: without label
  label_height: number;
}

/** Most chords are neither extreme, so the middle of each way gets more room. */
export function place(dark_bright: number, resolved_tense: number): { x: number; y: number } {
  const x = Math.sign(dark_bright) * Math.abs(dark_bright) ** 0.75;
  return { x: (x + 1) / 2, y: 1 - Math.min(1, Math.max(0, resolved_tense)) ** 0.75 };
}

const rounds = 90;
const gap = 2;

export function lay_out(wanted: Wanted[], width: number, height: number): Stone[] {
  const margin_x = 26, margin_top = 22, margin_bottom = 20;
  const stones = wanted.map((each) => {
    const at = place(each.dark_bright, each.resolved_tense);
    const x = margin_x + at.x * (width - 2 * margin_x);
    const y = margin_top + at.y * (height - margin_top - margin_bottom);
    const side = x > width - margin_x - each.label_width - each.radius ? -1 : 1;
    return { x, y, radius: each.radius, label_x: x + side * (each.radius + 3 + each.label_width / 2), label_y: y };
  });
  const labelled = wanted.map((each, i) => ({ ...each, i })).filter((each) => each.label_width > 0);
  for (let round = 0; round < rounds; ++round) {
    for (const a of labelled) {
      const here = stones[a.i]!;
      for (const b of labelled) {
        const there = stones[b.i]!;
        if (a.i < b.i) {
          const over_x = (a.label_width + b.label_width) / 2 + gap - Math.abs(here.label_x - there.label_x);
          const over_y = (a.label_height + b.label_height) / 2 + gap - Math.abs(here.label_y - there.label_y);
          if (over_x > 0 && over_y > 0) {
            if (over_y < over_x * 0.9) {
              const push = ((here.label_y <= there.label_y ? -1 : 1) * over_y) / 2;
              here.label_y += push;
              there.label_y -= push;
            } else {
              const push = ((here.label_x <= there.label_x ? -1 : 1) * over_x) / 2;
              here.label_x += push;
              there.label_x -= push;
            }
          }
        }
        // A label does not cover a stone either.
        const over_x = a.label_width / 2 + there.radius + gap - Math.abs(here.label_x - there.x);
        const over_y = a.label_height / 2 + there.radius + gap - Math.abs(here.label_y - there.y);
        if (over_x > 0 && over_y > 0) {
          if (over_y < over_x) here.label_y += (here.label_y < there.y ? -1 : 1) * over_y * 0.6;
          else here.label_x += (here.label_x < there.x ? -1 : 1) * over_x * 0.6;
        }
      }
      here.label_x = Math.min(width - a.label_width / 2 - 3, Math.max(a.label_width / 2 + 3, here.label_x));
      here.label_y = Math.min(height - a.label_height / 2 - 2, Math.max(a.label_height / 2 + 2, here.label_y));
    }
  }
  return stones;
}
