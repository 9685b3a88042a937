// A small keyboard: a filled dot is a key that stays, a ring a key to press, an arc the motion to it, a cross a released key.
import type { Moves } from '../music/hands';

const black = [1, 3, 6, 8, 10];
const is_black = (pitch: number) => black.includes(pitch % 12);
const key_width = 20, height = 84, black_height = 50, black_width = 12, top = 30;

function white_index(pitch: number): number {
  return Math.floor(pitch / 12) * 7 + [0, 0, 1, 1, 2, 3, 3, 4, 4, 5, 5, 6][pitch % 12]!;
}

export function KeyboardPicture({ change, held, name }: { change: Moves; held: number[]; name: (pitch: number) => string }) {
  const all = [...change.stay, ...change.move.flatMap(({ from, to }) => [from, to]), ...change.add, ...change.lift];
  // Whole octaves, at least three, so that the range seldom changes.
  let low = Math.floor(Math.min(48, ...all) / 12) * 12;
  let high = Math.ceil((Math.max(83, ...all) + 1) / 12) * 12 - 1;
  low = Math.max(0, low);
  high = Math.min(127, high);
  const first = white_index(low);
  const width = (white_index(high) - first + 1) * key_width;
  const centre = (pitch: number) => (white_index(pitch) - first) * key_width + (is_black(pitch) ? key_width : key_width / 2);
  const dot_y = (pitch: number) => top + (is_black(pitch) ? black_height - 12 : height - 14);
  const keys = Array.from({ length: high - low + 1 }, (_, i) => low + i);
  const words = `Keyboard: stays ${change.stay.map(name).join(' ') || 'nothing'}, goes to ${change.move.map(({ to }) => name(to)).join(' ') || 'nothing'}`;
  return (
    <svg class="keyboard-picture" viewBox={`-2 0 ${width + 4} ${top + height + 4}`} role="img" aria-label={words}>
      {keys.filter((p) => !is_black(p)).map((p) => (
        <rect key={p} class={`white-key${held.includes(p) ? ' down' : ''}`} x={(white_index(p) - first) * key_width} y={top} width={key_width} height={height} rx="2" />
      ))}
      {keys.filter(is_black).map((p) => (
        <rect key={p} class={`black-key${held.includes(p) ? ' down' : ''}`} x={centre(p) - black_width / 2} y={top} width={black_width} height={black_height} rx="1.5" />
      ))}
      {keys.filter((p) => p % 12 === 0).map((p) => (
        <text key={p} class="octave-name" x={centre(p)} y={top + height - 2} text-anchor="middle">C{p / 12 - 1}</text>
      ))}
      {change.move.map(({ from, to }) => {
        const x1 = centre(from), x2 = centre(to), lift = Math.min(24, 8 + Math.abs(x2 - x1) / 5);
        return (
          <g key={`${from}-${to}`} class="arc">
            <path d={`M ${x1} ${top - 3} C ${x1} ${top - 3 - lift}, ${x2} ${top - 3 - lift}, ${x2} ${top - 5}`} />
            <path d={`M ${x2 - 4} ${top - 8} L ${x2} ${top - 2} L ${x2 + 4} ${top - 8}`} />
          </g>
        );
      })}
      {[...change.lift, ...change.move.map(({ from }) => from)].map((p) => (
        <path key={`x${p}`} class="lift-mark" d={`M ${centre(p) - 3.5} ${dot_y(p) - 3.5} l 7 7 m 0 -7 l -7 7`} />
      ))}
      {change.stay.map((p) => <circle key={`s${p}`} class="stay-mark" cx={centre(p)} cy={dot_y(p)} r="5.4" />)}
      {[...change.add, ...change.move.map(({ to }) => to)].map((p) => <circle key={`n${p}`} class="new-mark" cx={centre(p)} cy={dot_y(p)} r="4.8" />)}
    </svg>
  );
}
