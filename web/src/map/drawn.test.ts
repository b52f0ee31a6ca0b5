import { describe, expect, it } from 'vitest';
import { drawn } from './drawn';

describe('a tint as the map draws it', () => {
  it('by daylight is the tint itself, on a little paper', () => {
    expect(drawn('#000000', 'day', 'cover')).toBe('#141413'); // 8 % of #f7f6f0
  });
  it('in the dark is dimmed to half: grey stays grey but for the blue of the paper', () => {
    // 0.86 x 0.5 x 0.5 + 0.14 x #1a2438, and contrast turns about the middle grey
    expect(drawn('#808080', 'dark', 'cover')).toBe('#3b3c3f');
    expect(drawn('#808080', 'dark', 'slope')).toBe('#3b3c3f');
  });
  it('draws cover farther apart than ramps', () => {
    const far = (layer: string) => parseInt(drawn('#ffffff', 'dark', layer).slice(1, 3), 16) - parseInt(drawn('#404040', 'dark', layer).slice(1, 3), 16);
    expect(far('cover')).toBeGreaterThan(far('slope'));
  });
});
