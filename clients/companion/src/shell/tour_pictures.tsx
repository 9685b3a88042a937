// The four pictures of the tour. They are drawn in the colours of the theme; the music in them is invented.
import type { ComponentChildren } from 'preact';

const width = 320, height = 150;

const Picture = ({ says, children }: { says: string; children: ComponentChildren }) => (
  <svg viewBox={`0 0 ${width} ${height}`} role="img" aria-label={says}>{children}</svg>
);

/** A chord symbol: its letter, and what is raised. */
const Symbol = ({ x, y, letter, raised, size }: { x: number; y: number; letter: string; raised: string; size: number }) => (
  <text class="tour-symbol" x={x} y={y} font-size={size}>{letter}<tspan font-size={size * 0.6} dy={-size * 0.3}>{raised}</tspan></text>
);

const key_width = 22, white_count = 14, keys_top = 84;
// E flat, G and B flat held under D. White keys count from C; a black key has the number of the white one below it.
const down_white = [4], down_black = [1, 5], melody_key = 8;

function Keys() {
  const x = (white: number) => 6 + white * key_width;
  const blacks = Array.from({ length: white_count }, (_, i) => i).filter((i) => ![2, 6].includes(i % 7) && i + 1 < white_count);
  return (
    <g>
      {Array.from({ length: white_count }, (_, i) => (
        <rect key={i} class={`tour-white${i === melody_key ? ' tour-melody' : down_white.includes(i) ? ' tour-down' : ''}`} x={x(i)} y={keys_top} width={key_width} height={58} rx="3" />
      ))}
      {blacks.map((i) => <rect key={i} class={`tour-black${down_black.includes(i) ? ' tour-down' : ''}`} x={x(i + 1) - 6.5} y={keys_top} width={13} height={36} rx="2" />)}
    </g>
  );
}

export const Played = () => (
  <Picture says="Keys held down on a keyboard, with the name of the chord and of the melody note above them">
    <Symbol x={14} y={64} letter="E♭" raised="maj9" size={52} />
    <text class="tour-note" x={206} y={46} font-size="26">D<tspan font-size="17">5</tspan></text>
    <rect class="tour-degree" x={254} y={24} width={30} height={28} rx="6" />
    <text class="tour-note" x={269} y={45} font-size="18" text-anchor="middle">7</text>
    <Keys />
  </Picture>
);

const others: [string, string, string][] = [['G', 'm11', '5'], ['F', '13', '13'], ['B♭', '9', '3'], ['A♭', 'maj7', '♯11'], ['D', 'm7', '1']];

export const OtherChords = () => (
  <Picture says="Five cards, each with a chord that fits under the same melody note; one of them is chosen">
    <text class="tour-note" x={14} y={34} font-size="26">D<tspan font-size="17">5</tspan></text>
    <text class="tour-small" x={64} y={33} font-size="14">stays; the chord under it may change</text>
    {others.map(([letter, raised, degree], i) => (
      <g key={letter} transform={`translate(${14 + i * 59} 54)`}>
        <rect class={`tour-card${i === 2 ? ' tour-chosen' : ''}`} width={54} height={84} rx="10" />
        <Symbol x={6} y={38} letter={letter} raised={raised} size={16.5} />
        <text class="tour-note" x={27} y={70} font-size="15" text-anchor="middle">{degree}</text>
      </g>
    ))}
  </Picture>
);

const lines = ['M0 20 8 12 16 16 26 4 36 10 46 8 58 18 70 6 82 12', 'M0 8 10 14 20 6 30 10 42 18 54 12 66 14 82 6', 'M0 14 12 6 22 10 34 4 46 14 58 10 70 18 82 12'];

export const Kept = () => (
  <Picture says="Three takes in a list, each with the line of its melody; one has a mark">
    {lines.map((line, i) => (
      <g key={line} transform={`translate(14 ${10 + i * 46})`}>
        <rect class="tour-card" width={292} height={40} rx="8" />
        <rect class="tour-band" x={12} y={29} width={i === 1 ? 40 : 82} height={5} rx="2.5" />
        {i !== 0 && <rect class="tour-band" x={i === 1 ? 56 : 12} y={29} width={i === 1 ? 38 : 82} height={5} rx="2.5" />}
        <path class="tour-line-of" d={line} transform="translate(12 4)" />
        <Symbol x={112} y={26} letter={['E♭', 'C', 'A♭'][i]!} raised={['maj9', 'm7', 'maj7'][i]!} size={17} />
        <text class="tour-small" x={172} y={25} font-size="13">{['ten times round', 'twice', 'five times round'][i]}</text>
        {i === 0 && <path class="tour-mark" d="M272 10 v20 M272 10 l12 4 -12 5" />}
      </g>
    ))}
  </Picture>
);

const loop: [string, string][] = [['E♭', 'maj9'], ['C', 'm7'], ['A♭', 'maj7'], ['G', '7']];

export const Afterwards = () => (
  <Picture says="Four chords that come round, blocks of a song below them, and a page of music">
    {loop.map(([letter, raised], i) => (
      <g key={letter} transform={`translate(${14 + i * 46} 14)`}>
        <rect class="tour-card" width={43} height={44} rx="8" />
        <Symbol x={4} y={28} letter={letter} raised={raised} size={12.5} />
      </g>
    ))}
    {([['Theme', 76], ['Bridge', 52], ['Theme', 50]] as const).map(([name, wide], i) => (
      <g key={i} transform={`translate(${14 + [0, 80, 136][i]!} 78)`}>
        <rect class={`tour-card${i === 1 ? ' tour-chosen' : ''}`} width={wide} height={56} rx="8" />
        <text class="tour-small" x={7} y={24} font-size="12.5">{name}</text>
        <rect class="tour-band" x={8} y={38} width={wide - 16} height={5} rx="2.5" />
      </g>
    ))}
    <g transform="translate(222 10)">
      <rect class="tour-paper" width={88} height={128} rx="3" />
      {[24, 52, 80, 106].map((top) => (
        <g key={top}>
          {[0, 3, 6, 9, 12].map((line) => <path key={line} class="tour-staff" d={`M8 ${top + line} h72`} />)}
          {[14, 30, 44, 60, 72].map((x, i) => <ellipse key={x} class="tour-head" cx={x} cy={top + [9, 6, 3, 7.5, 4.5][(i + top) % 5]!} rx="2.4" ry="1.8" />)}
        </g>
      ))}
      <path class="tour-staff" d="M26 13 h36" />
    </g>
  </Picture>
);
