/** An outline being drawn on the map, corner by corner. */

import { isPlain, type Ring } from '../ground/geometry';
import type { LonLat } from '../words/places';

export interface Draft { corners: LonLat[]; pointer: LonLat | null }

export const EMPTY: Draft = { corners: [], pointer: null };

export function withCorner(draft: Draft, at: LonLat): Draft {
  return { ...draft, corners: [...draft.corners, at] };
}

export function withoutLast(draft: Draft): Draft {
  return { ...draft, corners: draft.corners.slice(0, -1) };
}

export function ring(draft: Draft): Ring {
  const corners = draft.pointer ? [...draft.corners, draft.pointer] : draft.corners;
  return corners.map(({ lon, lat }): [number, number] => [lon, lat]);
}

/** Why it can't be kept yet, or null. */
export function lacking({ corners }: Draft): string | null {
  if (corners.length < 3) return `${['Three corners are needed', 'Two more corners', 'One more corner'][corners.length] ?? ''}: touch the map`;
  return isPlain(ring({ corners, pointer: null })) ? null : 'A side crosses another: take the last corner back';
}

export function asPolygon({ corners }: Draft): GeoJSON.Polygon {
  const closed = ring({ corners, pointer: null });
  const [first] = closed;
  return { type: 'Polygon', coordinates: [first ? [...closed, first] : []] };
}
