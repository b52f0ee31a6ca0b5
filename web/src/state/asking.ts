/** Asking about the ground: from here, live sight, a line, from where marks show. Answers go into the view. */

import { Latest, Paced, tell } from '../api/client';
import type { FromHere, LineAnswer, QuickSight, WatchAnswer } from '../api/types';
import type { LonLat } from '../words/places';
import { desk } from './desk.svelte';
import { view } from './view.svelte';

const here = new Latest();
const lines = new Latest();

export const place = ({ lon, lat }: LonLat) => ({ lon: lon.toFixed(6), lat: lat.toFixed(6) });
const pair = ({ lon, lat }: LonLat) => `${lon.toFixed(6)},${lat.toFixed(6)}`;

export async function fromHere(at: LonLat): Promise<void> {
  view.hereAt = at;
  view.line = null;
  const began = performance.now();
  const found = await desk.guarded(() => here.ask<FromHere>('from-here', place(at)));
  if (!found) return;
  view.here = found;
  performance.measure('from-here', { start: began, end: performance.now() });
}

export async function lineTo(from: LonLat, to: LonLat): Promise<void> {
  const answer = await desk.guarded(() => lines.ask<LineAnswer>('line', { from: pair(from), to: pair(to) }));
  if (answer) view.line = { from, to, answer };
}

/** Live sight while a lookout is dragged: one question under way, the newest waiting. */
export function liveSight(take: (found: QuickSight) => void): { at: (at: LonLat) => void; stop: () => void } {
  let on = true;
  const row = new Paced<QuickSight>('sight', (found, began) => {
    if (!on) return;
    performance.measure('drag', { start: began, end: performance.now() });
    take(found);
  });
  return {
    at: (at) => row.ask({ ...place(at), light: view.theme }),
    stop: () => {
      on = false;
      row.clear();
    },
  };
}

export async function watchMarks(targets: string[], withinM: number): Promise<void> {
  view.watch = await desk.guarded(() => tell<WatchAnswer>('POST', 'watch', { targets, within_m: withinM, standing: false }));
}
