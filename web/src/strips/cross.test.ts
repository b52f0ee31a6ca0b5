import { describe, expect, it } from 'vitest';
import type { Horizon, HorizonGround } from '../api/types';
import { begun, skyAt, stepped, underWords } from './cross';

// a ring of 720 columns, two a degree: land from row 60 down, a tooth up to row 20 over columns 100 to 109, a gap without land at 300
const skyline = Array.from({ length: 720 }, (_, x) => (x >= 100 && x < 110 ? 20 : x === 300 ? 200 : 60));
const land = { view_width: 720, view_height: 200, skyline };
const view = {
  ...land, picture: '', width: 800, height: 260, left: 40, top: 30, bearing_low: 0, bearing_high: 360, up_low: -10, up_high: 10, hidden: [],
  marks: [{ name: 'Tooth 9,830 ft', kind: 'peak', bearing_deg: 52, x: 145, y: 50, lon: 0, lat: 0, named: true }],
  pockets: [{ pocket: 'P1', x_from: 340, x_to: 360, part: 0.1 }, { pocket: 'P2', x_from: 140, x_to: 144, part: 0.3 }],
} as Horizon;

describe('the cross by keys', () => {
  it('goes a degree aside, ten with shift, and round past north', () => {
    expect(stepped(land, { x: 10, y: 80 }, 'ArrowRight')).toEqual({ x: 12, y: 80 });
    expect(stepped(land, { x: 10, y: 80 }, 'ArrowRight', { shift: true })).toEqual({ x: 30, y: 80 });
    expect(stepped(land, { x: 10, y: 80 }, 'ArrowLeft', { shift: true })).toEqual({ x: 710, y: 80 });
  });
  it('stays on the land sideways', () => {
    expect(stepped(land, { x: 109, y: 25 }, 'ArrowRight')).toEqual({ x: 111, y: 60.5 });
  });
  it('goes farther up to the last ground, then into the sky, and down again nearer', () => {
    expect(stepped(land, { x: 10, y: 62 }, 'ArrowUp')).toEqual({ x: 10, y: 60.5 });
    expect(stepped(land, { x: 10, y: 60.5 }, 'ArrowUp')).toEqual({ x: 10, y: 52.5 });
    expect(stepped(land, { x: 10, y: 52.5 }, 'ArrowDown')).toEqual({ x: 10, y: 60.5 });
    expect(stepped(land, { x: 10, y: 60.5 }, 'ArrowDown', { shift: true })).toEqual({ x: 10, y: 80.5 });
    expect(stepped(land, { x: 10, y: 199 }, 'ArrowDown')).toEqual({ x: 10, y: 199 });
  });
  it('other keys are no steps; where no land is, the lowest pixel stands for it', () => {
    expect(stepped(land, { x: 10, y: 62 }, 'a')).toBeNull();
    expect(skyAt(land, 300)).toBe(199.5);
  });
  it('begins on the pocket of which most shows, else in the middle', () => {
    expect(begun(view, 400)).toEqual({ x: 102, y: 22.5 });
    expect(begun({ ...view, pockets: [] }, 400)).toEqual({ x: 400, y: 62.5 });
  });
});

describe('what is under the cross', () => {
  const said = { units: 'us' as const, declination: 12, pockets: [] };
  const ground: HorizonGround = { sky: false, lon: 0, lat: 0, height_m: 2743.2, distance_m: 1609.344, bearing_true_deg: 90 };
  it('sky, with its bearing', () => {
    expect(underWords(view, { x: 180, y: 10 }, { sky: true, lon: null, lat: null, height_m: null, distance_m: null, bearing_true_deg: null }, said)).toBe('sky, at 78° magnetic (90° true)');
  });
  it('ground with its height, a top by its name', () => {
    expect(underWords(view, { x: 180, y: 100 }, ground, said)).toBe('ground at 9,000 ft, 1.0 mi off at 78° magnetic (90° true)');
    expect(underWords(view, { x: 104, y: 21 }, ground, said)).toContain('Tooth 9,830 ft, 1.0 mi off');
  });
});
