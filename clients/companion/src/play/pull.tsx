// The wish on the plane: a ring that is drawn from the middle to where the list should go, darker or brighter, resolved or tense.
//
// For the keyboard there are two sliders, which are seen while they have the focus.
import { useRef } from 'preact/hooks';
import { margin, type Point } from './plane_layout';
import { Wish, wish_value, set_wish } from './wish';

export const ring_px = 36;

const middle_of = (width: number, height: number) => ({ x: width / 2, y: height / 2 });
const reach_of = (width: number, height: number) => ({ x: width / 2 - margin.x, y: height / 2 - margin.top });

/** Where the ring lies for these wishes. */
export function pull_at(width: number, height: number, brighter: number, tenser: number): Point {
  const middle = middle_of(width, height), reach = reach_of(width, height);
  return { x: middle.x + brighter * reach.x, y: middle.y - tenser * reach.y };
}

export function Pull({ width, height }: { width: number; height: number }) {
  const dragging = useRef(false);
  if (width === 0) return null;
  const middle = middle_of(width, height), reach = reach_of(width, height);
  const { x, y } = pull_at(width, height, wish_value('brighter'), wish_value('tenser'));
  const away = Math.hypot(x - middle.x, y - middle.y) > 3;
  const take = (event: PointerEvent) => {
    const field = (event.currentTarget as HTMLElement).closest('.field')!.getBoundingClientRect();
    const within = (value: number) => Math.max(-1, Math.min(1, value));
    set_wish('brighter', within((event.clientX - field.left - middle.x) / reach.x));
    set_wish('tenser', within(-(event.clientY - field.top - middle.y) / reach.y));
  };
  return (
    <div class={`pull${away ? ' away' : ''}`}>
      <svg width={width} height={height} aria-hidden="true">
        <circle class="pull-home" cx={middle.x} cy={middle.y} r="4" />
        {away && <line x1={middle.x} y1={middle.y} x2={x} y2={y} />}
      </svg>
      <span class="pull-ring" data-pull title="Your wish: draw it to where the list should go. Twice: no wish." style={{ transform: `translate(${x.toFixed(1)}px, ${y.toFixed(1)}px)` }}
            onPointerDown={(event) => { event.currentTarget.setPointerCapture(event.pointerId); dragging.current = true; }}
            onPointerMove={(event) => dragging.current && take(event)}
            onPointerUp={() => (dragging.current = false)} onPointerCancel={() => (dragging.current = false)}
            onDblClick={() => { set_wish('brighter', 0); set_wish('tenser', 0); }} />
      <div class="pull-sliders">
        <Wish member="brighter" name="Darker or brighter" low="darker" high="brighter" />
        <Wish member="tenser" name="More resolved or more tense" low="resolved" high="tense" />
      </div>
    </div>
  );
}
