// Prints the pages of a part and nothing else, each as large as the paper. What is to be printed is copied to the end of the document
// while the browser prints, so that neither controls nor the size of the window matter.
import { papers, type Paper } from './papers';

let shown: { pages: () => Element[]; title: string } | null = null;
let copy: HTMLElement | null = null;
let title_before = '';
// The size of the paper cannot be in a style sheet that is a file, and the content security policy forbids inline styles.
const paper_sheet = new CSSStyleSheet();

/** What the browser prints until the returned function is called. `title`: the name of the file if it is saved as one. */
export function print_these(pages: () => Element[], paper: Paper, title: string): () => void {
  const mine = { pages, title };
  shown = mine;
  const { width_mm, height_mm } = papers[paper];
  paper_sheet.replaceSync(`@page { size: ${width_mm}mm ${height_mm}mm; margin: 0; } @media print { .print-pages svg { width: ${width_mm}mm; height: ${height_mm - 0.2}mm; } }`);
  if (!document.adoptedStyleSheets.includes(paper_sheet)) document.adoptedStyleSheets.push(paper_sheet);
  return () => {
    if (shown !== mine) return;
    shown = null;
    document.adoptedStyleSheets = document.adoptedStyleSheets.filter((each) => each !== paper_sheet);
  };
}

addEventListener('beforeprint', () => {
  const pages = shown?.pages() ?? [];
  if (copy || pages.length === 0) return;
  copy = document.createElement('div');
  copy.className = 'print-pages';
  copy.append(...pages.map((page) => page.cloneNode(true)));
  document.body.append(copy);
  document.documentElement.classList.add('prints-pages');
  title_before = document.title;
  document.title = shown!.title;
});
addEventListener('afterprint', () => {
  if (!copy) return;
  copy.remove();
  copy = null;
  document.documentElement.classList.remove('prints-pages');
  document.title = title_before;
});
