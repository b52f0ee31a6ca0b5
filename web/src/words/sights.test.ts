import { expect, test } from 'vitest';
import { glassWords, hiddenWords, most, notSaidTwice, onThePage } from './sights';

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

test('options of commands are said as the page has them', () => {
  expect(onThePage('No wind was given: the air is reckoned for a calm, clear morning; give --wind "SW 8mph", or set sit.wind.')).toMatch(/; say the wind at the head of the notes\.$/);
});

test('cautions that stand in the notes are not said again in an answer beside them', () => {
  const note = (heading: string, sentences: string[]) => ({ heading, run_in: false, close: false, about: null, sentences });
  const notes = [note('Take care', ['Lightning.', 'Cliffs.'])];
  expect(notSaidTwice([note('This morning', ['Go.']), note('Take care', ['Cliffs.', 'Frost.']), note('Not known', [])], notes).map((one) => one.sentences)).toEqual([['Go.'], ['Frost.']]);
});
