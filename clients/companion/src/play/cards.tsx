// The alternatives of the glance as cards, best first. A card does not move: when the list changes, its content does.
//
// The colour of a chord is in its word, in the tint of the card (dark to bright, cool to warm towards tense), and in two beads on its
// edge: the lower one stands further to the right the brighter the chord, the left one higher the tenser it is.
import { hands_text, hands_way, type HandsWay } from '../music/hands';
import { spoken } from '../music/chord';
import { pretty } from '../music/text';
import type { Alternative } from '../protocol';
import { ChordSymbol } from '../shell/chord_symbol';
import { Fitted } from '../shell/fitted';
import { choose, choose_next, chosen, chosen_by_hand, live, nearest, shown_list, symbol_of, symbol_style } from '../state';
import type { GlanceLayout } from './glance_layout';
import { hear_chosen } from './hear';
import { place } from './plane_layout';

export function Cards({ layout }: { layout: GlanceLayout }) {
  const list = shown_list.value;
  const cards = nearest.value.slice(0, layout.count);
  const selected = chosen_by_hand.value ? chosen.value : null;
  const keys = (event: KeyboardEvent) => {
    const step = { ArrowDown: 1, ArrowRight: 1, ArrowUp: -1, ArrowLeft: -1 }[event.key];
    if (!step) return;
    event.preventDefault();
    event.stopPropagation();
    choose_next(step as 1 | -1);
  };
  if (layout.count === 0) return null;
  if (!list || cards.length === 0) return <div class="cards empty"><p>Hold a note on top: what else fits under it comes here.</p></div>;
  const rows = Math.ceil(layout.count / layout.columns);
  const at = selected ? cards.findIndex((each) => each.harte === selected.harte) : -1;
  return (
    <div class="cards" data-form={layout.form} role="listbox" aria-label={`Suggestions under ${list.under.map(pretty).join(' ')}, best first`}
         tabIndex={0} aria-activedescendant={at >= 0 ? `card-${at}` : undefined} onKeyDown={keys}
         style={{ gridTemplate: `repeat(${rows}, minmax(0, 1fr)) / repeat(${layout.columns}, minmax(0, 1fr))` }}>
      {cards.map((each, i) => <Card key={i} place_in_list={i} alternative={each} hand={list.hand} chosen={i === at} layout={layout} />)}
    </div>
  );
}

interface CardProps {
  alternative: Alternative;
  place_in_list: number;
  hand: number[];
  chosen: boolean;
  layout: GlanceLayout;
}

const percent = (share: number) => `${(share * 100).toFixed(1)}%`;

function Card({ alternative, place_in_list, hand, chosen, layout }: CardProps) {
  const at = place(alternative.dark_bright, alternative.resolved_tense);
  const way = hands_way(hand, alternative.left, alternative.right);
  const degrees = alternative.degrees.map(pretty).join(' ');
  const words = layout.form === 'brief' ? [] : layout.form === 'lone' ? [stronger_word(alternative)] : alternative.colour;
  const name = `${spoken(alternative, symbol_style.value)}, melody is ${degrees}, ${alternative.colour.join(', ')}, ${hands_text(way)}${alternative.tried ? ', tried' : ''}`;
  return (
    <div role="option" id={`card-${place_in_list}`} class={`card${chosen ? ' chosen' : ''}${alternative.tried ? ' tried' : ''}`} aria-selected={chosen} aria-label={name}
         aria-disabled={!live.value} data-harte={alternative.harte} style={{ '--bright': percent(at.x), '--tense': percent(1 - at.y), '--bright-share': at.x.toFixed(3), '--tense-share': (1 - at.y).toFixed(3) }}
         onClick={() => choose(chosen ? null : alternative)} onDblClick={() => { choose(alternative); void hear_chosen(); }}>
      <Fitted class="card-name" changes={`${symbol_of(alternative)} ${layout.name} ${layout.form}`} least={layout.name} most={layout.name}><ChordSymbol chord={alternative} /></Fitted>
      <span class="card-degree"><span class="degree">{degrees}</span>{alternative.tried && <TriedMark />}</span>
      {words.length > 0 && <span class="card-words">{words.map((each) => <span key={each}>{each}</span>)}</span>}
      {layout.form !== 'brief' && <HandsSign way={way} />}
      <i class="bead bead-bright" /><i class="bead bead-tense" />
    </div>
  );
}

/** The word that says more: the one further from the middle. */
function stronger_word({ colour, dark_bright, resolved_tense }: Alternative): string {
  const [bright = '', tense = bright] = colour;
  return Math.abs(dark_bright) * 2 > Math.abs(resolved_tense - 0.6) * 2.5 ? bright : tense;
}

/** Both hands as they lie on the keys: an arrow the way a hand goes, longer if it goes further; a dot for a hand that stays. */
export function HandsSign({ way }: { way: HandsWay }) {
  const hand = (x: number, by: number | null) => {
    if (by === null) return null;
    if (Math.abs(by) < 0.5) return <circle cx={x} cy="12" r="3.4" class="hand-stays" />;
    const half = Math.min(12, 5 + Math.abs(by) * 1.1), tip = Math.sign(by);
    return <path d={`M ${x - tip * half} 12 H ${x + tip * half} m ${-tip * 5} -5 l ${tip * 5} 5 l ${-tip * 5} 5`} />;
  };
  return (
    <svg class="hands" viewBox="0 0 58 24" aria-hidden="true">
      {hand(15, way.left)}
      {hand(43, way.right)}
    </svg>
  );
}

const TriedMark = () => <svg class="tried-mark" viewBox="0 0 20 20" aria-hidden="true"><path d="M3 11 L8 16 L17 4" /></svg>;
