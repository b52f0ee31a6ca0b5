/** When one sits: what a form proposes before anything is said. */

import { clock, localDay } from './clock';

const STEP_MS = 5 * 60_000;

export interface Hours { from: string; until: string }
type Light = Record<string, string | number | null>;

/** The hours of the plan's sit by the country's clock: from usable light until so long after sunrise, or before sunset until it is gone. */
export function sitHours(light: Light | undefined, sit: { watch_minutes?: unknown; evening_minutes?: unknown }, part: 'dawn' | 'dusk', zone: string): Hours | null {
  const at = (key: string) => (typeof light?.[key] === 'string' ? Date.parse(light[key]) : null);
  const minutes = (value: unknown, otherwise: number) => (typeof value === 'number' ? value : otherwise) * 60_000;
  const [first, last] = [at('usable_from'), at('usable_until')];
  const from = part === 'dawn' ? first : less(at('sunset') ?? last, minutes(sit.evening_minutes, 150));
  const until = part === 'dawn' ? less(at('sunrise') ?? first, -minutes(sit.watch_minutes, 180)) : last;
  if (from === null || until === null) return null;
  return { from: clock(stepped(from), zone), until: clock(stepped(until), zone) };
}

const less = (at: number | null, ms: number) => (at === null ? null : at - ms);
const stepped = (ms: number) => Math.round(ms / STEP_MS) * STEP_MS;

/** The day after, YYYY-MM-DD. */
export function dayAfter(day: string): string {
  return new Date(Date.parse(`${day}T12:00:00Z`) + 86_400_000).toISOString().slice(0, 10);
}

/** What was felt of the air, as it is kept (moments in UTC), by the country's clock: "07:10 down, 08:40 up". */
export function airWords(kept: unknown, zone: string): string {
  if (typeof kept !== 'string') return '';
  return kept.split(',').map((part) => part.trim()).filter(Boolean).map((part) => {
    const [when = '', ...felt] = part.split(' ');
    return [dayAndClock(when, zone).clock || when, ...felt].join(' ');
  }).join(', ');
}

/** The day and the clock of a moment, or of a day alone. */
export function dayAndClock(text: unknown, zone: string): { day: string; clock: string } {
  const said = typeof text === 'string' ? text : '';
  if (said.length <= 10) return { day: said, clock: '' };
  return { day: localDay(said, zone), clock: clock(Date.parse(said), zone) };
}
