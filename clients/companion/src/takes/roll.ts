// Over 400 lines: all layers are drawn on one canvas with one time scale.
// The picture of a take: chords on a time line, notes, melody, loops, marks and pedal on one canvas, with an overview below.
//
// From afar, where notes would only be smears, it shows the passages: the loops as bands, the line of the melody and how wide
// the playing reaches, the keys. Both are drawn once into tiles, strips of the picture that are kept as images. Panning only
// moves tiles, so an hour with 50,000 notes moves as smoothly as a minute.
import { raised_share, symbol_parts } from '../music/chord';
import { clock, key_name, pretty } from '../music/text';
import type { Chord } from '../protocol';
import { symbol_of, symbol_style } from '../state';
import { lane_labels, type LaneRun } from './chord_lane';
import { first_at, first_from, holding, type TakeData } from './take_data';
import type { Band, Bar, Round } from './time_line';

const tile_px = 512;
const most_tiles = 48;
const ruler_h = 20, chords_h = 40, chord_px = 19, small_chord_px = 14, pedal_h = 7, overview_h = 44, gap_h = 6;
const widest_us_per_px = 60e6;
const narrowest_us_per_px = 1500;
const readable_us_per_px = 24e3;
const narrowest_note_px = 5;  // of the usual note; below it passages are drawn
const joined_us = 4e5;        // what follows a melody note so soon is joined to it
const bin_px = 3;             // of the passages

interface Colours { paper: string; raise: string; sink: string; ink: string; soft: string; line: string; call: string; song: string; call_paper: string }

export class Roll {
  cursor = 0;
  from = 0;          // time at the left edge
  us_per_px = 20e3;
  private data: TakeData | null = null;
  private width = 0;
  private height = 0;
  private dpr = 1;
  private tiles = new Map<string, HTMLCanvasElement>();
  private overview: HTMLCanvasElement | null = null;
  private dirty = 0;
  private colours!: Colours;
  private font = 'sans-serif';
  private bars: Bar[] = [];
  private bands: Band[] = [];
  private runs: LaneRun[] = [];
  private chosen: Band | null = null;
  private rounds: Round[] = [];
  private chord_times = new Float64Array();
  private key_names = new Map<TakeData['keys'][number], string>();  // the lane asks for them at every chord
  private widths = new Map<string, number>();  // of chord symbols and words in the lane

  constructor(private readonly canvas: HTMLCanvasElement, private readonly changed: () => void) {
    this.take_colours();
  }

  set_bars(bars: Bar[]): void {
    this.bars = bars;
    this.canvas.dataset.bars = String(bars.filter((bar) => bar.one).length);
    this.touch();
  }

  /** The times round the loops, by beginning, and what is written over those that follow each other. */
  set_bands(bands: Band[], runs: LaneRun[]): void {
    this.bands = bands;
    this.runs = runs;
    this.canvas.dataset.bands = String(bands.length);
    this.forget_pictures();
    this.touch();
  }
  /** The time round that is looked at. */
  choose_band(band: Band | null): void {
    this.chosen = band;
    this.touch();
  }

  set_rounds(rounds: Round[]): void {
    this.rounds = rounds;
    this.canvas.dataset.rounds = String(rounds.length);
    this.touch();
  }

  set_data(data: TakeData): void {
    const first = this.data === null;
    this.data = data;
    this.chord_times = Float64Array.from(data.chords, (each) => each.at);
    this.key_names = new Map(data.keys.map((each) => [each, key_name(each.harte)]));
    this.forget_pictures();
    if (first) this.fit(true);
    this.touch();
  }

  resize(width: number, height: number): void {
    if (width === this.width && height === this.height && devicePixelRatio === this.dpr) return;
    const fitted = this.data !== null && this.width > 0 && this.from === 0 && Math.abs(this.whole_us_per_px() - this.us_per_px) < 1;
    this.width = width;
    this.height = height;
    this.dpr = devicePixelRatio;
    this.canvas.width = Math.round(width * this.dpr);
    this.canvas.height = Math.round(height * this.dpr);
    this.forget_pictures();
    if (fitted) this.fit(true);
    this.touch();
  }

