// The plane: each alternative is a stone between dark and bright, resolved and tense. The current chord is a diamond at the end of
// the path of the chords before it; a ring that can be drawn about is the player's wish.
//
// It can be read without colour: size shows the rank, a hollow stone was tried, and a ring marks the chosen one. Nothing flies: when
// the list changes, stones and names are at their new places at once.
import { useLayoutEffect, useMemo, useRef, useState } from 'preact/hooks';
import { signal } from '@preact/signals';
import { raised_share, spoken, symbol_parts, type SymbolParts } from '../music/chord';
import { pretty } from '../music/text';
import type { Alternative, Chord } from '../protocol';
import { path } from '../path';
import { best_of_roots, choose, chosen, chosen_by_hand, settings, shown_chord, shown_list, symbol_of, symbol_style } from '../state';
import { ChordSymbol } from '../shell/chord_symbol';
import { hear_chosen } from './hear';
import { merge, place_labels, point, type Box, type Point } from './plane_layout';
import { Pull, pull_at, ring_px } from './pull';
import { Wish } from './wish';

// ---- how wide names are

const fonts_came = signal(0);
void Promise.all([400, 700].map((weight) => document.fonts.load(`${weight} 16px "Undersong Symbols"`))).then(() => { widths.clear(); fonts_came.value++; }, () => undefined);
let pen: CanvasRenderingContext2D | null = null;
const widths = new Map<string, number>();
function text_width(text: string, px: number, weight: number): number {
  const key = `${weight} ${px} ${text}`;
  let width = widths.get(key);
  if (width === undefined) {
    pen ??= document.createElement('canvas').getContext('2d')!;
    pen.font = `${weight} ${px}px "Undersong Symbols"`;
    widths.set(key, (width = pen.measureText(text).width));
  }
  return width;
}
function suffix_width(parts: SymbolParts, px: number): number {
  const small = px * raised_share;
  const raised = [parts.raised, ...parts.stacked].filter(Boolean);
  const side_by_side = parts.stacked.length > 1 && parts.raised ? text_width(parts.raised, small, 400) : 0;
  return text_width(parts.quality, parts.quality.length > 1 ? small : px, 400) + side_by_side + Math.max(0, ...raised.map((each) => text_width(each, small, 400)))
    + (parts.bass ? text_width(`/${parts.bass}`, small, 400) : 0) + 0.16 * px;
}
const root_width = (chord: Chord, px: number) => text_width(pretty(chord.root_name), px, 700);

// ---- what is where

interface Stone extends Point {
  members: Alternative[];
  rank: number;  // of the best of them among the best of each root
  radius: number;
  label: Box | null;
}

const label_px = (rank: number, rem: number) => (rank < 3 ? 1.25 : 1) * rem;

/** Names with the same ending are written once: "maj9: A E C". */
function shared_suffix(members: Alternative[]): boolean {
  const ending = (each: Chord) => JSON.stringify([each.letters, each.bass_name ?? '']);
  return members.length > 1 && members.every((each) => !each.bass_name && ending(each) === ending(members[0]!) && (each.letters.join('') !== ''));
}

function label_width(members: Alternative[], px: number): number {
  const first = symbol_parts(members[0]!, symbol_style.value);
  const padding = 10;
  if (shared_suffix(members)) return suffix_width(first, px) + text_width(': ', px, 400) + members.reduce((sum, each) => sum + root_width(each, px) + 0.3 * px, 0) + padding;
  const shown = members.slice(0, 2);
  const more = members.length > 2 ? text_width(` +${members.length - 2}`, px * raised_share, 400) + 4 : 0;
  return shown.reduce((sum, each) => sum + root_width(each, px) + suffix_width(symbol_parts(each, symbol_style.value), px) + 0.35 * px, 0) + more + padding;
}

function useSize() {
  const ref = useRef<HTMLDivElement>(null);
  const [size, set] = useState({ width: 0, height: 0, rem: 16 });
  useLayoutEffect(() => {
    const measure = () => set({
      width: ref.current!.clientWidth, height: ref.current!.clientHeight, rem: parseFloat(getComputedStyle(document.documentElement).fontSize) || 16,
    });
    measure();
    const watch = new ResizeObserver(measure);
    watch.observe(ref.current!);
    return () => watch.disconnect();
  }, []);
  return { ref, ...size };
}

