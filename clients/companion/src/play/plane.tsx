// The plane: each alternative is a stone between dark and bright, resolved and tense. The current chord is a diamond.
//
// It can be read without colour: size shows the rank, a hollow stone was tried, and a ring marks the chosen one.
import { useLayoutEffect, useMemo, useRef, useState } from 'preact/hooks';
import { spoken, symbol_parts } from '../music/chord';
import { pretty } from '../music/text';
import type { Alternative, Chord } from '../protocol';
import { best_of_roots, choose, chosen, shown_chord, shown_list, symbol_of, symbol_style } from '../state';
import { ChordSymbol } from '../shell/chord_symbol';
import { hear_chosen } from './hear';
import { lay_out, type Stone } from './plane_layout';
import { Wish } from './wish';

let pen: CanvasRenderingContext2D | null = null;
let family = '';
const widths = new Map<string, number>();
function text_width(chord: Chord, px: number): number {
  const key = `${px} ${symbol_of(chord)}`;
  let width = widths.get(key);
  if (width === undefined) widths.set(key, (width = measured_width(chord, px)));
  return width;
}
function measured_width(chord: Chord, px: number): number {
  pen ??= document.createElement('canvas').getContext('2d')!;
  family ||= getComputedStyle(document.body).fontFamily;
  pen.font = `600 ${px}px ${family}`;
  const parts = symbol_parts(chord, symbol_style.value);
  const small = parts.accidental + parts.quality + parts.raised + (parts.bass ? `/${parts.bass}` : '');
  return pen.measureText(parts.letter).width + pen.measureText(small).width * 0.74 + 4;
}

function label_px(rank: number): number {
  return rank < 3 ? 24 : rank < 7 ? 20 : 17;
}
function radius(rank: number): number {
  return rank < 3 ? 9 : rank < 7 ? 7 : 5;
}

interface Item {
  key: string;
  alternative: Alternative | null;  // null: the current chord
  chord: Chord;
  rank: number;
  labelled: boolean;
  stone: Stone;
}

function use_size() {
  const ref = useRef<HTMLDivElement>(null);
  const [size, set] = useState({ width: 0, height: 0 });
  useLayoutEffect(() => {
    const measure = () => set({ width: ref.current!.clientWidth, height: ref.current!.clientHeight });
    measure();
    const watch = new ResizeObserver(measure);
    watch.observe(ref.current!);
    return () => watch.disconnect();
  }, []);
  return { ref, ...size };
}

export function Plane() {
  const { ref, width, height } = use_size();
  const list = shown_list.value;
  const best = best_of_roots.value;
  const now = shown_chord.value?.chord ?? null;
  const items = useMemo(() => {
    if (width === 0 || !list) return [];
    const of_root = new Map<number, number>();
    const plain: Omit<Item, 'stone'>[] = list.alternatives.map((alternative, rank) => {
      const nth = of_root.get(alternative.root) ?? 0;
      of_root.set(alternative.root, nth + 1);
      return { key: `${alternative.root}.${nth}`, alternative, chord: alternative, rank, labelled: nth === 0 };
    });
    plain.sort((a, b) => Number(b.labelled) - Number(a.labelled));  // labels of better ranks are placed first
    if (now) plain.unshift({ key: 'now', alternative: null, chord: now, rank: 0, labelled: true });
    const place_among_best = (each: Omit<Item, 'stone'>) => (each.alternative ? best.indexOf(each.alternative) : 0);
    const stones = lay_out(
      plain.map((each) => ({
        dark_bright: each.alternative?.dark_bright ?? now!.dark_bright,
        resolved_tense: each.alternative?.resolved_tense ?? now!.resolved_tense,
        radius: each.labelled ? radius(place_among_best(each)) : 3,
        label_width: each.labelled ? text_width(each.chord, label_px(place_among_best(each))) + 8 : 0,
        label_height: each.labelled ? label_px(place_among_best(each)) * 1.15 : 0,
      })),
      width, height,
    );
    return plain.map((each, i) => ({ ...each, stone: stones[i]! }));
  }, [list, now?.harte, symbol_style.value, width, height]);
  const selected = chosen.value;

  const move = (event: KeyboardEvent) => {
    const ways: Record<string, [number, number]> = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
    const way = ways[event.key];
    if (!way) return;
    event.preventDefault();
    event.stopPropagation();
    const from = items.find((each) => each.alternative && each.alternative.harte === selected?.harte);
    if (!from) return;
    let nearest: Item | null = null, least = Infinity;
    for (const each of items) {
      if (!each.alternative || each === from) continue;
      const dx = each.stone.x - from.stone.x, dy = each.stone.y - from.stone.y;
      const along = dx * way[0] + dy * way[1], aside = Math.abs(dx * way[1]) + Math.abs(dy * way[0]);
      if (along > 0.5 && along + 2 * aside < least) [nearest, least] = [each, along + 2 * aside];
    }
    if (nearest) choose(nearest.alternative!);
  };

  return (
    <section class="plane" aria-label="The plane">
      <Wish member="tenser" name="More resolved or more tense" low="resolved" high="tense" upright />
      <div class="field" ref={ref}>
        <Strings />
        <p class="field-words" aria-hidden="true">
          <span class="w-nw">tense</span><span class="w-sw">dark</span><span class="w-se">bright</span>
        </p>
        {items.length === 0 && (
          <p class="teach small">Hold a melody note over a chord. Everything that could stand under it appears here: dark to the left,
            bright to the right, resolved below, tense above.</p>
        )}
        <svg class="leads" width={width} height={height} aria-hidden="true">
          {items.filter((each) => each.stone.far).map(({ key, stone }) => (
            <line key={key} x1={stone.x} y1={stone.y} x2={stone.label_x} y2={stone.label_y} />
          ))}
        </svg>
        <div role="listbox" aria-label="Suggestions between dark and bright, resolved and tense" tabIndex={items.length > 0 ? 0 : -1}
             aria-activedescendant={selected ? `stone-${selected.root}-${list?.alternatives.indexOf(selected)}` : undefined}
             onKeyDown={move} class="stones">
          {items.map((each) => each.alternative && (
            <StoneMark key={each.key} item={each} alternative={each.alternative} chosen={each.alternative.harte === selected?.harte}
                       font={label_px(best.indexOf(each.alternative))} />
          ))}
        </div>
        {items.filter((each) => !each.alternative).map((each) => <PresentMark key="now" item={each} />)}
      </div>
      <div class="field-wishes">
        <Wish member="brighter" name="Darker or brighter" low="darker" high="brighter" />
        <Wish member="surprising" name="Familiar or surprising" low="familiar" high="surprising" />
      </div>
    </section>
  );
}

