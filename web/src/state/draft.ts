/** Half-filled forms, kept in this browser until they are kept in the country or let be: by country, so that none goes astray. */

import { desk } from './desk.svelte';

export type Values = Record<string, unknown>;

const key = (form: string) => `graylight-form ${form} of ${desk.now?.country.key ?? ''}`;

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

/** A form is half filled for one thing: the name it goes by, and what it is for; the plain name tells which was left last. */
export function rememberFor(form: string, what: unknown, values: Values): void {
  remember(form, { for: what });
  remember(`${form} ${JSON.stringify(what)}`, values);
}

export function halfFilledFor(form: string, what: unknown): Values | null {
  return halfFilled(`${form} ${JSON.stringify(what)}`);
}

export function forgetFor(form: string, what: unknown): void {
  if (JSON.stringify(halfFilled(form)?.for) === JSON.stringify(what)) forget(form);
  forget(`${form} ${JSON.stringify(what)}`);
}

/** What the form that was left last is for. */
export function leftFor(form: string): Values | null {
  const found = halfFilled(form)?.for;
  return typeof found === 'object' && found !== null ? (found as Values) : null;
}

/** What differs from what it was: only that is put right. */
export function differing(now: Values, before: Values): Values {
  return Object.fromEntries(Object.entries(now).filter(([name, value]) => JSON.stringify(value) !== JSON.stringify(before[name])));
}
