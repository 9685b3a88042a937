// A small graph of the colours through a cycle: a solid line with discs from dark (bottom) to bright (top), and a dashed
// line with diamonds from resolved to tense.
import { spoken } from '../music/chord';
import { place } from '../play/plane_layout';
import type { ProposedChord } from '../protocol';
import { symbol_style } from '../state';

const high = 40, margin = 6;
const closer = 1.6;  // most chords lie near the middle of the scale

export function Course({ chords }: { chords: ProposedChord[] }) {
  const x = (i: number) => `${((i + 0.5) / chords.length) * 100}%`;
  const y = (share: number) => margin + Math.min(1, Math.max(0, 0.5 - (share - 0.5) * closer)) * (high - 2 * margin);
  const at = chords.map((chord) => place(chord.dark_bright, chord.resolved_tense));
  const light = at.map((each) => y(each.x)), pull = at.map((each) => y(1 - each.y));
  const words = chords.map((chord) => `${spoken(chord, symbol_style.value)} ${chord.colour.join(', ')}`).join('; ');
  return (
    <svg class="course" role="img" aria-label={`Colour: ${words}`} height={high}>
      <line class="course-middle" x1="0" x2="100%" y1={high / 2} y2={high / 2} />
      {at.slice(1).map((_, i) => (
        <g key={i}>
          <line class="course-light" x1={x(i)} y1={light[i]} x2={x(i + 1)} y2={light[i + 1]} />
          <line class="course-pull" x1={x(i)} y1={pull[i]} x2={x(i + 1)} y2={pull[i + 1]} />
        </g>
      ))}
      {at.map((_, i) => (
        <g key={i}>
          <circle class="course-disc" cx={x(i)} cy={light[i]} r="4" />
          <svg x={x(i)} y={pull[i]} overflow="visible"><path class="course-diamond" d="M0-5 5 0 0 5-5 0z" /></svg>
        </g>
      ))}
    </svg>
  );
}

export function CourseLegend() {
  return (
    <p class="course-legend soft">
      <svg width="34" height="12" aria-hidden="true"><line class="course-light" x1="0" x2="34" y1="6" y2="6" /><circle class="course-disc" cx="17" cy="6" r="4" /></svg> dark (low) to bright
      <svg width="34" height="12" aria-hidden="true"><line class="course-pull" x1="0" x2="34" y1="6" y2="6" /><path class="course-diamond" d="M17 1l5 5-5 5-5-5z" /></svg> resolved (low) to tense
    </p>
  );
}
