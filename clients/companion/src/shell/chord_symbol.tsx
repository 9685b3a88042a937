// A chord symbol as musicians write it: letter, small accidental, quality beside it, the rest raised.
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
        <span class="chord-letter">{parts.letter}</span>
        {parts.accidental && <span class="chord-accidental">{parts.accidental}</span>}
        {parts.quality && <span class="chord-quality">{parts.quality}</span>}
        {parts.raised && <span class="chord-raised">{parts.raised}</span>}
        {parts.bass && <span class="chord-bass">/{parts.bass}</span>}
      </span>
    </span>
  );
}
