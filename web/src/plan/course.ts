/** The course of a trail being traced on the map, point by point. */

import { distanceM } from '../ground/geometry';
import type { Draft } from './outline';

/** Why it can't be kept yet, or null. */
export function courseLacks({ corners }: Draft): string | null {
  const [first] = corners;
  if (!first) return 'Touch the map where it begins';
  return corners.some((one) => one.lon !== first.lon || one.lat !== first.lat) ? null : 'Touch where it goes on';
}

export function asLine({ corners }: Draft): GeoJSON.LineString {
  return { type: 'LineString', coordinates: corners.map(({ lon, lat }) => [lon, lat]) };
}

/** The parts of a line, as lists of places. */
export function partsOf(geometry: GeoJSON.Geometry | null): GeoJSON.Position[][] {
  if (geometry?.type === 'LineString') return [geometry.coordinates];
  return geometry?.type === 'MultiLineString' ? geometry.coordinates : [];
}

export function lengthM(geometry: GeoJSON.Geometry | null): number {
  let sum = 0;
  for (const part of partsOf(geometry)) {
    for (let i = 1; i < part.length; i += 1) sum += distanceM(place(part[i - 1]), place(part[i]));
  }
  return sum;
}

/** A place of the line near its middle: where to look at it. */
export function middleOf(geometry: GeoJSON.Geometry | null): { lon: number; lat: number } | null {
  const [part] = partsOf(geometry);
  return part?.length ? place(part[Math.floor(part.length / 2)]) : null;
}

const place = (at: GeoJSON.Position | undefined) => ({ lon: at?.[0] ?? 0, lat: at?.[1] ?? 0 });
