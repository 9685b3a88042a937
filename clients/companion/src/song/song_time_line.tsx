// The song from beginning to end: a block for each section, as wide as it is long, with its chords. Blocks are heard, dragged to another
// place, and repeated. All of it works with the keyboard too.
import { useRef, useState } from 'preact/hooks';
import { pretty } from '../music/text';
import { through } from '../play/hear';
import { ChordSymbol } from '../shell/chord_symbol';
import { HearOn, PageVolume, Unheard } from './hear_on';
import { beats_of, parts_of } from './sketch_outline';
import { hear_song, place, song_seconds, stop_song } from './song_player';
import * as sketch from './sketch_state';
import { number_of_beats } from './words';

const clock = (seconds: number) => `${Math.floor(seconds / 60)}:${String(Math.floor(seconds % 60)).padStart(2, '0')}`;

export function TimeLine({ draft, add }: { draft: sketch.Draft; add: () => void }) {
  const [said, say] = useState('');  // to a screen reader, after a move
  const list = useRef<HTMLOListElement>(null);
  const ids = draft.sections.map((each) => each.id);
  const hear = (id: number, only: boolean) => {
    const now = place.peek();
    if (now && (!only || now.id === id)) return void stop_song();
    void hear_song(sketch.as_sketch(draft), ids, id, only).catch((error: unknown) => { stop_song(); sketch.hearing_trouble(error); });
  };
  const moved = (id: number, to: number) => {
    stop_song();
    const now = sketch.move_to(id, to);
    const name = draft.sections.find((each) => each.id === id)!.section.name;
    say(`${name} is now section ${now + 1} of ${ids.length}.`);
    requestAnimationFrame(() => list.current?.querySelector<HTMLElement>(`[data-id="${id}"] .block-body`)?.focus());
  };
  const beats = ids.reduce((sum, id) => sum + beats_of(id), 0);
  const sounding = place.value;
  return (
    <div class="time-line">
      <div class="time-line-head">
        <button type="button" class="act" disabled={ids.length === 0} aria-pressed={!!sounding} onClick={() => hear(ids[0]!, false)}>
          {sounding ? '■ Stop' : '▶ Hear the song'}
        </button>
        <span class="soft time-line-clock" role="timer" aria-live="off">{sounding ? `${clock(song_seconds.value.now)} of ${clock(song_seconds.value.all)}` : beats > 0 && `${number_of_beats(beats)} beats in all`}</span>
        <span class="spring" />
        <HearOn />
        {through.value === 'page' && <PageVolume />}
      </div>
      <ol class="blocks" ref={list} aria-label="Sections of the song, in order" aria-describedby="time-line-help">
        {draft.sections.map((each, i) => <Block key={each.id} each={each} number={i + 1} count={ids.length} longest={Math.max(1, ...ids.map(beats_of))} hear={hear} moved={moved} />)}
        <li class="block-add"><button type="button" class="quiet add-section" onClick={add}>+ Add a section</button></li>
      </ol>
      <Unheard />
      <p class="soft small-print" id="time-line-help">Drag a block to move it, or press Shift with ← or →. + and − say how often it is played. Press a block to change it.</p>
      <p class="visually-hidden" role="status">{said}</p>
    </div>
  );
}

interface BlockProps {
  each: sketch.DraftSection;
  number: number;
  count: number;
  longest: number;
  hear: (id: number, only: boolean) => void;
  moved: (id: number, to: number) => void;
}

function Block({ each: { id, section }, number, count, longest, hear, moved }: BlockProps) {
  const block = useRef<HTMLLIElement>(null);
  const parts = parts_of(id), beats = beats_of(id), times = sketch.times_of(id);
  const now = place.value?.id === id ? place.value : null;
  const chosen = sketch.selected_section.value?.id === id;
  const wrong = sketch.trouble.value?.section === number;
  const keys = (event: KeyboardEvent) => {
    if (event.ctrlKey || event.altKey || event.metaKey) return;
    const step = event.key === 'ArrowLeft' ? -1 : event.key === 'ArrowRight' ? 1 : 0;
    if (step && event.shiftKey) moved(id, number - 1 + step);
    else if (step) neighbour(block.current!, step)?.focus();
    else if (event.key === '+' || event.key === '=') sketch.repeat(id, 1);
    else if (event.key === '-') sketch.repeat(id, -1);
    else return;
    event.preventDefault();
  };
  return (
    <li ref={block} class={`block${chosen ? ' chosen' : ''}${now ? ' sounding' : ''}${wrong ? ' wrong' : ''}`} data-id={id} data-name={section.name}
        style={{ flexGrow: String(Math.max(1, beats)), flexBasis: `${Math.round(9 + 9 * (beats / longest))}rem` }}>
      <button type="button" class="block-body" aria-pressed={chosen} aria-keyshortcuts="Shift+ArrowLeft Shift+ArrowRight + -"
              aria-label={`${section.name}, section ${number} of ${count}, ${times === 1 ? 'once' : `${times} times`}${wrong ? ', something is wrong with it' : ''}`}
              onKeyDown={keys} onClick={() => (sketch.selected.value = id)} onPointerDown={(event) => drag(event, block.current!, (to) => moved(id, to))}>
        <span class="block-name">{wrong && '▲ '}{section.name || '–'}</span>
        <span class="block-chords">
          {parts.flatMap((part) => part.chords).map((chord, i) => <ChordSymbol key={i} chord={chord} />)}
          {parts.length === 0 && section.chords?.map((name, i) => <span key={i}>{pretty(name)}</span>)}
        </span>
        {now && <i class="block-through" aria-hidden="true" style={{ width: `${now.share * 100}%` }} />}
      </button>
      <div class="block-line">
        <button type="button" class="quiet" aria-pressed={!!now} aria-label={now ? `Stop ${section.name}` : `Hear ${section.name}`} onClick={() => hear(id, true)}>{now ? '■' : '▶'}</button>
        <span class="spring" />
        <span class="block-times" role="group" aria-label={`How often ${section.name} is played`}>
          <button type="button" class="quiet" disabled={times <= 1} aria-label={`Play ${section.name} one time less`} onClick={() => sketch.repeat(id, -1)}>−</button>
          <span class="block-count">{now && times > 1 ? `${now.time} of ${times}` : `${times} ×`}</span>
          <button type="button" class="quiet" aria-label={`Play ${section.name} one time more`} onClick={() => sketch.repeat(id, 1)}>+</button>
        </span>
      </div>
    </li>
  );
}

