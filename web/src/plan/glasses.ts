/** The four glasses of the settings, as they are written on them: 10x42. */

export const SLOTS = ['small', 'middle', 'large', 'scope'] as const;
export type Slot = (typeof SLOTS)[number];

export interface Glass { slot: Slot; words: string }

export function glassesOf(all: Record<string, unknown>): Glass[] {
  const optics = (all.optics ?? {}) as Record<string, unknown>;
  return SLOTS.map((slot) => ({ slot, words: `${Number(optics[`${slot}_power`])}x${Number(optics[`${slot}_aperture_mm`])}` }));
}

/** Power and aperture in mm as typed, or null when it is no glass. */
export function readGlass(text: string): { power: number; aperture: number } | null {
  const found = /^\s*(\d+(?:\.\d+)?)\s*[x×]\s*(\d+(?:\.\d+)?)\s*$/i.exec(text);
  return found ? { power: Number(found[1]), aperture: Number(found[2]) } : null;
}