export function Plane() {
  const { ref, width, height, rem } = useSize();
  const list = shown_list.value;
  const best = best_of_roots.value;
  const way = path.value;
  const now = shown_chord.value?.chord ?? null;
  const selected = chosen_by_hand.value ? chosen.value : null;
  const wish = pull_at(width, height, settings.value?.wishes.brighter ?? 0, settings.value?.wishes.tenser ?? 0);
  const { stones, steps, now_label } = useMemo(() => {
    if (width === 0) return { stones: [], steps: [], now_label: null };
    const places = way.map((each) => point(each.dark_bright, each.resolved_tense, width, height));
    const all = (list?.alternatives ?? []).map((alternative) => ({ ...point(alternative.dark_bright, alternative.resolved_tense, width, height), alternative }));
    // The best of each root come first, then the others; the names of the chosen one and of better ranks find a place first.
    const importance = (each: { alternative: Alternative }) => (best.includes(each.alternative) ? best.indexOf(each.alternative) : best.length + list!.alternatives.indexOf(each.alternative));
    all.sort((a, b) => importance(a) - importance(b));
    const made = merge(all, 15).map((group): Stone => {
      const rank = Math.min(...group.map((each) => (best.includes(each.alternative) ? best.indexOf(each.alternative) : 99)));
      return { x: group[0]!.x, y: group[0]!.y, members: group.map((each) => each.alternative), rank, radius: rank < 3 ? 9 : rank < 12 ? 6 : 3, label: null };
    });
    const here = places.at(-1);
    const small = rem;
    const taken: Box[] = [{ ...wish, w: ring_px / 2, h: ring_px / 2 }];
    if (here) taken.push({ ...here, w: 11, h: 11 });
    const bodies = made.map(({ x, y, radius }) => ({ x, y, w: radius + 3, h: radius + 3 }));
    let now_label: Box | null = null;
    if (here && now) {
      const name_width = root_width(now, small) + suffix_width(symbol_parts(now, symbol_style.value), small) + 12;
      [now_label = null] = place_labels([{ ...here, radius: 11, width: name_width, height: 1.35 * small }], [taken[0]!, ...bodies], width, height);
    }
    if (now_label) taken.push(now_label);
    const is_chosen = (each: Stone) => Number(each.members.some((member) => member.harte === selected?.harte));
    const in_order = [...made].sort((a, b) => is_chosen(b) - is_chosen(a));
    const wanted = in_order.map((each) => ({ x: each.x, y: each.y, radius: each.radius, width: label_width(each.members, label_px(each.rank, rem)), height: 1.35 * label_px(each.rank, rem) }));
    place_labels(wanted, taken, width, height).forEach((label, i) => (in_order[i]!.label = label));
    return { stones: made, steps: places, now_label };
  }, [list, now?.harte, selected?.harte, symbol_style.value, width, height, rem, fonts_came.value, way, wish.x, wish.y]);

  const move = (event: KeyboardEvent) => {
    const ways: Record<string, [number, number]> = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
    const direction = ways[event.key];
    if (!direction) return;
    event.preventDefault();
    event.stopPropagation();
    const from = stones.find((each) => each.members.some((member) => member.harte === chosen.value?.harte)) ?? stones[0];
    if (!from) return;
    let nearest: Stone | null = null, least = Infinity;
    for (const each of stones) {
      if (each === from) continue;
      const dx = each.x - from.x, dy = each.y - from.y;
      const along = dx * direction[0] + dy * direction[1], aside = Math.abs(dx * direction[1]) + Math.abs(dy * direction[0]);
      if (along > 0.5 && along + 2 * aside < least) [nearest, least] = [each, along + 2 * aside];
    }
    if (nearest) choose(nearest.members[0]!);
  };
  const chosen_at = stones.findIndex((each) => each.members.some((member) => member.harte === selected?.harte));

  return (
    <section class="plane" aria-label="The plane">
      <div class="field" ref={ref}>
        <p class="field-words" aria-hidden="true">
          <span class="w-n">tense</span><span class="w-s">resolved</span><span class="w-w">dark</span><span class="w-e">bright</span>
        </p>
        {stones.length === 0 && (
          <p class="teach small">Hold a melody note over a chord. Everything that could stand under it appears here: dark to the left,
            bright to the right, resolved below, tense above.</p>
        )}
        <svg class="path" width={width} height={height} aria-hidden="true">
          {steps.slice(1).map((to, i) => <line key={i} x1={steps[i]!.x} y1={steps[i]!.y} x2={to.x} y2={to.y} style={{ strokeOpacity: String((i + 1) / steps.length) }} />)}
          {steps.slice(0, -1).map((at, i) => <rect key={i} x={at.x - 3} y={at.y - 3} width="6" height="6" transform={`rotate(45 ${at.x} ${at.y})`} style={{ fillOpacity: String((i + 1) / steps.length) }} />)}
        </svg>
        <Pull width={width} height={height} />
        <div role="listbox" aria-label="Suggestions between dark and bright, resolved and tense" tabIndex={stones.length > 0 ? 0 : -1}
             aria-activedescendant={chosen_at >= 0 ? `stone-${chosen_at}` : undefined} onKeyDown={move} class="stones">
          {stones.map((each, i) => <StoneMark key={i} place_in_list={i} stone={each} chosen={i === chosen_at} selected={selected} />)}
        </div>
        {now && steps.length > 0 && (
          <div class="present" aria-label={`Now ${spoken(now, symbol_style.value)}`} role="img">
            <span class="present-body" style={at(steps.at(-1)!)} />
            {now_label && <span class="stone-label" style={at(now_label)}><span class="stone-text"><ChordSymbol chord={now} /></span></span>}
          </div>
        )}
      </div>
      <Wish member="surprising" name="Familiar or surprising" low="familiar" high="surprising" />
    </section>
  );
}

