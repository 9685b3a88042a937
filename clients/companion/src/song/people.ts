// Who a part can be written for, and which page each gets.
export interface Page {
  file: string;
  name: string;  // of the part, as it is written on the page
}
export interface Person {
  who: string;
  name: string;
  gets: string;
  pages: [Page, ...Page[]];
  staff_mm: number;  // how high a staff is printed: smaller where many stand above each other
}

const one_staff_mm = 7;

export const people: readonly Person[] = [
  { who: 'singer', name: 'Singer', gets: 'melody, words, chord symbols', pages: [{ file: 'lead_sheet.musicxml', name: 'Lead sheet' }], staff_mm: one_staff_mm },
  { who: 'pianist', name: 'Pianist', gets: 'the melody above both hands', pages: [{ file: 'piano.musicxml', name: 'Piano' }], staff_mm: 6.2 },
  { who: 'guitarist', name: 'Guitarist', gets: 'the chords, four bars a line', pages: [{ file: 'chords.musicxml', name: 'Chords' }], staff_mm: one_staff_mm },
  { who: 'bass', name: 'Bass player', gets: 'bass line and chord symbols', pages: [{ file: 'bass.musicxml', name: 'Bass' }], staff_mm: one_staff_mm },
  { who: 'strings', name: 'Strings', gets: 'the section, and a part each',
    pages: [{ file: 'strings.musicxml', name: 'Strings together' }, { file: 'violin_1.musicxml', name: 'Violin I' }, { file: 'violin_2.musicxml', name: 'Violin II' },
            { file: 'viola.musicxml', name: 'Viola' }, { file: 'cello.musicxml', name: 'Cello' }], staff_mm: 6.2 },
  { who: 'b_flat', name: 'B♭ instrument', gets: 'trumpet, clarinet, tenor saxophone', pages: [{ file: 'lead_sheet_b_flat.musicxml', name: 'Lead sheet in B♭' }], staff_mm: one_staff_mm },
  { who: 'e_flat', name: 'E♭ instrument', gets: 'alto and baritone saxophone', pages: [{ file: 'lead_sheet_e_flat.musicxml', name: 'Lead sheet in E♭' }], staff_mm: one_staff_mm },
  { who: 'conductor', name: 'Conductor', gets: 'the score: everyone together', pages: [{ file: 'score.musicxml', name: 'Score' }], staff_mm: 4.6 },
];
