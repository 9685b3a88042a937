// Brings MIDI files into the takes: one after another, in pieces, with a count and the time left.
import { computed, effect, signal } from '@preact/signals';
import { ask, daemon } from '../state';
import { RpcError } from '../wire/connection';

export interface Dropped { file: File; path: string }

export interface Bringing {
  all: number;
  done: number;
  brought: number;
  known: number;
  refused: string[];
  began_ms: number;
  /** What ended it: all files, or the player; empty while it goes on. */
  end: '' | 'all' | 'stopped';
}
export const bringing = signal<Bringing | null>(null);
export const is_bringing = computed(() => bringing.value?.end === '');

const piece_bytes = 40 * 1024;  // as take.bring allows
const largest_bytes = 16 * 1024 * 1024;
const limit_is_reached = -32004;
const wait_ms = 500;

const stop_wanted = signal(false);
export function stop_bringing(): void {
  stop_wanted.value = true;
}

const is_midi = (name: string) => /\.(mid|midi|smf)$/i.test(name);

async function base64(blob: Blob): Promise<string> {
  let text = '';
  for (const byte of new Uint8Array(await blob.arrayBuffer())) text += String.fromCharCode(byte);
  return btoa(text);
}

/** Resolves when the daemon is there, or the player wants no more. */
function connected(): Promise<void> {
  return new Promise((done) => {
    const stop = effect(() => {
      if (daemon.link.value !== 'open' && !stop_wanted.value) return;
      queueMicrotask(() => stop());
      done();
    });
  });
}

async function send(file: File): Promise<{ known: boolean }> {
  for (let offset = 0; ;) {
    const end = Math.min(file.size, offset + piece_bytes);
    const got = await ask('take.bring', {
      file: file.name, size: file.size, offset, base64: await base64(file.slice(offset, end)), changed_utc_ms: file.lastModified,
    });
    if (got.take !== undefined) return { known: got.known };
    offset = end;
  }
}

/** The same, again and again while the daemon is away or busy. Null if the player stopped it. */
async function send_patiently(file: File): Promise<{ known: boolean } | null> {
  while (!stop_wanted.peek()) {
    try {
      return await send(file);
    } catch (error) {
      const lost = error instanceof RpcError && error.code === 0;
      const busy = error instanceof RpcError && error.code === limit_is_reached;
      if (!lost && !busy) throw error;
      await new Promise((done) => setTimeout(done, wait_ms));
      if (lost) await connected();
    }
  }
  return null;
}

export async function bring(files: Dropped[]): Promise<void> {
  if (is_bringing.peek() || files.length === 0) return;
  stop_wanted.value = false;
  const now: Bringing = { all: files.length, done: 0, brought: 0, known: 0, refused: [], began_ms: Date.now(), end: '' };
  const tell = () => (bringing.value = { ...now });
  tell();
  for (const { file, path } of files) {
    if (stop_wanted.peek()) break;
    try {
      if (file.size === 0) throw new Error('The file is empty.');
      if (file.size > largest_bytes) throw new Error(`The file is larger than ${largest_bytes >> 20} MB.`);
      const got = await send_patiently(file);
      if (!got) break;
      if (got.known) now.known++;
      else now.brought++;
    } catch (error) {
      now.refused.push(`${path}: ${error instanceof Error ? error.message : String(error)}`);
    }
    now.done++;
    tell();
  }
  now.end = now.done === now.all ? 'all' : 'stopped';
  tell();
}

// ---- what was dropped or chosen

async function below(entry: FileSystemEntry, path: string, out: Dropped[]): Promise<void> {
  const here = path + entry.name;
  if (entry.isFile) {
    const file = await new Promise<File>((done, failed) => (entry as FileSystemFileEntry).file(done, failed)).catch(() => null);
    // In a folder other files are passed over; a file that was dropped by itself is meant.
    if (file && (path === '' || is_midi(file.name))) out.push({ file, path: here });
    return;
  }
  const reader = (entry as FileSystemDirectoryEntry).createReader();
  for (;;) {  // browsers give a hundred at a time
    const some = await new Promise<FileSystemEntry[]>((done, failed) => reader.readEntries(done, failed)).catch(() => []);
    if (some.length === 0) return;
    for (const each of some) await below(each, `${here}/`, out);
  }
}

export async function dropped_files(transfer: DataTransfer): Promise<Dropped[]> {
  // All entries first: the list is empty once anything was waited for.
  const entries = [...transfer.items].map((item) => item.webkitGetAsEntry()).filter((entry) => entry !== null);
  const plain = entries.length === 0 ? [...transfer.files] : [];
  const out = plain.map((file) => ({ file, path: file.name }));
  for (const entry of entries) await below(entry, '', out);
  return in_order(out);
}

export function chosen_files(files: FileList): Dropped[] {
  const all = [...files].map((file) => ({ file, path: file.webkitRelativePath || file.name }));
  return in_order(all.filter(({ file, path }) => path === file.name || is_midi(file.name)));
}

const in_order = (files: Dropped[]) => files.sort((a, b) => (a.path < b.path ? -1 : a.path > b.path ? 1 : 0));
