// The seat of this player at this screen.
import { computed, signal } from '@preact/signals';
import { local } from '../local';
import { angle_to_mm, pixel_mm, type Screen } from './seat_angles';

const this_screen = (): Screen => ({
  width: window.screen.width, height: window.screen.height, touch: matchMedia('(pointer: coarse)').matches,
});
const screen_now = signal(this_screen());
addEventListener('resize', () => {
  const now = this_screen();
  if (JSON.stringify(now) !== JSON.stringify(screen_now.peek())) screen_now.value = now;
});

/** CSS pixels that an arc minute spans from where the player sits. */
export const minute_px = computed(() => angle_to_mm(1, local.distance_cm.value * 10) / pixel_mm(screen_now.value, local.screen_inch.value));
