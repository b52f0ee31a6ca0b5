/** What a lookout shows and hides, in short words. */

import type { Note, Share } from '../api/types';
import { shareRange } from './measures';

const KINDS: Record<string, [string, string]> = { f: ['feeding place', 'feeding places'], b: ['bed', 'beds'], x: ['crossing', 'crossings'] };
const NUMBERS = ['no', 'one', 'two', 'three', 'four', 'five', 'six', 'seven', 'eight', 'nine'];

/** "P4: b1, b2 and x1 hidden" as a person says it: two beds and one crossing of P4. What is not so written stays. */
export function hiddenWords(told: string): string {
  const found = /^(\w+): ([a-z]\d+(?:(?:, | and )[a-z]\d+)*) hidden$/.exec(told);
  if (!found?.[1] || !found[2]) return told;
  const counts = new Map<string, number>();
  for (const code of found[2].split(/, | and /)) counts.set(code.slice(0, 1), (counts.get(code.slice(0, 1)) ?? 0) + 1);
  return `${listed([...counts].map(([kind, count]) => counted(kind, count)))} of ${found[1]}`;
}

function counted(kind: string, count: number): string {
  const [one, more] = KINDS[kind] ?? ['place', 'places'];
  return `${NUMBERS[count] ?? count} ${count === 1 ? one : more}`;
}

export function listed(words: string[]): string {
  return words.length < 2 ? words.join('') : `${words.slice(0, -1).join(', ')} and ${words.at(-1)}`;
}

/** A share whose high end is under this is told as nothing: the rule of the program's own sentences (telling/sight.py). */
export const NOTHING = 0.03;

/** The shares that are anything, the most first. */
export function most<T extends { share: Share }>(sees: readonly T[]): T[] {
  return sees.filter((one) => one.share.high >= NOTHING).sort((a, b) => b.share.likely - a.share.likely);
}

/** Which glass finds and which tells apart, said once where it is the same. */
export function glassWords(find: string | undefined, tell: string | undefined): string {
  if (!find) return '';
  if (!tell) return `At that distance ${find} finds; none of the set glasses tells apart.`;
  return find === tell ? `At that distance ${find} finds and tells apart.` : `At that distance ${find} finds and ${tell} tells apart.`;
}

export function sharesWords(sees: ReadonlyArray<{ pocket: string; share: Share }>, name: (id: string) => string, count: number): string {
  return most(sees).slice(0, count).map((one) => `${shareRange(one.share.low, one.share.high)} of ${name(one.pocket)}`).join(', ');
}

/** What does not show, of the pockets in reach of a glass; the rest lie out of reach. */
export function darkWords(sees: ReadonlyArray<{ share: Share }>, all: number): string {
  if (!all) return '';
  if (!sees.length) return 'No pocket lies within the reach of a glass.';
  const dark = sees.length - most(sees).length;
  const rest = all - sees.length;
  const told = [
    dark === 0 ? '' : dark === sees.length ? 'Nothing shows of any pocket in reach. That does not mean that nothing is in them.' : dark === 1 ? 'Nothing shows of one other in reach.' : `Nothing shows of the other ${dark} in reach.`,
    rest <= 0 ? '' : rest === 1 ? 'One more lies out of reach of a glass.' : `${rest} more lie out of reach of a glass.`,
  ];
  return told.filter(Boolean).join(' ');
}

const AT_THE_END = new Set(['Not known', 'Take care']);

/** The notes end with what is not known and what to take care of: of an answer beside them only what is new in that. */
export function notSaidTwice(answer: readonly Note[], notes: readonly Note[]): Note[] {
  const said = new Set(notes.flatMap((note) => note.sentences));
  return answer.map((note) => (AT_THE_END.has(note.heading ?? '') ? { ...note, sentences: note.sentences.filter((one) => !said.has(one)) } : note))
    .filter((note) => note.sentences.length > 0);
}
