import { describe, expect, it } from 'vitest';
import { bearingDeg, centreOf, distanceM, holds, isPlain, moved, type Ring } from './geometry';

const SQUARE: Ring = [[0, 0], [2, 0], [2, 2], [0, 2]];

describe('geometry', () => {
  it('distance and bearing agree with the geodesic', () => {
    // pyproj.Geod(ellps="WGS84").inv: L12 to the middle of P14 as in the demonstration
    const a = { lon: -114.817268, lat: 40.421104 };
    const b = { lon: -114.801622, lat: 40.416574 };
    expect(Math.abs(distanceM(a, b) - GEODESIC.m)).toBeLessThan(GEODESIC.m * 0.005);
    expect(Math.abs(bearingDeg(a, b) - GEODESIC.deg)).toBeLessThan(0.3);
  });
  it('going and coming back', () => {
    const from = { lon: -114.8, lat: 40.4 };
    const there = moved(from, 63, 2500);
    expect(distanceM(from, there)).toBeCloseTo(2500, 1);
    expect(bearingDeg(from, there)).toBeCloseTo(63, 3);
  });
  it('holds a point, and not one in a hole', () => {
    const hole: Ring = [[0.5, 0.5], [1.5, 0.5], [1.5, 1.5], [0.5, 1.5]];
    expect(holds([SQUARE], { lon: 1, lat: 1 })).toBe(true);
    expect(holds([SQUARE, hole], { lon: 1, lat: 1 })).toBe(false);
    expect(holds([SQUARE, hole], { lon: 0.2, lat: 1 })).toBe(true);
    expect(holds([SQUARE], { lon: 3, lat: 1 })).toBe(false);
  });
  it('middle of an outline', () => {
    expect(centreOf(SQUARE)).toEqual({ lon: 1, lat: 1 });
  });
  it('an outline may not cross itself', () => {
    expect(isPlain(SQUARE)).toBe(true);
    expect(isPlain([[0, 0], [2, 2], [2, 0], [0, 2]])).toBe(false);
    expect(isPlain([[0, 0], [1, 1]])).toBe(false);
  });
});

const GEODESIC = { m: 1419.95788, deg: 110.742556 };
