/** Places along a strip: moments along the day, bearings along the horizon. */

import { wrapped } from '../words/measures';

export interface Span { from: number; to: number }

export function partOf(span: Span, value: number): number {
  return (value - span.from) / (span.to - span.from);
}

export function valueAt(span: Span, part: number): number {
  return span.from + Math.min(1, Math.max(0, part)) * (span.to - span.from);
}

/** The bearing under a part of the horizon; the strip may pass north, then high is above 360. */
export function bearingAt(low: number, high: number, part: number): number {
  return wrapped(valueAt({ from: low, to: high <= low ? high + 360 : high }, part));
}

/** Where a bearing stands along the horizon, or null when it is not on it. */
export function partOfBearing(low: number, high: number, bearing: number): number | null {
  const width = high <= low ? high + 360 - low : high - low;
  const past = wrapped(bearing - low);
  return past <= width ? past / width : null;
}

/** Bearings to write along the edge: whole steps, none closer than `least` of the strip. */
export function ticks(low: number, high: number, least: number): number[] {
  const top = high <= low ? high + 360 : high;
  const step = [5, 10, 15, 30, 45, 90].find((s) => s / (top - low) >= least) ?? 90;
  const found: number[] = [];
  for (let at = Math.ceil(low / step) * step; at <= top; at += step) found.push(at);
  return found;
}

export interface Placed<T> { item: T; part: number; row: number }

/** Labels in as few rows as they need: each goes into the first row where it does not touch the one before. */
export function inRows<T>(items: Array<{ item: T; part: number; width: number }>, most: number): Placed<T>[] {
  const ends: number[] = [];
  const placed: Placed<T>[] = [];
  for (const { item, part, width } of [...items].sort((a, b) => a.part - b.part)) {
    const left = Math.min(Math.max(0, part - width / 2), 1 - width);
    const row = [...ends.keys(), ends.length].find((r) => (ends[r] ?? -1) <= left) ?? ends.length;
    if (row >= most) continue;
    ends[row] = left + width;
    placed.push({ item, part: left + width / 2, row });
  }
  return placed;
}
