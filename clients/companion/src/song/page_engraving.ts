// Engraves a part as pages of a paper's size, each one drawing. Loaded when the first page is wanted: the engraving library is larger
// than everything else of the page together.
import { OpenSheetMusicDisplay, type IOSMDOptions } from 'opensheetmusicdisplay';
import { chord_ink, chord_texts, is_chord_text } from './page_chords';
import { papers, type Paper } from './papers';

// The library's unit is ten pixels of the width at which it is asked to draw; a staff is four units high.
const staff_units = 4, pixels_a_unit = 10;
const margin_mm = 14;
const bars_a_line = 4;  // of a part with one staff
const fonts = '"Undersong Signs", "Atkinson Hyperlegible Next", sans-serif';

export interface Wish {
  musicxml: string;
  part: string;      // its name, below the title
  paper: Paper;
  staff_mm: number;  // the height of a staff on paper
}

/** Throws the library's error if it cannot read the part. */
export async function engrave_pages({ musicxml, part, paper, staff_mm }: Wish): Promise<SVGSVGElement[]> {
  const { width_mm, height_mm, format } = papers[paper];
  const unit_mm = staff_mm / staff_units, width = Math.round((width_mm / unit_mm) * pixels_a_unit);
  const score = new DOMParser().parseFromString(musicxml, 'application/xml');
  const staves = score.querySelectorAll('score-part').length;
  // It measures text where it draws, so its place has to be in the document, out of sight.
  const place = document.createElement('div');
  place.className = 'engraving-place';
  place.style.width = `${width}px`;
  document.body.append(place);
  try {
    await Promise.all([document.fonts.load('16px "Atkinson Hyperlegible Next"'), document.fonts.load('700 16px "Undersong Symbols"'), document.fonts.load('16px "Undersong Signs"', '♭♯')]);
    const options: IOSMDOptions = {
      backend: 'svg', pageFormat: format, pageBackgroundColor: '#ffffff', autoResize: false, followCursor: false, disableCursor: true, drawComposer: false, drawLyricist: false,
      newSystemFromXML: true, drawMeasureNumbersOnlyAtSystemStart: true, drawPartNames: staves > 1, drawPartAbbreviations: staves > 1, defaultFontFamily: fonts,
    };
    const display = new OpenSheetMusicDisplay(place, options);
    const rules = display.EngravingRules;
    rules.PageTopMargin = rules.PageBottomMargin = rules.PageLeftMargin = rules.PageRightMargin = margin_mm / unit_mm;
    rules.TitleTopDistance = margin_mm / unit_mm;
    rules.SheetTitleHeight = 3.4;
    rules.SheetSubtitleHeight = 1.9;
    rules.ChordSymbolTextHeight = 2.7;
    rules.MeasureNumberLabelHeight = 1.3;
    rules.RehearsalMarkFontSize = 15;
    rules.StretchLastSystemLine = true;
    if (staves === 1) rules.RenderXMeasuresPerLineAkaSystem = bars_a_line;
    await display.load(score);
    display.Sheet.SubtitleString = part;
    name_chords(display, score);
    display.updateGraphic();
    display.render();
    const pages = [...place.querySelectorAll('svg')];
    const title = score.querySelector('work-title')?.textContent ?? '';
    pages.forEach((page, i) => finish(page, { width, height: (height_mm / width_mm) * width, place: i, count: pages.length, foot: `${title}, ${part}` }));
    return pages;
  } finally {
    place.remove();
  }
}

/** The chords as they are named everywhere in Undersong. If the library reads other chords than there are, its own names stay. */
function name_chords(display: OpenSheetMusicDisplay, score: Document): void {
  const texts = chord_texts(score);
  const read = display.Sheet.SourceMeasures.flatMap((measure) => measure.VerticalSourceStaffEntryContainers.flatMap((at) => at.StaffEntries.flatMap((entry) => entry?.ChordContainers ?? [])));
  if (read.length === texts.length) read.forEach((chord, i) => (chord.NumeralText = texts[i]!));  // it is written instead of what the library makes of the kind
}

function finish(page: SVGSVGElement, { width, height, place, count, foot }: { width: number; height: number; place: number; count: number; foot: string }): void {
  page.setAttribute('viewBox', `0 0 ${width} ${Math.round(height)}`);
  for (const name of ['width', 'height', 'id']) page.removeAttribute(name);
  page.setAttribute('role', 'img');
  page.setAttribute('aria-label', `Page ${place + 1} of ${count}`);
  for (const text of page.querySelectorAll('text')) if (is_chord_text(text.textContent)) chord_ink(text);
  if (count === 1) return;
  const number = document.createElementNS('http://www.w3.org/2000/svg', 'text');
  number.setAttribute('x', String(width / 2));
  number.setAttribute('y', String(Math.round(height) - 60));
  number.setAttribute('text-anchor', 'middle');
  number.setAttribute('font-size', '16');
  number.setAttribute('font-family', fonts);
  number.textContent = place === 0 ? '1' : `${foot}: ${place + 1}`;
  page.append(number);
}
