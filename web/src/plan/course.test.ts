import { expect, test } from 'vitest';
import { asLine, courseLacks, lengthM, middleOf, partsOf } from './course';

const at = (lon: number, lat: number) => ({ lon, lat });
const draft = (...corners: Array<{ lon: number; lat: number }>) => ({ corners, pointer: null });

test('a trail needs two different places', () => {
  expect(courseLacks(draft())).toMatch(/begins/);
  expect(courseLacks(draft(at(1, 2)))).toMatch(/goes on/);
  expect(courseLacks(draft(at(1, 2), at(1, 2)))).toMatch(/goes on/);
  expect(courseLacks(draft(at(1, 2), at(1, 2.1)))).toBeNull();
  expect(asLine(draft(at(1, 2), at(1, 2.1))).coordinates).toEqual([[1, 2], [1, 2.1]]);
});

test('its length is that of its parts, without the gap between them', () => {
  // a minute of latitude is a nautical mile, 1852 m, on a sphere of that size
  const one: GeoJSON.Geometry = { type: 'MultiLineString', coordinates: [[[0, 0], [0, 1 / 60]], [[5, 0], [5, 1 / 60], [5, 2 / 60]]] };
  expect(lengthM(one) / (3 * 1852)).toBeCloseTo(1, 2);
  expect(partsOf(one)).toHaveLength(2);
  expect(middleOf(one)).toEqual({ lon: 0, lat: 1 / 60 });
});

test('what is no line has no course', () => {
  expect(lengthM(null)).toBe(0);
  expect(middleOf({ type: 'Point', coordinates: [1, 2] })).toBeNull();
});
