// A chord symbol as musicians write it: letter, accidental, quality beside it, the rest raised, alterations stacked.
import { spoken, symbol_parts, symbol_text, type SymbolStyle } from '../music/chord';
import type { Chord } from '../protocol';
import { symbol_style } from '../state';

/** `style`: by default that of the settings. */
export function ChordSymbol({ chord, style = symbol_style.value }: { chord: Chord; style?: SymbolStyle }) {
  const parts = symbol_parts(chord, style);
  return (
    <span class="chord" data-symbol={symbol_text(chord, style)}>
      <span class="visually-hidden">{spoken(chord, style)}</span>
      <span aria-hidden="true" class="chord-ink">
        <span class="chord-letter">{parts.letter}{parts.accidental}</span>
        {parts.quality && <span class={`chord-quality${parts.quality.length > 1 ? ' chord-small' : ''}`}>{parts.quality}</span>}
        {parts.raised && <span class="chord-raised chord-small">{parts.raised}</span>}
        {parts.stacked.length > 0 && <span class="chord-stack chord-small">{parts.stacked.map((each) => <span key={each}>{each}</span>)}</span>}
        {parts.bass && <span class="chord-bass chord-small">/{parts.bass}</span>}
      </span>
    </span>
  );
}
