// A take seen from afar: the range of keys from its beginning to its end, darker where more was played.
import { useEffect, useRef, useState } from 'preact/hooks';
import type { TakeThumbnail, TakeSummary } from '../protocol';
import { ask } from '../state';

const spans = 96, width = 96, height = 30;
const kept = new Map<string, TakeThumbnail>();
const most_kept = 400;

// One at a time: a thumbnail reads a whole take, and the daemon has better things to do.
let queue: Promise<unknown> = Promise.resolve();
function fetch_thumbnail(take: TakeSummary, still_wanted: () => boolean): Promise<TakeThumbnail | null> {
  const key = `${take.begin_utc_ms}.${take.take}.${take.last_line}`;
  const have = kept.get(key);
  if (have) return Promise.resolve(have);
  const next = queue.then(async () => {
    if (!still_wanted()) return null;
    const got = await ask('take.thumbnail', { take: take.take, spans });
    if (kept.size >= most_kept) kept.delete(kept.keys().next().value!);
    kept.set(key, got);
    return got;
  });
  queue = next.catch(() => undefined);
  return next;
}

function paths(seen: TakeThumbnail): string[] {
  const played = seen.notes.map((notes, i) => ({ notes, i })).filter((each) => each.notes > 0);
  if (played.length === 0) return [];
  const low = Math.min(...played.map(({ i }) => seen.lowest[i]!)) - 1;
  const high = Math.max(...played.map(({ i }) => seen.highest[i]!)) + 1;
  const most = Math.max(...seen.notes);
  const y = (pitch: number) => height - 1 - ((pitch - low) / Math.max(8, high - low)) * (height - 2);
  const out = ['', '', ''];
  for (const { notes, i } of played) {
    const top = y(seen.highest[i]!), bottom = y(seen.lowest[i]!);
    const level = Math.min(2, Math.floor((notes / most) * 3));
    out[level] += `M${i} ${(top - 1).toFixed(1)}h1v${(bottom - top + 2).toFixed(1)}h-1z`;
  }
  return out;
}

export function Thumbnail({ take }: { take: TakeSummary }) {
  const place = useRef<SVGSVGElement>(null);
  const [drawn, set] = useState<TakeThumbnail | null>(null);
  useEffect(() => {
    let wanted = true;
    const watch = new IntersectionObserver((seen) => {
      if (!seen.some((each) => each.isIntersecting)) return;
      watch.disconnect();
      fetch_thumbnail(take, () => wanted).then((got) => wanted && got && set(got), () => undefined);
    });
    watch.observe(place.current!);
    return () => { wanted = false; watch.disconnect(); };
  }, [take.take, take.last_line]);
  return (
    <svg class="thumbnail" viewBox={`0 0 ${width} ${height}`} preserveAspectRatio="none" ref={place} aria-hidden="true" data-drawn={drawn !== null}>
      {drawn && paths(drawn).map((d, level) => d && <path key={level} class={`level-${level}`} d={d} />)}
    </svg>
  );
}
