/** The clock of the page: where the day's hand stands. */

import type { Day } from '../api/types';
import type { Span } from '../strips/along';
import { startOfDay } from '../words/clock';
import { desk } from './desk.svelte';
import { view } from './view.svelte';

export const MINUTE_MS = 60_000;
const STEP_MS = 5 * MINUTE_MS;

/** From the dead of one night to the next, as the server tells the day; until it has, by the local clock. */
export function daySpan(day: Day | null): Span {
  if (day) return { from: Date.parse(day.begin), to: Date.parse(day.until) };
  const from = startOfDay(desk.now?.settings.date ?? '2000-01-01', desk.zone);
  return { from, to: from + 24 * 60 * MINUTE_MS };
}

export function setClock(ms: number, { from, to }: Span): void {
  view.clock = Math.min(to - STEP_MS, Math.max(from, Math.round(ms / STEP_MS) * STEP_MS));
}

/** Where the hand is taken up first: at sunrise. */
export function firstClock(): number {
  const sunrise = desk.plan?.light.sunrise;
  return typeof sunrise === 'string' ? Date.parse(sunrise) : daySpan(null).from + 6 * 60 * MINUTE_MS;
}

export function stepClock(minutes: number): void {
  setClock((view.clock ?? firstClock()) + minutes * MINUTE_MS, daySpan(desk.day));
}