  take_colours(): void {
    const style = getComputedStyle(this.canvas);
    const of = (name: string) => style.getPropertyValue(`--${name}`).trim();
    this.colours = { paper: of('paper'), raise: of('raise'), sink: of('sink'), ink: of('ink'), soft: of('soft'), line: of('line'), call: of('call'), song: of('song'), call_paper: of('call-paper') };
    this.font = style.fontFamily;
    this.forget_pictures();
    this.touch();
  }

  forget_pictures(): void {
    this.tiles.clear();
    this.overview = null;
  }

  // ---- pan and zoom

  private whole_us_per_px(): number {
    return Math.min(widest_us_per_px, Math.max(narrowest_us_per_px, (this.data?.length ?? 1e6) / Math.max(1, this.width - 8)));
  }
  /** Shows the whole take, or only its beginning, large enough to read the chords. */
  fit(whole = false): void {
    this.us_per_px = whole ? this.whole_us_per_px() : Math.min(this.whole_us_per_px(), readable_us_per_px);
    this.from = 0;
    this.touch();
  }
  /** Near enough to read the chords, around a time. */
  read_at(time: number): void {
    this.us_per_px = Math.min(this.us_per_px, readable_us_per_px, this.whole_us_per_px());
    this.pan_to(time - this.width * 0.2 * this.us_per_px);
  }
  /** True where passages stand for notes. */
  get far(): boolean { return this.data !== null && this.data.notes.usual_length / this.us_per_px < narrowest_note_px; }
  zoom(factor: number, around_px = this.width / 2): void {
    const time = this.time_at(around_px);
    this.us_per_px = Math.min(this.whole_us_per_px(), Math.max(narrowest_us_per_px, this.us_per_px * factor));
    this.pan_to(time - around_px * this.us_per_px);
  }
  pan_to(from: number): void {
    const most = Math.max(0, (this.data?.length ?? 0) - (this.width - 8) * this.us_per_px);
    this.from = Math.min(most, Math.max(0, from));
    this.touch();
  }
  pan_px(px: number): void { this.pan_to(this.from + px * this.us_per_px); }
  set_cursor(time: number, follow = true): void {
    this.cursor = Math.min(this.data?.length ?? 0, Math.max(0, time));
    const px = this.px_of(this.cursor);
    if (follow && (px < 0 || px > this.width - 24)) this.pan_to(this.cursor - this.width * 0.1 * this.us_per_px);
    this.touch();
    this.changed();
  }
  time_at(px: number): number { return this.from + px * this.us_per_px; }
  px_of(time: number): number { return (time - this.from) / this.us_per_px; }
  /** True if this height is in the overview, where x covers the whole take. */
  in_overview(y: number): boolean { return y >= this.height - overview_h; }
  time_in_overview(x: number): number { return (x / Math.max(1, this.width)) * (this.data?.length ?? 0); }
  centre_on(time: number): void { this.pan_to(time - (this.width / 2) * this.us_per_px); }

  // ---- drawing

  touch(): void {
    if (!this.dirty) this.dirty = requestAnimationFrame(() => { this.dirty = 0; this.draw(); });
  }
  stop(): void { cancelAnimationFrame(this.dirty); }

  private get notes_top(): number { return ruler_h + chords_h; }
  private get notes_h(): number { return Math.max(40, this.height - this.notes_top - pedal_h - gap_h - overview_h); }

