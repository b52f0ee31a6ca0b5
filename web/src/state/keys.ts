/** The page by the keyboard. Letters work when nothing is being typed. */

import { desk } from './desk.svelte';
import { view } from './view.svelte';
import { stepClock } from './day';

export const KEYS: Array<[string, string]> = [
  ['Enter', 'on the map: ask about the ground in the middle'],
  ['arrows, + and −', 'on the map: move it, bring it nearer or farther'],
  ['arrows, Enter', 'on the view from a lookout: move the cross, find that ground on the map'],
  ['3', 'the ground in relief, and flat again'],
  [', and .', 'ten minutes earlier or later on the day strip'],
  ['n', 'open or close the notes'],
  ['Ctrl Z, Ctrl Shift Z', 'take back, do again'],
  ['Escape', 'let go of what is begun; close the answer'],
];

export function onKey(event: KeyboardEvent): void {
  const typing = event.target instanceof Element && event.target.matches('input:not([type=radio],[type=checkbox]), textarea, select');
  if (event.key === 'Escape') return escape();
  if (typing) return;
  if ((event.ctrlKey || event.metaKey) && event.key.toLowerCase() === 'z') {
    event.preventDefault();
    void (event.shiftKey ? desk.redo() : desk.undo());
    return;
  }
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  plain(event.key);
}

function plain(key: string): void {
  if (key === '3') view.also = { ...view.also, steep: !view.also.steep };
  if (key === ',') stepClock(-10);
  if (key === '.') stepClock(10);
  if (key === 'n') view.notesOpen = !view.notesOpen;
}

function escape(): void {
  if (view.hand.does !== 'ask') view.letGo();
  else view.closeHere();
}
