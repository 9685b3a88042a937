// Files that the daemon hands over, saved by the browser.
import type { HandedFile, HandedOver } from '../protocol';

const kinds: Record<string, string> = { mid: 'audio/midi', musicxml: 'application/vnd.recordare.musicxml+xml', txt: 'text/plain', zip: 'application/zip' };

export const bytes_of = (file: HandedFile) => Uint8Array.from(atob(file.base64), (c) => c.charCodeAt(0));
export const text_of = (file: HandedFile) => new TextDecoder().decode(bytes_of(file));

function save(name: string, bytes: Uint8Array<ArrayBuffer>): void {
  const link = document.createElement('a');
  link.href = URL.createObjectURL(new Blob([bytes], { type: kinds[name.split('.').at(-1)!] ?? 'application/octet-stream' }));
  link.download = name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 10_000);
}

export const save_file = (folder: string, file: HandedFile) => save(`${folder}-${file.name}`, bytes_of(file));

/** Packs all of them into one file, because browsers ask before a page may save several. */
export async function save_all({ folder, files }: HandedOver): Promise<void> {
  const { zipSync } = await import('fflate');
  const inside = Object.fromEntries(files.map((file) => [`${folder}/${file.name}`, bytes_of(file)]));
  save(`${folder}.zip`, zipSync(inside) as Uint8Array<ArrayBuffer>);
}