  private draw(): void {
    const data = this.data, ctx = this.canvas.getContext('2d', { alpha: false });
    if (!data || !ctx || this.width === 0) return;
    ctx.setTransform(this.dpr, 0, 0, this.dpr, 0, 0);
    ctx.fillStyle = this.colours.raise;
    ctx.fillRect(0, 0, this.width, this.height);
    // Choose the visible tiles. The picture moves by whole device pixels, so that tiles stay sharp.
    const first = Math.floor(this.from / (tile_px * this.us_per_px));
    const last = Math.floor((this.from + this.width * this.us_per_px) / (tile_px * this.us_per_px));
    for (let i = first; i <= last; ++i) {
      const x = Math.round((i * tile_px - this.from / this.us_per_px) * this.dpr) / this.dpr;
      ctx.drawImage(this.tile(i), x, this.notes_top, tile_px, this.notes_h);
    }
    this.canvas.dataset.view = this.far ? 'passages' : 'notes';
    this.draw_bands(ctx);
    this.draw_ruler(ctx);
    if (this.far) this.draw_keys(ctx, data);
    else this.draw_bars(ctx);
    this.draw_rounds(ctx);
    this.draw_chords(ctx, data);
    this.draw_marks(ctx, data);
    this.draw_kept(ctx, data);
    if (!this.far) this.draw_pedal(ctx, data);
    this.draw_overview(ctx, data);
    const x = Math.round(this.px_of(this.cursor));
    if (x >= -1 && x <= this.width) {
      ctx.fillStyle = this.colours.call;
      ctx.fillRect(x - 1, 0, 2, this.height - overview_h - gap_h);
      ctx.beginPath();
      ctx.moveTo(x - 6, 0); ctx.lineTo(x + 6, 0); ctx.lineTo(x, 9);
      ctx.fill();
    }
    // Draw the neighbouring tiles too, so that they are ready when panning reaches them.
    for (const i of [last + 1, first - 1]) {
      if (i >= 0 && !this.tiles.has(this.tile_key(i)) && i * tile_px * this.us_per_px < data.length) {
        setTimeout(() => this.data === data && this.tile(i));
        break;
      }
    }
  }

  private tile_key(i: number): string { return `${this.us_per_px}.${i}`; }

  private tile(i: number): HTMLCanvasElement {
    const key = this.tile_key(i);
    const have = this.tiles.get(key);
    if (have) return have;
    const tile = document.createElement('canvas');
    tile.width = Math.round(tile_px * this.dpr);
    tile.height = Math.round(this.notes_h * this.dpr);
    const ctx = tile.getContext('2d', { alpha: false })!;
    ctx.scale(this.dpr, this.dpr);
    ctx.fillStyle = this.colours.raise;
    ctx.fillRect(0, 0, tile_px, this.notes_h);
    const begin = i * tile_px * this.us_per_px;
    if (this.far) {
      this.draw_passages(ctx, begin, this.us_per_px, tile_px, 0, this.notes_h);
    } else {
      this.draw_notes(ctx, begin, this.us_per_px, tile_px, 0, this.notes_h);
      this.draw_melody(ctx, begin, this.us_per_px, tile_px, 0, this.notes_h);
    }
    if (this.tiles.size >= most_tiles) this.tiles.delete(this.tiles.keys().next().value!);
    this.tiles.set(key, tile);
    return tile;
  }

  private row(height: number): { low: number; h: number } {
    const { lowest, highest } = this.data!.notes;
    const low = lowest - 2, rows = Math.max(24, highest - lowest + 5);
    return { low, h: height / rows };
  }
  private y_of(pitch: number, top: number, height: number): number {
    const { low, h } = this.row(height);
    return top + height - (pitch - low + 1) * h;
  }

  private draw_notes(ctx: CanvasRenderingContext2D, begin: number, us_per_px: number, width: number, top: number, height: number): void {
    const { notes } = this.data!;
    const end = begin + width * us_per_px;
    const h = Math.max(1.5, this.row(height).h - 1);
    const shades = [0.2, 0.3, 0.42, 0.55];
    const paths = shades.map(() => new Path2D());
    const right = new Float64Array(128).fill(-1);  // how far the row of each key is covered already
    for (let i = first_from(notes.latest_end, begin); i < notes.count && notes.at[i]! < end; ++i) {
      const x = (notes.at[i]! - begin) / us_per_px;
      const w = Math.max(1.4, notes.length[i]! / us_per_px - 0.6);
      const pitch = notes.pitch[i]!;
      if (x + w < 0 || x + w <= right[pitch]! + 0.4) continue;
      right[pitch] = x + w;
      paths[notes.velocity[i]! >> 5]!.roundRect(x, this.y_of(pitch, top, height), w, h, Math.min(h, w) / 2);
    }
    ctx.fillStyle = this.colours.ink;
    shades.forEach((shade, i) => { ctx.globalAlpha = shade; ctx.fill(paths[i]!); });
    ctx.globalAlpha = 1;
  }