function at(x: number, y: number) {
  return { transform: `translate(${x.toFixed(1)}px, ${y.toFixed(1)}px)` };
}

function StoneMark({ item, alternative, chosen, font }: { item: Item; alternative: Alternative; chosen: boolean; font: number }) {
  const { stone } = item;
  const name = `${spoken(alternative, symbol_style.value)}, melody ${alternative.degrees.map(pretty).join(' and ')}, place ${item.rank + 1}, ` +
    `${alternative.tried ? 'tried' : 'not tried yet'}, ${alternative.colour.join(', ')}`;
  return (
    <div role="option" id={`stone-${alternative.root}-${item.rank}`} aria-selected={chosen} aria-label={name} data-root={alternative.root}
         data-harte={alternative.harte} title={item.labelled ? undefined : symbol_of(alternative)}
         class={`stone${alternative.tried ? ' tried' : ''}${chosen ? ' chosen' : ''}${item.labelled ? '' : ' minor'}`}
         onClick={() => choose(alternative)} onDblClick={() => void hear_chosen()}>
      <span class="stone-body" style={{ ...at(stone.x, stone.y), '--r': `${stone.radius}px` }} />
      {(item.labelled || chosen) && (
        <span class="stone-label" style={{ ...at(item.labelled ? stone.label_x : stone.x, item.labelled ? stone.label_y : stone.y - 14), fontSize: `${item.labelled ? font : 16}px` }}>
          <span class="stone-text"><ChordSymbol chord={alternative} />{alternative.tried && <span class="check" aria-hidden="true">✓</span>}</span>
        </span>
      )}
    </div>
  );
}

function PresentMark({ item }: { item: Item }) {
  const { stone } = item;
  return (
    <div class="present" aria-label={`Now ${spoken(item.chord, symbol_style.value)}`} role="img">
      <span class="present-body" style={at(stone.x, stone.y)} />
      <span class="stone-label" style={{ ...at(stone.label_x, stone.label_y), fontSize: '17px' }}>
        <span class="stone-text"><ChordSymbol chord={item.chord} /></span>
      </span>
    </div>
  );
}

/** Lines that lie closer together towards tense. */
function Strings() {
  const lines: number[] = [];
  for (let y = 97, step = 15; y > 2; y -= step, step = Math.max(2.2, step * 0.83)) lines.push(y);
  return (
    <svg class="strings" viewBox="0 0 100 100" preserveAspectRatio="none" aria-hidden="true">
      {lines.map((y) => <line key={y} x1="0" x2="100" y1={y} y2={y} vector-effect="non-scaling-stroke" />)}
    </svg>
  );
}
