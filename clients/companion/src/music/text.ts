// Musical text for display and for screen readers.

/** "Bb", "Bbm7b5", "#11", "Eb4" with real flats and sharps; other words stay as they are. */
export function pretty(text: string): string {
  return text
    .replace(/\b([A-G])(bb|##|b|#)(?=(?:maj|min|m|dim|aug|sus|add|alt)?(?![a-z]))/g, (_, letter: string, sign: string) => letter + real_signs(sign))
    .replace(/(^|[^A-Za-z])(bb|##|b|#)(?=\d)/g, (_, before: string, sign: string) => before + real_signs(sign));
}

/** b and # as flats and sharps; only for text without any other b. */
export function real_signs(text: string): string {
  return text.replaceAll('bb', '𝄫').replaceAll('##', '𝄪').replaceAll('b', '♭').replaceAll('#', '♯');
}

/** "1 note", "2 notes" */
export const plural = (count: number, one: string) => `${count} ${one}${count === 1 ? '' : 's'}`;

/** Microseconds as 1:07 or 1:02:07. */
export function clock(us: number): string {
  const seconds = Math.max(0, Math.floor(us / 1e6));
  const h = Math.floor(seconds / 3600), m = Math.floor(seconds / 60) % 60, s = seconds % 60;
  const two = (n: number) => String(n).padStart(2, '0');
  return h > 0 ? `${h}:${two(m)}:${two(s)}` : `${m}:${two(s)}`;
}

/** "Eb:min" as "E♭ minor". */
export function key_name(harte: string): string {
  const [tonic = '', mode = ''] = harte.split(':');
  return `${pretty(tonic)} ${mode === 'min' ? 'minor' : 'major'}`;
}

const names = ['C', 'D♭', 'D', 'E♭', 'E', 'F', 'F♯', 'G', 'A♭', 'A', 'B♭', 'B'];
/** The common name of a key of the keyboard, used while no harmony is known. */
export function plain_pitch(pitch: number): string {
  return `${names[pitch % 12]}${Math.floor(pitch / 12) - 1}`;
}
export const pitch_class_names: readonly string[] = names;