  private draw_melody(ctx: CanvasRenderingContext2D, begin: number, us_per_px: number, width: number, top: number, height: number): void {
    const { melody } = this.data!;
    const end = begin + width * us_per_px;
    const h = this.row(height).h;
    const notes = new Path2D(), way = new Path2D();
    const first = Math.max(0, first_at(melody, begin) - 2);
    for (let i = first; i < melody.length && melody[i]!.at < end; ++i) {
      const note = melody[i]!, next = melody[i + 1];
      const y = this.y_of(note.pitch, top, height) + h / 2;
      const x = (note.at - begin) / us_per_px, until = (note.until - begin) / us_per_px;
      notes.moveTo(x, y);
      notes.lineTo(until, y);
      if (!next || next.at - note.until > joined_us) continue;
      way.moveTo(until, y);
      way.lineTo((next.at - begin) / us_per_px, this.y_of(next.pitch, top, height) + h / 2);
    }
    ctx.strokeStyle = this.colours.song;
    ctx.lineCap = 'round';
    ctx.lineWidth = Math.max(3, Math.min(7, h * 0.8));
    ctx.stroke(notes);
    ctx.lineWidth = 1.5;
    ctx.globalAlpha = 0.55;
    ctx.stroke(way);
    ctx.globalAlpha = 1;
  }

  /** How wide the playing reaches, and the melody note that sounds longest in each small part. */
  private draw_passages(ctx: CanvasRenderingContext2D, begin: number, us_per_px: number, width: number, top: number, height: number): void {
    const { notes, melody } = this.data!;
    const bin = bin_px * us_per_px, count = Math.ceil(width / bin_px) + 1, h = this.row(height).h;
    const low = new Int16Array(count).fill(999), high = new Int16Array(count).fill(-1);
    for (let i = first_from(notes.latest_end, begin); i < notes.count && notes.at[i]! < begin + count * bin; ++i) {
      const from = Math.max(0, Math.floor((notes.at[i]! - begin) / bin)), to = Math.min(count - 1, Math.floor((notes.at[i]! + notes.length[i]! - begin) / bin));
      for (let k = from; k <= to; ++k) {
        low[k] = Math.min(low[k]!, notes.pitch[i]!);
        high[k] = Math.max(high[k]!, notes.pitch[i]!);
      }
    }
    const reach = new Path2D();
    for (let k = 0; k < count; ++k) {
      if (high[k]! < 0) continue;
      const y = this.y_of(high[k]!, top, height);
      reach.rect(k * bin_px, y, bin_px, this.y_of(low[k]!, top, height) + h - y);
    }
    ctx.fillStyle = this.colours.ink;
    ctx.globalAlpha = 0.09;
    ctx.fill(reach);
    ctx.globalAlpha = 1;
    const line = new Path2D();
    let before = -2;
    let i = Math.max(0, first_at(melody, begin) - 2);
    for (let k = 0; k < count; ++k) {
      const from = begin + k * bin, to = from + bin;
      while (i < melody.length && melody[i]!.until <= from) ++i;
      let longest = 0, pitch = -1;
      for (let m = i; m < melody.length && melody[m]!.at < to; ++m) {
        const sounds = Math.min(to, melody[m]!.until) - Math.max(from, melody[m]!.at);
        if (sounds > longest) [longest, pitch] = [sounds, melody[m]!.pitch];
      }
      if (pitch < 0) continue;
      const y = this.y_of(pitch, top, height) + h / 2;
      if (before === k - 1) line.lineTo(k * bin_px, y);
      else line.moveTo(k * bin_px, y);
      line.lineTo((k + 1) * bin_px, y);
      before = k;
    }
    ctx.strokeStyle = this.colours.song;
    ctx.lineWidth = 2;
    ctx.lineJoin = 'round';
    ctx.stroke(line);
  }

