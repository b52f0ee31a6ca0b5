/** What happens on the server, as one stream for the page: rows changed here or in another window, jobs, a new plan. */

export interface Happenings {
  changed: (data: { revision: number }) => void;
  progress: (data: { job: string; fraction: number; words?: string }) => void;
  ended: (data: { job: string; ok: boolean; problem?: string | null; state?: string }) => void;
  planned: (data: { planned: string | null }) => void;
  opened: (data: { name: string }) => void;
  joined: (there: boolean) => void;
}

export function listen(told: Happenings): () => void {
  const source = new EventSource('/api/events');
  for (const name of ['changed', 'progress', 'ended', 'planned', 'opened'] as const) {
    source.addEventListener(name, (event) => told[name](JSON.parse((event as MessageEvent<string>).data) as never));
  }
  source.onopen = () => told.joined(true);
  source.onerror = () => told.joined(false);
  return () => source.close();
}