function at({ x, y }: Point) {
  return { transform: `translate(${x.toFixed(1)}px, ${y.toFixed(1)}px)` };
}

interface StoneProps {
  stone: Stone;
  place_in_list: number;
  chosen: boolean;
  selected: Alternative | null;
}

function StoneMark({ stone, place_in_list, chosen, selected }: StoneProps) {
  const { members } = stone;
  const current = members.find((each) => each.harte === selected?.harte) ?? members[0]!;
  const tried = members.every((each) => each.tried);
  const names = members.map((each) => spoken(each, symbol_style.value)).join(', ');
  // A stone of several chords gives the next one each time it is pressed.
  const press = () => choose(chosen ? members[(members.indexOf(current) + 1) % members.length]! : members[0]!);
  return (
    <div role="option" id={`stone-${place_in_list}`} aria-selected={chosen} data-root={members[0]!.root} data-members={members.map((each) => each.harte).join(' ')}
         aria-label={`${names}, melody ${current.degrees.map(pretty).join(' and ')}, ${tried ? 'tried' : 'not tried yet'}, ${current.colour.join(', ')}`}
         class={`stone${chosen ? ' chosen' : ''}${tried ? ' tried' : ''}${stone.rank > 11 ? ' minor' : ''}${members.length > 1 ? ' merged' : ''}`}
         title={members.map((each) => pretty(symbol_of(each))).join(', ')} onClick={press} onDblClick={() => void hear_chosen()}>
      <span class="stone-body" style={{ ...at(stone), '--r': `${stone.radius}px` }} />
      {stone.label && (
        <span class={`stone-label${stone.rank < 3 ? ' large' : ''}`} style={at(stone.label)}>
          <span class="stone-text"><Names members={members} current={chosen ? current : null} /></span>
        </span>
      )}
    </div>
  );
}

function Names({ members, current }: { members: Alternative[]; current: Alternative | null }) {
  if (!shared_suffix(members)) {
    const more = members.length - 2;
    return <>{members.slice(0, 2).map((each) => <span key={each.harte} class={`member${each === current ? ' current' : ''}`}><ChordSymbol chord={each} /></span>)}{more > 0 && <span class="chord-small"> +{more}</span>}</>;
  }
  const parts = symbol_parts(members[0]!, symbol_style.value);
  return (
    <span class="chord" aria-hidden="true">
      {parts.quality && <span class={`chord-quality${parts.quality.length > 1 ? ' chord-small' : ''}`}>{parts.quality}</span>}
      {parts.raised && <span class="chord-small">{parts.raised}</span>}
      {parts.stacked.length > 0 && <span class="chord-small">{parts.stacked.join('')}</span>}
      <span class="chord-quality">: </span>
      {members.map((each) => <span key={each.harte} class={`member${each === current ? ' current' : ''}`}><span class="chord-letter">{pretty(each.root_name)}</span></span>)}
    </span>
  );
}