  /** The times round a loop: bands in two shades, so that one sees each. */
  private draw_bands(ctx: CanvasRenderingContext2D): void {
    const foot = this.notes_top + this.notes_h;
    for (const band of this.bands) {
      const x = this.px_of(band.at), w = band.length / this.us_per_px;
      if (x + w < 0 || x > this.width) continue;
      const chosen = band === this.chosen;
      ctx.fillStyle = chosen ? this.colours.call : band.loop === 0 ? this.colours.ink : this.colours.song;
      ctx.globalAlpha = chosen ? 0.2 : band.odd ? 0.05 : 0.12;
      ctx.fillRect(x, this.notes_top, w, this.notes_h);
      ctx.globalAlpha = 1;
      if (band.number === undefined || w < 22) continue;
      ctx.font = `650 11px ${this.font}`;
      ctx.textBaseline = 'middle';
      ctx.fillStyle = chosen ? this.colours.call : this.colours.soft;
      ctx.fillText(String(band.number), x + 4, foot - 9);
    }
  }

  /** The keys, at the foot of the passages, where there is room. */
  private draw_keys(ctx: CanvasRenderingContext2D, data: TakeData): void {
    ctx.font = `600 12px ${this.font}`;
    ctx.textBaseline = 'middle';
    ctx.fillStyle = this.colours.soft;
    let free = -Infinity, said = '';
    for (let i = 0; i < data.keys.length; ++i) {
      const end = this.px_of(data.keys[i + 1]?.at ?? data.length), x = Math.max(6, this.px_of(i === 0 ? 0 : data.keys[i]!.at) + 6);
      const words = key_name(data.keys[i]!.harte), w = ctx.measureText(words).width;
      if (words === said || x < free || x + w > Math.min(end, this.width)) continue;
      ctx.fillText(words, x, this.notes_top + this.notes_h - 26);
      free = x + w + 14;
      said = words;
    }
  }

  private draw_kept(ctx: CanvasRenderingContext2D, data: TakeData): void {
    ctx.fillStyle = this.colours.call;
    ctx.font = `13px ${this.font}`;
    ctx.textBaseline = 'middle';
    for (const { at, length } of data.kept) {
      const x = this.px_of(at), w = length / this.us_per_px;
      if (x + w < 0 || x > this.width) continue;
      ctx.fillRect(x, this.notes_top + this.notes_h - 3, w, 3);
      ctx.fillText('★', Math.max(2, x + 2), this.notes_top + this.notes_h - 22);
    }
  }

  private draw_ruler(ctx: CanvasRenderingContext2D): void {
    const { colours } = this;
    ctx.fillStyle = colours.sink;
    ctx.fillRect(0, 0, this.width, ruler_h);
    const steps = [0.1, 0.5, 1, 5, 10, 30, 60, 300, 600, 1800, 3600].map((s) => s * 1e6);
    const step = steps.find((each) => each / this.us_per_px > 76) ?? 3600e6;
    ctx.font = `11px ${this.font}`;
    ctx.textBaseline = 'middle';
    for (let t = Math.floor(this.from / step) * step; this.px_of(t) < this.width; t += step) {
      const x = Math.round(this.px_of(t));
      ctx.fillStyle = colours.line;
      ctx.fillRect(x, 0, 1, ruler_h);
      ctx.fillStyle = colours.soft;
      ctx.fillText(step < 1e6 ? `${clock(t)}.${Math.floor((t % 1e6) / 1e5)}` : clock(t), x + 4, ruler_h / 2);
    }
  }

  /** Draws bar lines, and beats if there is room. Draws nothing if the lines would be too dense. */
  private draw_bars(ctx: CanvasRenderingContext2D): void {
    const { bars } = this;
    const first = first_at(bars, this.from);
    if (bars.length < 2) return;
    const apart = (bars[bars.length - 1]!.at - bars[0]!.at) / (bars.length - 1) / this.us_per_px;
    if (apart * 4 < 14) return;
    ctx.fillStyle = this.colours.soft;
    for (let i = Math.max(0, first - 1); i < bars.length; ++i) {
      const x = Math.round(this.px_of(bars[i]!.at));
      if (x > this.width) break;
      if (!bars[i]!.one && apart < 14) continue;
      ctx.globalAlpha = bars[i]!.one ? 0.35 : 0.15;
      ctx.fillRect(x, this.notes_top, 1, this.notes_h);
      if (bars[i]!.one) ctx.fillRect(x - 1, this.notes_top, 3, 6);
    }
    ctx.globalAlpha = 1;
  }

