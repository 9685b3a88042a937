// The sizes of paper that a part is printed on.
export type Paper = 'a4' | 'letter';

export const papers: Record<Paper, { name: string; width_mm: number; height_mm: number; format: string }> = {
  a4: { name: 'A4', width_mm: 210, height_mm: 297, format: 'A4_P' },
  letter: { name: 'Letter', width_mm: 215.9, height_mm: 279.4, format: 'Letter_P' },
};

/** What is usual where the browser's language is spoken: Letter in North America and some of its neighbours, else A4. */
export function usual_paper(language: string): Paper {
  return /-(US|CA|MX|PH|CL|CO|VE|GT|CR|PR)$/i.test(language) ? 'letter' : 'a4';
}
