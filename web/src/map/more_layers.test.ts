import { expect, test } from 'vitest';
import { campFeatures } from './more_layers';

test('camps and the water near the lookouts stand on the map, unsure water as such', () => {
  const place = { lat: 40.4, lon: -114.8, height_m: 3000 };
  const found = {
    notes: [], camps: { camps: [{ id: 'C1', place }], water: [{ lookout: 'L1', water: [{ sure: false, place }, { sure: true, place }] }] },
  };
  expect(campFeatures(found).features.map((one) => one.properties?.kind)).toEqual(['water-unsure', 'water', 'camp']);
  expect(campFeatures(null).features).toEqual([]);
});
