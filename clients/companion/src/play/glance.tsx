// The glance: what a player whose hands are busy reads from the seat. The chord, the held note and its degree, and five alternatives.
import { useLayoutEffect, useRef, useState } from 'preact/hooks';
import type { ComponentChildren } from 'preact';
import { Actions } from './actions';
import { Cards } from './cards';
import { lay_out_glance } from './glance_layout';
import { Now } from './now';
import { minute_px } from './seat';

const px = (size: number) => `${size.toFixed(2)}px`;

/** `children`: buttons beside the chord. */
export function Glance({ children }: { children?: ComponentChildren }) {
  const box = useRef<HTMLDivElement>(null);
  const [size, set_size] = useState({ width: 0, height: 0 });
  useLayoutEffect(() => {
    const measure = () => set_size({ width: box.current!.clientWidth, height: box.current!.clientHeight });
    measure();
    const watch = new ResizeObserver(measure);
    watch.observe(box.current!);
    return () => watch.disconnect();
  }, []);
  const layout = lay_out_glance(size.width, size.height, minute_px.value);
  const sizes = { '--word': px(layout.word), '--name': px(layout.name), '--gap': px(layout.gap) };
  const head = px(layout.head_size);
  const face_and_cards = layout.count === 0 ? { gridTemplate: 'minmax(0, 1fr) / minmax(0, 1fr)' } : layout.head_at === 'top' ? { gridTemplate: `${head} minmax(0, 1fr) / minmax(0, 1fr)` } : { gridTemplate: `minmax(0, 1fr) / ${head} minmax(0, 1fr)` };
  return (
    <div class="glance" ref={box} data-actions={layout.actions_at} data-cards={layout.count} data-head={layout.head_at} style={sizes}>
      {size.width > 0 && (
        <>
          <div class="glance-music" style={face_and_cards}>
            <div class="face">
              <Now least={layout.head} key_line={layout.key} readings={layout.readings} beat={layout.beat} />
              {children && <div class="chrome">{children}</div>}
            </div>
            <Cards layout={layout} />
          </div>
          <div class="glance-actions" style={{ ...(layout.actions_at === 'right' ? { width: px(layout.actions_size) } : { height: px(layout.actions_size) }), ...(layout.action_word > 0 ? { '--word': px(layout.action_word), '--name': px(1.5 * layout.action_word) } : { '--word': px(0.44 * layout.actions_size) }) }}>
            <Actions words={layout.action_word > 0} />
          </div>
        </>
      )}
    </div>
  );
}