  /** Draws where each pass of the loop began that was played over, with its number at the foot if there is room. */
  private draw_rounds(ctx: CanvasRenderingContext2D): void {
    const { colours } = this;
    const foot = this.notes_top + this.notes_h;
    let free = -Infinity;
    ctx.font = `650 12px ${this.font}`;
    ctx.textBaseline = 'middle';
    for (let i = first_at(this.rounds, this.from - 60 * this.us_per_px); i < this.rounds.length; ++i) {
      const x = Math.round(this.px_of(this.rounds[i]!.at));
      if (x > this.width) break;
      ctx.fillStyle = colours.ink;
      for (let y = this.notes_top; y < foot; y += 8) ctx.fillRect(x, y, 1.5, 4);  // dashed, unlike a bar
      if (x < free) continue;
      const text = `round ${this.rounds[i]!.number}`, w = ctx.measureText(text).width + 10;
      ctx.fillStyle = colours.paper;
      ctx.fillRect(x + 1.5, foot - 20, w, 20);
      ctx.fillStyle = colours.ink;
      ctx.fillText(text, x + 6, foot - 10);
      free = x + w;
    }
  }

  private draw_chords(ctx: CanvasRenderingContext2D, data: TakeData): void {
    const { colours } = this;
    ctx.fillStyle = colours.paper;
    ctx.fillRect(0, ruler_h, this.width, chords_h);
    const words_font = `italic 14px ${this.font}`;
    const labels = lane_labels({
      times: this.chord_times, end: data.length, runs: this.runs, width: this.width,
      px_of: (time) => this.px_of(time),
      chord_width: (i, small) => this.symbol_width(ctx, data.chords[i]!, small ? small_chord_px : chord_px),
      text_width: (text) => this.width_of(text, () => { ctx.font = words_font; return ctx.measureText(text).width; }),
      key_at: (time) => { const key = holding(data.keys, time) ?? data.keys[0]; return key ? this.key_names.get(key)! : ''; },
    });
    this.canvas.dataset.lane = labels.map((label) => label.text ?? pretty(symbol_of(data.chords[label.chord!]!))).join(' | ');
    for (const { x, chord, small, text } of labels) {
      ctx.fillStyle = colours.line;
      ctx.fillRect(Math.round(x), ruler_h, 1, chords_h);
      if (chord !== undefined) {
        this.write_symbol(ctx, data.chords[chord]!, small ? small_chord_px : chord_px, x + 4, ruler_h + chords_h * 0.66);
      } else {
        ctx.fillStyle = colours.soft;
        ctx.font = words_font;
        ctx.textBaseline = 'middle';
        ctx.fillText(text!, x + 4, ruler_h + chords_h / 2);
      }
    }
    for (let i = first_at(data.tried, this.from - 10 * this.us_per_px); i < data.tried.length; ++i) {
      const x = this.px_of(data.tried[i]!.at);
      if (x > this.width) break;
      ctx.fillStyle = colours.call;
      ctx.font = `700 11px ${this.font}`;
      ctx.fillText('✓', x + 2, ruler_h + chords_h - 5);
    }
  }

  private each_part(ctx: CanvasRenderingContext2D, chord: Chord, px: number, write: (text: string, x: number, lift: number) => void): number {
    const parts = symbol_parts(chord, symbol_style.peek());
    let x = 0;
    for (const [text, share, lift, weight] of [
      [parts.letter + parts.accidental, 1, 0, 700], [parts.quality, parts.quality.length > 1 ? raised_share : 1, 0, 400],
      [[parts.raised, ...parts.stacked].join(''), raised_share, 0.28, 400], [parts.bass && `/${parts.bass}`, raised_share, 0, 400],
    ] as const) {
      if (!text) continue;
      ctx.font = `${weight} ${px * share}px "Undersong Symbols", ${this.font}`;
      write(text, x, lift * px);
      x += ctx.measureText(text).width + 0.5;
    }
    return x;
  }
  private symbol_width(ctx: CanvasRenderingContext2D, chord: Chord, px: number): number {
    return this.width_of(`${symbol_of(chord)} ${px}`, () => this.each_part(ctx, chord, px, () => undefined));
  }
  private width_of(what: string, measure: () => number): number {
    let width = this.widths.get(what);
    if (width === undefined) this.widths.set(what, (width = measure()));
    return width;
  }
  private write_symbol(ctx: CanvasRenderingContext2D, chord: Chord, px: number, at: number, y: number): void {
    ctx.fillStyle = this.colours.ink;
    ctx.textBaseline = 'alphabetic';
    this.each_part(ctx, chord, px, (text, x, lift) => ctx.fillText(text, at + x, y - lift));
    ctx.textBaseline = 'middle';
  }

