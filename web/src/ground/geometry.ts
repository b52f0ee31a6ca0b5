/** Geometry on the globe, good to a metre or so over a country's width. */

import type { LonLat } from '../words/places';

export type Ring = Array<[number, number]>;

const RADIUS_M = 6_371_008.8; // mean radius (IUGG)
const RAD = Math.PI / 180;

export function distanceM(a: LonLat, b: LonLat): number {
  const dLat = (b.lat - a.lat) * RAD;
  const dLon = (b.lon - a.lon) * RAD;
  const h = Math.sin(dLat / 2) ** 2 + Math.cos(a.lat * RAD) * Math.cos(b.lat * RAD) * Math.sin(dLon / 2) ** 2;
  return 2 * RADIUS_M * Math.asin(Math.min(1, Math.sqrt(h)));
}

export function bearingDeg(a: LonLat, b: LonLat): number {
  const dLon = (b.lon - a.lon) * RAD;
  const y = Math.sin(dLon) * Math.cos(b.lat * RAD);
  const x = Math.cos(a.lat * RAD) * Math.sin(b.lat * RAD) - Math.sin(a.lat * RAD) * Math.cos(b.lat * RAD) * Math.cos(dLon);
  return (Math.atan2(y, x) / RAD + 360) % 360;
}

export function moved(from: LonLat, bearing: number, metres: number): LonLat {
  const d = metres / RADIUS_M;
  const lat = Math.asin(Math.sin(from.lat * RAD) * Math.cos(d) + Math.cos(from.lat * RAD) * Math.sin(d) * Math.cos(bearing * RAD));
  const lon = from.lon * RAD + Math.atan2(
    Math.sin(bearing * RAD) * Math.sin(d) * Math.cos(from.lat * RAD),
    Math.cos(d) - Math.sin(from.lat * RAD) * Math.sin(lat),
  );
  return { lon: lon / RAD, lat: lat / RAD };
}

export function between(a: LonLat, b: LonLat, part: number): LonLat {
  return { lon: a.lon + (b.lon - a.lon) * part, lat: a.lat + (b.lat - a.lat) * part };
}

/** Whether a point lies in a polygon with holes (even-odd). */
export function holds(rings: Ring[], { lon, lat }: LonLat): boolean {
  let inside = false;
  for (const ring of rings) {
    ring.forEach(([x1, y1], i) => {
      const [x2, y2] = ring[(i + ring.length - 1) % ring.length] ?? [x1, y1];
      if (y1 > lat !== y2 > lat && lon < ((x2 - x1) * (lat - y1)) / (y2 - y1) + x1) inside = !inside;
    });
  }
  return inside;
}

export function centreOf(ring: Ring): LonLat {
  let [area, x, y] = [0, 0, 0];
  const [ox, oy] = ring[0] ?? [0, 0];
  ring.forEach(([lon, lat], i) => {
    const [nlon, nlat] = ring[(i + 1) % ring.length] ?? [lon, lat];
    const cross = (lon - ox) * (nlat - oy) - (nlon - ox) * (lat - oy);
    area += cross;
    x += (lon + nlon - 2 * ox) * cross;
    y += (lat + nlat - 2 * oy) * cross;
  });
  return area === 0 ? { lon: ox, lat: oy } : { lon: ox + x / (3 * area), lat: oy + y / (3 * area) };
}

/** Whether an outline is one a person can have meant: three corners at least, no side across another. */
export function isPlain(ring: Ring): boolean {
  const n = ring.length;
  if (n < 3) return false;
  for (let i = 0; i < n; i += 1) {
    for (let j = i + 2; j < n; j += 1) {
      if (i === 0 && j === n - 1) continue;
      if (cross(ring[i], ring[i + 1], ring[j], ring[(j + 1) % n])) return false;
    }
  }
  return true;
}

type Corner = [number, number] | undefined;

function cross(a: Corner, b: Corner, c: Corner, d: Corner): boolean {
  if (!a || !b || !c || !d) return false;
  return side(a, b, c) * side(a, b, d) < 0 && side(c, d, a) * side(c, d, b) < 0;
}

function side([x1, y1]: [number, number], [x2, y2]: [number, number], [x, y]: [number, number]): number {
  return Math.sign((x2 - x1) * (y - y1) - (y2 - y1) * (x - x1));
}

/** Corners laid through a sharp outline so that it draws soft (Chaikin's corner cutting, twice). */
export function softened(ring: Ring, times = 2): Ring {
  let soft = ring;
  for (let i = 0; i < times; i += 1) {
    soft = soft.flatMap(([x, y], k): Ring => {
      const [nx, ny] = soft[(k + 1) % soft.length] ?? [x, y];
      return [[x * 0.75 + nx * 0.25, y * 0.75 + ny * 0.25], [x * 0.25 + nx * 0.75, y * 0.25 + ny * 0.75]];
    });
  }
  return soft;
}
