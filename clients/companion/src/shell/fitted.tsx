// Text as large as its box allows, but never smaller than it can be read: rather it is set narrower.
import type { ComponentChildren } from 'preact';
import { useLayoutEffect, useRef } from 'preact/hooks';

const probe_px = 100;
const line_height = 1.3;

interface Props {
  children: ComponentChildren;
  changes: string;  // what the text depends on
  class: string;
  least?: number;  // px
  most?: number;   // px
}

export function Fitted({ children, changes, class: name, least = 16, most = Infinity }: Props) {
  const box = useRef<HTMLDivElement>(null);
  useLayoutEffect(() => {
    const outer = box.current!;
    const inner = outer.firstElementChild as HTMLElement;
    const fit = () => {
      inner.style.transform = '';
      inner.style.fontSize = `${probe_px}px`;
      const natural = Math.max(1, inner.offsetWidth) / probe_px;
      const room = Math.max(1, outer.clientWidth - 2);
      const size = Math.max(least, Math.min(most, room / natural, outer.clientHeight / line_height));
      inner.style.fontSize = `${size}px`;
      if (natural * size > room) inner.style.transform = `scaleX(${(room / (natural * size)).toFixed(3)})`;
    };
    fit();
    const watch = new ResizeObserver(fit);
    watch.observe(outer);
    let there = true;
    void outer.ownerDocument.fonts.ready.then(() => there && fit());
    return () => {
      there = false;
      watch.disconnect();
    };
  }, [changes, least, most]);
  return (
    <div class={name} ref={box}>
      <span class="fitted">{children}</span>
    </div>
  );
}
