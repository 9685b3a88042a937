// Text as large as its box allows, up to a fraction of the height of the box.
import type { ComponentChildren } from 'preact';
import { useLayoutEffect, useRef } from 'preact/hooks';

const probe_px = 100;

export function Fitted({ children, changes, class: name }: { children: ComponentChildren; changes: string; class: string }) {
  const box = useRef<HTMLDivElement>(null);
  useLayoutEffect(() => {
    const outer = box.current!;
    const inner = outer.firstElementChild as HTMLElement;
    const fit = () => {
      inner.style.fontSize = `${probe_px}px`;
      const scale = Math.min((outer.clientWidth - 4) / Math.max(1, inner.offsetWidth), outer.clientHeight / (1.22 * probe_px));
      inner.style.fontSize = `${Math.max(16, probe_px * scale)}px`;
    };
    fit();
    const watch = new ResizeObserver(fit);
    watch.observe(outer);
    return () => watch.disconnect();
  }, [changes]);
  return (
    <div class={name} ref={box}>
      <span class="fitted">{children}</span>
    </div>
  );
}
