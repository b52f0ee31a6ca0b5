/** Half-filled forms, kept in this browser until they are kept in the country or let be: by country, so that none goes astray. */

import { desk } from './desk.svelte';

export type Values = Record<string, unknown>;

const key = (form: string) => `graylight-form ${form} of ${desk.now?.country.name ?? ''}`;

export function halfFilled(form: string): Values | null {
  try {
    const found: unknown = JSON.parse(localStorage.getItem(key(form)) ?? 'null');
    return typeof found === 'object' && found !== null && !Array.isArray(found) ? (found as Values) : null;
  } catch {
    return null; // a browser that keeps nothing, or something else under that name
  }
}

export function remember(form: string, values: Values): void {
  try {
    localStorage.setItem(key(form), JSON.stringify(values));
  } catch {
    // a browser that keeps nothing
  }
}

export function forget(form: string): void {
  try {
    localStorage.removeItem(key(form));
  } catch {
    // a browser that keeps nothing
  }
}

/** What differs from what it was: only that is put right. */
export function differing(now: Values, before: Values): Values {
  return Object.fromEntries(Object.entries(now).filter(([name, value]) => JSON.stringify(value) !== JSON.stringify(before[name])));
}
