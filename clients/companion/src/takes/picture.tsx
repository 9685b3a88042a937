// The picture of a take: the line of its melody over the loops that were gone round, a band for each time round.
import { useEffect, useRef, useState } from 'preact/hooks';
import type { TakePicture } from '../protocol';
import { ask, status } from '../state';

const width = 96, height = 30, edge = 3;
const most_kept = 400;
const kept = new Map<string, Promise<TakePicture>>();

/** `key` changes when the picture may have. */
export function fetch_picture(take: number, key: string): Promise<TakePicture> {
  const have = kept.get(key);
  if (have) return have;
  const next = ask('take.picture', { take });
  if (kept.size >= most_kept) kept.delete(kept.keys().next().value!);
  kept.set(key, next);
  next.catch(() => kept.delete(key));
  return next;
}

interface Shape {
  bands: { x: number; w: number; loop: number; odd: boolean }[];
  lines: string[];
}

/** The bands and the line, in the units of the view box. */
export function shape(picture: TakePicture): Shape {
  const whole = Math.max(1, picture.length_us);
  const bands = picture.loops.slice(0, 3).flatMap((loop, number) => loop.passes.map((pass, i) => (
    { x: (pass.from_us / whole) * width, w: Math.max(0.4, (pass.length_us / whole) * width - 0.25), loop: number, odd: i % 2 === 1 }
  )));
  const sung = picture.melody.filter((note) => note > 0);
  const low = Math.min(...sung), high = Math.max(...sung), span = Math.max(7, high - low);
  const y = (note: number) => (height - edge - ((note - (low + high) / 2) / span + 0.5) * (height - 2 * edge)).toFixed(1);
  const step = width / Math.max(1, picture.melody.length);
  const lines: string[] = [];
  let open = '';
  picture.melody.forEach((note, i) => {
    if (note === 0) {
      if (open) lines.push(open);
      open = '';
      return;
    }
    open += `${open ? 'L' : 'M'}${(i * step).toFixed(1)} ${y(note)}H${((i + 1) * step).toFixed(1)}`;
  });
  if (open) lines.push(open);
  return { bands, lines };
}

export function Picture({ take, known }: { take: number; known: string }) {
  const place = useRef<SVGSVGElement>(null);
  const [drawn, set] = useState<TakePicture | null>(null);
  // One that was asked for before the take was studied is asked for again once more takes have been.
  const studies = drawn?.studied === false ? status.value?.takes_studied ?? 0 : 0;
  useEffect(() => {
    let wanted = true;
    const watch = new IntersectionObserver((seen) => {
      if (!seen.some((each) => each.isIntersecting)) return;
      watch.disconnect();
      fetch_picture(take, `${known}.${studies}`).then((got) => wanted && set(got), () => undefined);
    });
    watch.observe(place.current!);
    return () => { wanted = false; watch.disconnect(); };
  }, [take, known, studies]);
  const { bands, lines } = drawn ? shape(drawn) : { bands: [], lines: [] };
  return (
    <svg class="thumbnail" viewBox={`0 0 ${width} ${height}`} preserveAspectRatio="none" ref={place} aria-hidden="true" data-drawn={drawn !== null} data-studied={drawn?.studied}>
      {bands.map(({ x, w, loop, odd }, i) => <rect key={i} class={`band loop-${loop}${odd ? ' odd' : ''}`} x={x.toFixed(2)} y="0" width={w.toFixed(2)} height={height} />)}
      {lines.map((d, i) => <path key={i} d={d} />)}
    </svg>
  );
}
