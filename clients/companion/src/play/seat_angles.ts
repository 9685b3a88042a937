// How far the player sits from the screen, and how large type must be to be read from there.
//
// Units: arc minutes at the eye, millimetres on the screen, CSS pixels. Source: ISO 9241-303 asks for characters of at least 16
// arc minutes and recommends 20 to 22; the height of a character is that of its capitals.
export const distances_cm = [50, 100, 150] as const;

/** The least height of a capital, in arc minutes. */
export const least = { word: 16, head: 40 } as const;

/** Height of a capital as a share of the size of the font, in the page's own fonts. */
export const capital = { text: 0.668, symbols: 0.722 } as const;

export function angle_to_mm(minutes: number, distance_mm: number): number {
  return 2 * distance_mm * Math.tan((minutes / 60 / 2) * (Math.PI / 180));
}

export interface Screen {
  width: number;
  height: number;
  touch: boolean;
}

const reference_mm = 25.4 / 96;  // the CSS reference pixel
/** Millimetres of a CSS pixel. Without the diagonal it is guessed, rather too small than too large, so that type is large enough. */
export function pixel_mm(screen: Screen, diagonal_inch: number): number {
  const diagonal_px = Math.hypot(screen.width, screen.height);
  if (diagonal_inch > 0 && diagonal_px > 0) return (diagonal_inch * 25.4) / diagonal_px;
  if (screen.touch) return Math.min(screen.width, screen.height) < 500 ? 0.16 : 0.19;  // telephones, tablets
  return Math.min(reference_mm, 690 / Math.max(1, diagonal_px));  // a desk has no screen much below 27 inches that shows more
}
