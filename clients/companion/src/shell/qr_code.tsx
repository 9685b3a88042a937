// A QR code, drawn from the rows that the daemon made: dark on light whatever the theme, with the margin that readers need.
const margin = 4;

/** `rows`: texts of 1 (dark) and 0 (light). `name`: what it is, for those who do not see it. */
export function QrCode({ rows, name }: { rows: string[]; name: string }) {
  const size = rows.length + 2 * margin;
  const path = rows.flatMap((row, y) => [...row.matchAll(/1+/g)].map((run) => `M${run.index + margin} ${y + margin}h${run[0].length}v1h-${run[0].length}z`)).join('');
  return (
    <svg class="qr-code" role="img" aria-label={name} viewBox={`0 0 ${size} ${size}`} shape-rendering="crispEdges">
      <rect width={size} height={size} />
      <path d={path} />
    </svg>
  );
}
