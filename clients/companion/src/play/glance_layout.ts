// Where the parts of the glance lie and how large its type is. Nothing in it is ever smaller than can be read from the seat: in a
// small window there are fewer cards, not smaller words.
//
// A pure function of the window and of what an arc minute spans there. Units: CSS pixels.
import { raised_share } from '../music/chord';
import { capital, least } from './seat_angles';

/** How a card is laid out: everything in a column; two columns; a row; with one word of the colour; name and degree alone. */
export type Form = 'tall' | 'pair' | 'row' | 'lone' | 'brief';

export interface GlanceLayout {
  gap: number;
  word: number;       // size of the font of words
  name: number;       // of the names of chords on cards
  head: number;       // the least for the chord that sounds; it takes more if there is room
  head_at: 'top' | 'left';
  head_size: number;  // height of the headline's part when it is at the top, else its width
  count: number;      // cards
  columns: number;
  form: Form;
  key: boolean;       // is there room for the key, the other readings, the beat?
  readings: boolean;
  beat: boolean;
  actions_at: 'bottom' | 'right';
  actions_size: number;
  action_word: number;  // size of the words on the buttons; 0: there is no room for them
}

/** Between the parts. */
export const gap_of = (width: number, height: number) => Math.max(6, Math.min(16, 0.007 * Math.min(width, height)));
/** The width of the two buttons beside the headline. */
const chrome_of = (width: number, height: number) => Math.max(44, 0.035 * Math.min(width, height));
const most_cards = 5;

/** Room that a card needs, with the sizes of the fonts of names and words. */
const forms: Record<Form, (name: number, word: number) => { width: number; height: number }> = {
  tall: (name, word) => ({ width: Math.max(3.1 * name, 5.6 * word) + 1.2 * word, height: 1.3 * name + 3.85 * word + 0.7 * word }),
  pair: (name, word) => ({ width: 3.1 * name + 7 * word, height: 1.3 * name + 1.4 * word + 0.6 * word }),
  row: (name, word) => ({ width: 3.1 * name + 12.4 * word, height: Math.max(1.3 * name, 2.4 * word) + 0.4 * word }),
  lone: (name, word) => ({ width: Math.max(2.8 * name, 5.6 * word) + 1.2 * word, height: 1.25 * name + 2.35 * word + 0.35 * word }),
  brief: (name, word) => ({ width: 2.8 * name + 3.2 * word, height: 1.25 * name + 0.2 * word }),
};
const both_words: Form[] = ['tall', 'pair', 'row'];

export function lay_out_glance(width: number, height: number, minute_px: number): GlanceLayout {
  const least_word = (least.word * minute_px) / capital.text;
  const least_name = (least.word * minute_px) / (capital.symbols * raised_share);
  const head = (least.head * minute_px) / capital.symbols;

  const gap = gap_of(width, height), chrome_size = chrome_of(width, height);
  const side = height < 430 && width > 1.35 * height;
  const action_words = !side && 1.35 * least_name <= Math.max(68, 0.09 * height) && width > 23 * least_word;
  const actions_size = side ? 52 : Math.max(height < 300 ? 44 : 48, action_words ? 1.35 * least_name : 0, height > 700 ? Math.min(150, 0.07 * height) : 0);
  const action_word = action_words ? Math.max(least_word, Math.min(0.38 * actions_size, width / 28)) : 0;
  const inner_width = width - 2 * gap - (side ? actions_size + gap : 0);
  const inner_height = height - 2 * gap - (side ? 0 : actions_size + gap);

  const fits = (count: number, form: Form, scale: number): GlanceLayout | null => {
    const word = least_word * scale, name = least_name * scale;
    const card = forms[form](name, word);
    const headline = Math.max(head, 1.5 * name);
    let best: GlanceLayout | null = null;
    for (let columns = 1; columns <= count; ++columns) {
      const rows = Math.ceil(count / columns);
      const cards_width = columns * card.width + (columns - 1) * gap, cards_height = rows * card.height + (rows - 1) * gap;
      for (const head_at of ['top', 'left'] as const) {
        const free = head_at === 'top' ? inner_height - cards_height - gap : inner_width - cards_width - gap;
        const least_free = head_at === 'top' ? 1.32 * headline + 1.3 * word : Math.max(2.7 * headline, 7.5 * word) + chrome_size;
        const across = head_at === 'top' ? cards_width <= inner_width : cards_height <= inner_height && inner_height >= 1.32 * headline + 1.3 * word;
        if (!across || free < least_free) continue;
        // Cards share what is left over with the headline.
        const spare = head_at === 'top' ? inner_height : inner_width;
        const head_size = Math.max(least_free, Math.min(free, spare * (head_at === 'top' ? 0.46 : 0.42)));
        const face_height = head_at === 'top' ? head_size : inner_height;
        const lines = Math.floor((face_height - 1.32 * headline - 1.3 * word) / (1.35 * word));
        const face_width = head_at === 'top' ? inner_width - chrome_size : head_size - chrome_size;
        const made: GlanceLayout = {
          gap, word, name, head, head_at, head_size, count, columns, form,
          key: lines >= 1 && face_width > 7.2 * word, readings: lines >= 2 && face_width > 7.2 * word, beat: lines >= 3 && face_width > 7.2 * word,
          actions_at: side ? 'right' : 'bottom', actions_size, action_word,
        };
        // Of equals, the one whose cards come nearest to a comfortable shape, and with no place left empty.
        const empty = columns * rows - count;
        const wide = head_at === 'top' ? inner_width : inner_width - head_size - gap;
        const shape = Math.abs(Math.log(((wide / columns) * card.height) / (((head_at === 'top' ? inner_height - head_size : inner_height) / rows) * card.width)));
        const cost = empty * 0.6 + shape;
        if (!best || cost < costs.get(best)!) {
          best = made;
          costs.set(made, cost);
        }
      }
    }
    return best;
  };
  const costs = new Map<GlanceLayout, number>();
  const largest = (count: number, form_list: Form[]): GlanceLayout | null => {
    for (let step = 60; step >= 0; --step) {
      let best: GlanceLayout | null = null;
      for (const form of form_list) {
        const made = fits(count, form, 1.04 ** step);
        if (made && (!best || costs.get(made)! < costs.get(best)!)) best = made;
      }
      if (best) return best;
    }
    return null;
  };
  for (let count = most_cards; count > 0; --count) {
    const made = largest(count, both_words) ?? largest(count, ['lone']);
    if (made) return made;
  }
  for (let count = most_cards; count > 0; --count) {
    const made = fits(count, 'brief', 1);
    if (made) return made;
  }
  return {
    gap, word: least_word, name: least_name, head, head_at: 'top', head_size: inner_height, count: 0, columns: 1, form: 'brief',
    key: false, readings: false, beat: false, actions_at: side ? 'right' : 'bottom', actions_size, action_word,
  };
}