  private draw_marks(ctx: CanvasRenderingContext2D, data: TakeData): void {
    for (const mark of data.marks) {
      const x = Math.round(this.px_of(mark.at));
      if (x < -200 || x > this.width) continue;
      ctx.fillStyle = this.colours.call;
      ctx.fillRect(x, ruler_h, 1.5, this.notes_top + this.notes_h - ruler_h);
      ctx.beginPath();
      ctx.moveTo(x, this.notes_top + 2); ctx.lineTo(x + 13, this.notes_top + 7); ctx.lineTo(x, this.notes_top + 12);
      ctx.fill();
      ctx.font = `600 12px ${this.font}`;
      if (mark.text) ctx.fillText(mark.text, x + 17, this.notes_top + 8);
    }
  }

  private draw_pedal(ctx: CanvasRenderingContext2D, data: TakeData): void {
    const top = this.notes_top + this.notes_h;
    ctx.fillStyle = this.colours.sink;
    ctx.fillRect(0, top, this.width, pedal_h);
    ctx.fillStyle = this.colours.soft;
    for (let i = Math.max(0, first_at(data.pedal, this.from) - 1); i < data.pedal.length; ++i) {
      const x = this.px_of(data.pedal[i]!.at), end = this.px_of(data.pedal[i + 1]?.at ?? data.length);
      if (x > this.width) break;
      if (data.pedal[i]!.down) ctx.fillRect(x, top + 2, Math.max(1, end - x - 1), pedal_h - 4);
    }
  }

  private draw_overview(ctx: CanvasRenderingContext2D, data: TakeData): void {
    const top = this.height - overview_h;
    if (!this.overview) {
      const picture = document.createElement('canvas');
      picture.width = Math.round(this.width * this.dpr);
      picture.height = Math.round(overview_h * this.dpr);
      const small = picture.getContext('2d', { alpha: false })!;
      small.scale(this.dpr, this.dpr);
      small.fillStyle = this.colours.sink;
      small.fillRect(0, 0, this.width, overview_h);
      for (const band of this.bands) {
        small.fillStyle = this.colours.ink;
        small.globalAlpha = band.odd ? 0.06 : 0.14;
        small.fillRect((band.at / data.length) * this.width, 0, (band.length / data.length) * this.width, overview_h);
      }
      small.globalAlpha = 1;
      this.draw_passages(small, 0, data.length / this.width, this.width, 2, overview_h - 4);
      this.overview = picture;
    }
    ctx.drawImage(this.overview, 0, top, this.width, overview_h);
    const x = (this.from / data.length) * this.width;
    const w = Math.max(6, ((this.width * this.us_per_px) / data.length) * this.width);
    ctx.globalAlpha = 0.45;
    ctx.fillStyle = this.colours.paper;
    ctx.fillRect(0, top, x, overview_h);
    ctx.fillRect(x + w, top, this.width, overview_h);
    ctx.globalAlpha = 1;
    ctx.strokeStyle = this.colours.call;
    ctx.lineWidth = 2;
    ctx.strokeRect(Math.max(1, x), top + 1, Math.min(w, this.width - 2), overview_h - 2);
    for (const mark of data.marks) {
      ctx.fillStyle = this.colours.call;
      ctx.fillRect((mark.at / data.length) * this.width - 1, top, 2, 10);
    }
    ctx.fillStyle = this.colours.call;
    ctx.fillRect((this.cursor / data.length) * this.width - 0.5, top, 1.5, overview_h);
  }
}
