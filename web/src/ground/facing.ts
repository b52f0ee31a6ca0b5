/** The arc of facing picked on the ring: degrees true, clockwise from low to high. */

import { compass, wrapped } from '../words/measures';

export interface Arc { low: number; high: number }
export const WHOLE: Arc = { low: 0, high: 360 };

export function spanDeg({ low, high }: Arc): number {
  const span = wrapped(high - low);
  return span === 0 ? 360 : span;
}

export function isWhole(arc: Arc): boolean {
  return spanDeg(arc) >= 359;
}

/** An arc dragged from one bearing, gathering the turns of the hand so that it may pass north. */
export function dragged(from: number, turned: number): Arc {
  if (Math.abs(turned) >= 355) return WHOLE;
  const [low, high] = turned >= 0 ? [from, from + turned] : [from + turned, from];
  return { low: Math.round(wrapped(low)), high: Math.round(wrapped(high)) };
}

/** The smallest turn from one bearing to another, -180 to 180. */
export function turn(from: number, to: number): number {
  return wrapped(to - from + 180) - 180;
}

export function withEnd(arc: Arc, end: 'low' | 'high', step: number): Arc {
  const next = { ...arc, [end]: wrapped(arc[end] + step) };
  return spanDeg(next) < 5 ? arc : next;
}

export function words(arc: Arc): string {
  if (isWhole(arc)) return 'any way';
  return `${compass(arc.low)} round to ${compass(arc.high)}, ${Math.round(arc.low)}° to ${Math.round(wrapped(arc.high))}°`;
}

/** A path for SVG, ring of radius r about the middle, bearings clockwise from the top. */
export function path(arc: Arc, r: number): string {
  const point = (deg: number) => `${(r * Math.sin((deg * Math.PI) / 180)).toFixed(2)} ${(-r * Math.cos((deg * Math.PI) / 180)).toFixed(2)}`;
  if (isWhole(arc)) return `M0 ${-r}A${r} ${r} 0 1 1 -0.01 ${-r}`;
  return `M${point(arc.low)}A${r} ${r} 0 ${spanDeg(arc) > 180 ? 1 : 0} 1 ${point(arc.high)}`;
}
