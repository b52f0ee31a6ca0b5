import { expect, test } from 'vitest';
import { darkWords, glassWords, hiddenWords, most, notSaidTwice } from './sights';

test('codes of places are counted and named', () => {
  expect(hiddenWords('P4: b1 and b2 hidden')).toBe('two beds of P4');
  expect(hiddenWords('P3: f2, f3, b1 and x2 hidden')).toBe('two feeding places, one bed and one crossing of P3');
  expect(hiddenWords('P4: out of reach')).toBe('P4: out of reach');
});

test('a glass is named once', () => {
  expect(glassWords('8x42', '8x42')).toBe('At that distance 8x42 finds and tells apart.');
  expect(glassWords('8x42', '15x56')).toBe('At that distance 8x42 finds and 15x56 tells apart.');
  expect(glassWords(undefined, undefined)).toBe('');
});

test('what shows nothing is left out, the most comes first', () => {
  const share = (low: number, likely: number, high: number) => ({ share: { low, likely, high } });
  expect(most([share(0, 0.1, 0.2), share(0, 0, 0), share(0.3, 0.4, 0.5)]).map((one) => one.share.likely)).toEqual([0.4, 0.1]);
});

test('what is under the rule of the sentences is nothing here, too', () => {
  const share = (high: number) => ({ share: { low: 0, likely: 0, high } });
  expect(most([share(0.029), share(0.03)])).toHaveLength(1);
  expect(darkWords([share(0.02), share(0.02), share(0.3)], 12)).toBe('Nothing shows of the other 2 in reach. 9 more lie out of reach of a glass.');
  expect(darkWords([share(0.02)], 1)).toBe('Nothing shows of any pocket in reach. That does not mean that nothing is in them.');
  expect(darkWords([], 4)).toBe('No pocket lies within the reach of a glass.');
  expect(darkWords([share(0.4)], 1)).toBe('');
});

test('cautions that stand in the notes are not said again in an answer beside them', () => {
  const note = (heading: string, sentences: string[]) => ({ heading, run_in: false, close: false, about: null, sentences });
  const notes = [note('Take care', ['Lightning.', 'Cliffs.'])];
  expect(notSaidTwice([note('This morning', ['Go.']), note('Take care', ['Cliffs.', 'Frost.']), note('Not known', [])], notes).map((one) => one.sentences)).toEqual([['Go.'], ['Frost.']]);
});