const blocks_of = (list: HTMLElement) => [...list.querySelectorAll<HTMLElement>('.block')];
function neighbour(block: HTMLElement, step: number): HTMLElement | null {
  const all = blocks_of(block.parentElement!);
  return all[all.indexOf(block) + step]?.querySelector<HTMLElement>('.block-body') ?? null;
}

const begins_px = 6;     // below that it is a press
const touch_ms = 250;    // a finger that moves at once scrolls the page

/** Follows the pointer from a press on a block. `drop` is called with the block's new place if it is let go at another one. */
function drag(down: PointerEvent, block: HTMLElement, drop: (to: number) => void): void {
  if (down.button !== 0) return;
  const all = blocks_of(block.parentElement!);
  const from = all.indexOf(block);
  const boxes = all.map((each) => each.getBoundingClientRect());
  let ready = down.pointerType === 'mouse', dragging = false, to = from;
  // The block rises when it can be dragged, so that one need not guess how long to wait.
  const rise = ready ? 0 : window.setTimeout(() => {
    ready = true;
    block.classList.add('held');
  }, touch_ms);
  const move = (event: PointerEvent) => {
    if (event.pointerId !== down.pointerId) return;
    const dx = event.clientX - down.clientX, dy = event.clientY - down.clientY;
    if (!dragging && Math.hypot(dx, dy) < begins_px) return;
    if (!ready) return end();
    dragging = true;
    block.classList.add('dragged');
    block.style.transform = `translate(${dx}px, ${dy}px)`;
    to = place_at(boxes, event.clientX, event.clientY);
    all.forEach((each, i) => {
      each.classList.toggle('drop-before', i === to && to < from);
      each.classList.toggle('drop-after', i === to && to > from);
    });
  };
  const keep_still = (event: TouchEvent) => { if (ready) event.preventDefault(); };  // the finger drags and does not scroll
  const no_click = (event: MouseEvent) => { event.stopPropagation(); event.preventDefault(); };
  const no_menu = (event: Event) => event.preventDefault();  // the menu of a long press would end the drag
  const end = () => {
    clearTimeout(rise);
    removeEventListener('pointermove', move);
    removeEventListener('pointerup', up);
    removeEventListener('pointercancel', end);
    removeEventListener('keydown', escape, true);
    block.removeEventListener('touchmove', keep_still);
    block.removeEventListener('contextmenu', no_menu);
    block.classList.remove('dragged', 'held');
    block.style.transform = '';
    all.forEach((each) => each.classList.remove('drop-before', 'drop-after'));
  };
  const up = (event: PointerEvent) => {
    if (event.pointerId !== down.pointerId) return;
    if (dragging) {
      addEventListener('click', no_click, { capture: true, once: true });
      setTimeout(() => removeEventListener('click', no_click, { capture: true }));
    }
    const dropped = dragging && to !== from;
    end();
    if (dropped) drop(to);
  };
  const escape = (event: KeyboardEvent) => {
    if (event.key !== 'Escape' || !dragging) return;
    event.stopPropagation();
    end();
  };
  addEventListener('pointermove', move);
  addEventListener('pointerup', up);
  addEventListener('pointercancel', end);
  addEventListener('keydown', escape, true);
  block.addEventListener('touchmove', keep_still, { passive: false });
  if (!ready) block.addEventListener('contextmenu', no_menu);
}

/** The block whose place the pointer is at: in the nearest row, the one it is over. */
function place_at(boxes: DOMRect[], x: number, y: number): number {
  const apart = (box: DOMRect) => Math.max(box.left - x, 0, x - box.right) + 3 * Math.max(box.top - y, 0, y - box.bottom);
  return boxes.reduce((best, box, i) => (apart(box) < apart(boxes[best]!) ? i : best), 0);
}
