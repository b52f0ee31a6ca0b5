import { expect, it } from 'vitest';
import { glassesOf, readGlass } from './glasses';

it('a glass is read as it is written on it', () => {
  expect(readGlass(' 10 x 42')).toEqual({ power: 10, aperture: 42 });
  expect(readGlass('12×50')).toEqual({ power: 12, aperture: 50 });
  expect(readGlass('ten by forty')).toBeNull();
  expect(readGlass('10x')).toBeNull();
});

it('the glasses of the settings', () => {
  const all = { optics: { small_power: 8, small_aperture_mm: 42, middle_power: 10, middle_aperture_mm: 42, large_power: 15, large_aperture_mm: 56, scope_power: 45, scope_aperture_mm: 80 } };
  expect(glassesOf(all).map((one) => one.words)).toEqual(['8x42', '10x42', '15x56', '45x80']);
});
