// A chord symbol as musicians write it: letter, small accidental, quality beside it, the rest raised.
import { spoken, symbol_parts } from '../music/text';

export function ChordSymbol({ symbol }: { symbol: string }) {
  const parts = symbol_parts(symbol);
  return (
    <span class="chord" data-symbol={symbol}>
      <span class="visually-hidden">{spoken(symbol)}</span>
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
