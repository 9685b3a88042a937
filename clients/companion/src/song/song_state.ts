// What the song screen knows about one take: its loop, the proposed chords, and the player's wishes.
import { signal, type Signal } from '@preact/signals';
import type { Reharmonise, Reharmonised, TakeLoop, TakeSummary } from '../protocol';
import { ask } from '../state';

export type Roots = NonNullable<Reharmonise['roots']>;
export interface Wish {
  brighter: number;
  tenser: number;
  surprising: number;
  roots: Roots;
  pedal: string;    // the bass stays on this note, or on the best one for "any"; empty: it moves
  section: string;  // empty: the one with the most passes
  keep: number[];   // places in the loop, counted from 1
}
export type Part = 'loop' | 'others' | 'sketch' | 'parts';

const wait_ms = 220;

export class SongState {
  readonly part: Signal<Part> = signal('loop');
  readonly summary = signal<TakeSummary | null>(null);
  readonly loop = signal<TakeLoop | null>(null);
  readonly no_loop = signal('');  // the daemon's sentence if there is no loop
  readonly wish = signal<Wish>({ brighter: 0, tenser: 0, surprising: 0, roots: 'any', pedal: '', section: '', keep: [] });
  readonly others = signal<Reharmonised | null>(null);
  readonly no_others = signal('');
  readonly asking = signal(false);  // what is shown was made for earlier wishes
  private timer = 0;
  private asked = 0;
  private known = '';

  constructor(readonly take: number) {}

  async load(): Promise<void> {
    const { summary } = await ask('take.get', { take: this.take });
    this.summary.value = summary;
    try {
      const got = await ask('take.loop', { take: this.take });
      const now = JSON.stringify(got);
      if (now !== this.known) {
        this.known = now;
        const places = got.chords.length;
        this.wish.value = { ...this.wish.peek(), keep: this.wish.peek().keep.filter((place) => place <= places) };
        this.loop.value = got;
        this.ask_others(0);
      } else if (!this.others.peek() || this.no_others.peek()) {
        this.ask_others(0);
      }
      this.no_loop.value = '';
    } catch (error) {
      this.loop.value = null;
      this.known = '';
      this.no_loop.value = (error as Error).message;
    }
  }

  change(part: Partial<Wish>): void {
    this.wish.value = { ...this.wish.peek(), ...part };
    this.ask_others(wait_ms);
  }

  /** Choosing the same again clears it. */
  pin(place: number): void {
    const { keep } = this.wish.peek();
    this.change({ keep: keep.includes(place) ? keep.filter((each) => each !== place) : [...keep, place].sort((a, b) => a - b) });
  }

  private ask_others(wait: number): void {
    clearTimeout(this.timer);
    this.asking.value = true;
    this.timer = window.setTimeout(() => void this.fetch_others(), wait);
  }

  private async fetch_others(): Promise<void> {
    const number = ++this.asked;
    const { section, pedal, ...rest } = this.wish.peek();
    try {
      const got = await ask('take.reharmonise', { take: this.take, ...rest, count: 8, ...(section ? { section } : {}), ...(pedal ? { pedal } : {}) });
      if (number !== this.asked) return;
      this.others.value = got;
      this.no_others.value = '';
    } catch (error) {
      if (number !== this.asked) return;
      this.no_others.value = (error as Error).message;
    }
    this.asking.value = false;
  }

  leave(): void {
    clearTimeout(this.timer);
    ++this.asked;
  }
}
