import { describe, expect, it } from 'vitest';
import { toUtm, written } from './places';

// Coordinates by pyproj 3.7 (PROJ), forms by graylight/place.py.
const CASES = [
  [-114.81727, 40.4211, 685174.857, 4476784.54, "40°25.266'N, 114°49.036'W", '11T 685175 4476785', '11T PE 8517 7678'],
  [-109.03, 45.99, 652568.139, 5094823.212, "45°59.400'N, 109°01.800'W", '12T 652568 5094823', '12T XR 5256 9482'],
  [8.2, -33.9, 426034.36, 6248643.716, "33°54.000'S, 8°12.000'E", '32H 426034 6248644', '32H MH 2603 4864'],
  [5.3, 60.4, 296191.547, 6701684.475, "60°24.000'N, 5°18.000'E", '32V 296192 6701684', '32V KN 9619 0168'],
] as const;

describe('places', () => {
  it.each(CASES)('%f, %f', (lon, lat, east, north, minutes, utm, usng) => {
    const at = toUtm({ lon, lat });
    expect(at.east).toBeCloseTo(east, 2);
    expect(at.north).toBeCloseTo(north, 2);
    expect(written({ lon, lat }, 'minutes')).toBe(minutes);
    expect(written({ lon, lat }, 'utm')).toBe(utm);
    expect(written({ lon, lat }, 'usng')).toBe(usng);
  });
  it('writes latitude first', () => {
    expect(written({ lon: -111.5, lat: 39.3 }, 'degrees')).toBe('39.30000, -111.50000');
  });
  it('carries minutes over', () => {
    expect(written({ lon: -111.9999999, lat: 39 }, 'minutes')).toBe("39°00.000'N, 112°00.000'W");
  });
});
