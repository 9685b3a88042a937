// The list: other chords that fit under the melody, best first, with at least the best of each root.
import { useEffect, useRef } from 'preact/hooks';
import { local } from '../local';
import { hands_text, hands_way } from '../music/hands';
import { spoken } from '../music/chord';
import { pretty } from '../music/text';
import type { Alternative } from '../protocol';
import { ChordSymbol } from '../shell/chord_symbol';
import { choose, choose_next, chosen, chosen_by_hand, chosen_is_listed, listed, shown_list, still, symbol_of, symbol_style } from '../state';
import { HandsSign } from './cards';
import { hear_chosen } from './hear';
import { place } from './plane_layout';
import { Returned } from './returned';

export function List() {
  const list = listed.value;
  const all = shown_list.value?.alternatives ?? [];
  const under = shown_list.value?.under ?? [];
  const selected = chosen_by_hand.value ? chosen.value : null;
  const box = useRef<HTMLUListElement>(null);
  useEffect(() => {
    const row = box.current?.querySelector('[aria-selected=true]') as HTMLElement | null;
    const outer = box.current;
    if (!row || !outer) return;
    if (row.offsetTop < outer.scrollTop) outer.scrollTop = row.offsetTop;
    else if (row.offsetTop + row.offsetHeight > outer.scrollTop + outer.clientHeight)
      outer.scrollTop = row.offsetTop + row.offsetHeight - outer.clientHeight;
  }, [selected?.harte]);
  const keys = (event: KeyboardEvent) => {
    if (event.key !== 'ArrowDown' && event.key !== 'ArrowUp') return;
    event.preventDefault();
    event.stopPropagation();
    choose_next(event.key === 'ArrowDown' ? 1 : -1);
  };
  return (
    <section class="list" aria-label="The list" data-list={shown_list.value?.number ?? 0}>
      <div class="list-head">
        <h2>{under.length > 0 ? <>Under <b>{under.map(pretty).join(' ')}</b>{still.value && <span class="soft"> held still</span>}</> : 'Suggestions'}</h2>
        {all.length > 0 && (
          <label class="tick">
            <input type="checkbox" checked={local.all_alternatives.value}
                   onChange={(event) => (local.all_alternatives.value = event.currentTarget.checked)} />
            all {all.length}
          </label>
        )}
      </div>
      {selected && !chosen_is_listed.value && <p class="list-gone soft">You chose {pretty(symbol_of(selected))}. It is no longer in the list.</p>}
      <Returned />
      {list.length === 0 ? (
        <p class="teach small">No melody held yet. Keep one or two notes down on top: for each of the twelve roots the best chords that
          carry them are listed here, with the note’s degree, the colour and how far your hands would move.</p>
      ) : (
        <ul role="listbox" aria-label="Suggestions, best first" class="rows" ref={box} tabIndex={0} onKeyDown={keys}
            aria-activedescendant={selected && list.includes(selected) ? `row-${list.indexOf(selected)}` : undefined}>
          {list.map((each, i) => <Row key={each.harte} alternative={each} rank={i} chosen={each.harte === selected?.harte} />)}
        </ul>
      )}
    </section>
  );
}

function Row({ alternative, rank, chosen }: { alternative: Alternative; rank: number; chosen: boolean }) {
  const { colour, degrees, dark_bright, resolved_tense, hands_move, reason, tried, tries } = alternative;
  const times = tries > 1 ? `tried ${tries}×` : 'tried';
  const way = hands_way(shown_list.value?.hand ?? [], alternative.left, alternative.right);
  return (
    <li role="option" id={`row-${rank}`} aria-selected={chosen} data-harte={alternative.harte} data-tried={tried} class={`row${chosen ? ' chosen' : ''}${tried ? ' tried' : ''}`}
        aria-label={`${rank + 1}: ${spoken(alternative, symbol_style.value)}, melody is ${degrees.map(pretty).join(' and ')}, ${colour.join(', ')}, hands move ${hands_move} semitones, ${pretty(reason)}${tried ? `, ${times}` : ''}`}
        onClick={() => choose(chosen ? null : alternative)} onDblClick={() => { choose(alternative); void hear_chosen(); }}>
      <span class="row-rank">{rank + 1}</span>
      <span class="row-chord"><ChordSymbol chord={alternative} /></span>
      <span class="row-degree">{degrees.map(pretty).join(' ')}</span>
      <TinyPlane x={dark_bright} y={resolved_tense} />
      <span class="row-hands" title={`${hands_text(way)}; ${hands_move} semitones, all voices together`}><HandsSign way={way} /></span>
      <span class="row-reason">{tried ? `✓ ${times} · ` : ''}{pretty(reason)}</span>
    </li>
  );
}

/** A small picture of the position of the chord on the plane. */
function TinyPlane({ x, y }: { x: number; y: number }) {
  const at = place(x, y);
  return (
    <svg class="tiny-plane" viewBox="0 0 36 24" aria-hidden="true">
      <rect x="0.5" y="0.5" width="35" height="23" rx="3" />
      <line x1="18" y1="2" x2="18" y2="22" />
      <circle cx={4 + at.x * 28} cy={4 + at.y * 16} r="3.2" />
    </svg>
  );
}
