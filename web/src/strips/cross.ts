/** The cross on the drawn view: where it stands, by pointer or by keys, in pixels of the land from its upper left corner. */

import { holds } from '../ground/geometry';
import type { Horizon, HorizonGround } from '../api/types';
import { called, type ShownPocket } from '../plan/edits';
import { bearings, distance, height, wrapped, type Units } from '../words/measures';

export interface Cross { x: number; y: number }
/** The ring of the land: its size, and in each column the pixel at which the sky ends. */
export type Land = Pick<Horizon, 'view_width' | 'view_height' | 'skyline'>;

const STEP_PX = 2; // nearer and farther
const COARSE = 10; // with shift
const SKY_PX = 8; // how far above the ground the sky is looked at
const NEAR_PX = 7; // a top's name goes with the ground this close to its point

/** The pixel of a column at which the sky ends; the lowest where no land is. */
export function skyAt({ skyline, view_width, view_height }: Land, x: number): number {
  const top = skyline[Math.min(view_width - 1, Math.max(0, Math.floor(x)))] ?? 0;
  return Math.min(top, view_height - 1) + 0.5;
}

/** Where the cross goes by an arrow key: sideways along the land, up and down nearer or farther, and from the farthest ground into the sky. */
export function stepped(land: Land, cross: Cross, key: string, { shift = false }: { shift?: boolean } = {}): Cross | null {
  const times = shift ? COARSE : 1;
  if (key === 'ArrowLeft' || key === 'ArrowRight') return aside(land, cross, key === 'ArrowLeft' ? -times : times);
  if (key === 'ArrowUp') return farther(land, cross, times * STEP_PX);
  if (key === 'ArrowDown') return nearer(land, cross, times * STEP_PX);
  return null;
}

function aside(land: Land, { x, y }: Cross, degrees: number): Cross {
  const to = x + (degrees * land.view_width) / 360;
  const round = to - land.view_width * Math.floor(to / land.view_width); // past north it goes on
  return { x: round, y: Math.max(y, skyAt(land, round)) };
}

function farther(land: Land, { x, y }: Cross, pixels: number): Cross {
  const sky = skyAt(land, x);
  return { x, y: y > sky ? Math.max(sky, y - pixels) : Math.max(0, sky - SKY_PX) };
}

function nearer(land: Land, { x, y }: Cross, pixels: number): Cross {
  const sky = skyAt(land, x);
  return { x, y: y < sky ? sky : Math.min(land.view_height - 1, y + pixels) };
}

/** Where the cross begins: on the far ground of the pocket of which most shows, else of the middle of what is in sight. */
export function begun(view: Horizon, middle: number): Cross {
  const best = [...view.pockets].sort((a, b) => b.part - a.part)[0];
  const x = best ? (best.x_from + best.x_to) / 2 - view.left : middle;
  return { x, y: Math.min(view.view_height - 1, skyAt(view, x) + STEP_PX) };
}

export interface Said { units: Units; declination: number | null; pockets: ShownPocket[] }

/** What is under the cross, in words: bearing, what it is, how far. */
export function underWords(view: Horizon, cross: Cross, ground: HorizonGround, { units, declination, pockets }: Said): string {
  const toward = bearings(wrapped(view.bearing_low + (360 * cross.x) / view.view_width), declination);
  if (ground.sky || ground.distance_m === null || ground.lon === null || ground.lat === null) return `sky, at ${toward}`;
  const at = { lon: ground.lon, lat: ground.lat };
  const top = view.marks.find((mark) => Math.hypot(mark.x - view.left - cross.x, mark.y - view.top - cross.y) <= NEAR_PX);
  const pocket = pockets.find((one) => !one.dropped && holds(one.outline, at));
  const ends = [top?.name, pocket && called(pocket), !top && ground.height_m !== null ? `ground at ${height(ground.height_m, units)}` : null];
  return `${ends.filter(Boolean).join(', ') || 'ground'}, ${distance(ground.distance_m, units)} off at ${toward}`;
}
