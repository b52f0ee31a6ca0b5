/** How a tint of the tiles comes out on the map: dimmed for the dusk, laid over the paper. The keys show it as drawn. */

import { COLOURS, type Theme } from './colours';

interface Reading { opacity: number; brightness: number; saturation: number; contrast: number }

/** How readings of the ground are laid on: in the dark dimmed to half. Tints of cover, which are but tints, are then drawn apart
 * again; pictures and ramps would be too harsh so. */
const READING: Record<Theme, { cover: Reading; other: Reading }> = {
  dark: {
    cover: { opacity: 0.86, brightness: 0.5, saturation: 0.25, contrast: 0.3 },
    other: { opacity: 0.86, brightness: 0.5, saturation: 0.1, contrast: 0.1 },
  },
  day: {
    cover: { opacity: 0.92, brightness: 1, saturation: 0, contrast: 0 },
    other: { opacity: 0.92, brightness: 1, saturation: 0, contrast: 0 },
  },
};

export function reading(layer: string, theme: Theme): Reading {
  return READING[theme][layer === 'cover' ? 'cover' : 'other'];
}

type Triple = [number, number, number];

/** A tint as level ground shows it. The map's own reckoning of saturation, contrast and brightness, in that order (the map
 * library's raster shader; a browser test holds this to the pixels). */
export function drawn(tint: string, theme: Theme, layer: string): string {
  const { opacity, brightness, saturation, contrast } = reading(layer, theme);
  const parts = triple(tint);
  const grey = (parts[0] + parts[1] + parts[2]) / 3;
  const paper = triple(COLOURS[theme].ground);
  const pull = saturation > 0 ? 1 - 1 / (1.001 - saturation) : -saturation;
  const push = contrast > 0 ? 1 / (1 - contrast) : 1 + contrast;
  const shown = parts.map((part, i) => {
    const turned = ((part + (grey - part) * pull - 0.5) * push + 0.5) * brightness;
    return clipped(turned * opacity) + (paper[i] ?? 0) * (1 - opacity);
  });
  return `#${shown.map((part) => Math.round(clipped(part) * 255).toString(16).padStart(2, '0')).join('')}`;
}

const clipped = (part: number) => Math.min(1, Math.max(0, part));

function triple(tint: string): Triple {
  const at = (i: number) => parseInt(tint.slice(i, i + 2), 16) / 255;
  return [at(1), at(3), at(5)];
}
