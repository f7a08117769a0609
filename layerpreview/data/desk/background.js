/* Work that the desk does in the background: begun, followed until it ends, stopped; and files handed over for it. */

import { ask } from "./store.js";

const POLL_MS = 200, ENDED = ["done", "stopped", "failed"];

export function running(task) { return Boolean(task) && !ENDED.includes(task.state); }

/* Begin it; `changed(task)` is called whenever anything of it changes. Gives what stops it. */
export function begin(path, body, changed) {
  const work = { id: null, over: false };
  work.stop = stopping(work, changed);
  follow(work, path, body, changed);
  return work;
}

/*
 * What was begun before this page was loaded, the newest of each kind: `takers` by kind get its task as it was told, and
 * give what is called with each change of it, as in `begin`, and with what stops it.
 */
export async function pickUp(takers) {
  const [status, told] = await ask("/api/pulse");
  if (status !== 200) return;
  for (const kind of Object.keys(takers)) {
    const task = told.tasks.find((one) => one.kind === kind);
    if (!task) continue;
    const work = { id: task.id, over: false }, changed = takers[kind](task, work);
    work.stop = stopping(work, changed);
    follow(work, `/api/task?id=${encodeURIComponent(task.id)}`, undefined, changed);
  }
}

function stopping(work, changed) {
  return async () => {
    work.over = true;
    if (!work.id) return;
    const [status, told] = await ask("/api/stop", { id: work.id });
    if (status === 200) changed(told);
  };
}

async function follow(work, path, body, changed) {
  let [status, told] = await ask(path, body), count = -1;
  for (;;) {
    if (status !== 200 && status !== 202) {
      if (!work.over) changed({ state: "failed", problems: told.problems.length ? told.problems : ["the desk was closed"], result: null });
      return;
    }
    if (work.over && !work.id) {   // stopped before it was known by what name
      [status, told] = await ask("/api/stop", { id: told.id });
      if (status === 200) changed(told);
    }
    if (work.over) return;
    work.id = told.id;
    if (told.count !== count) changed(told);
    if (ENDED.includes(told.state)) return;
    count = told.count;
    await new Promise((rest) => setTimeout(rest, POLL_MS));
    [status, told] = await ask(`/api/task?id=${encodeURIComponent(told.id)}`);
  }
}

/* Hand a file over, a photo or a card's table; gives what the desk knows it by, or {problems}. */
export async function hand(what, file) {
  try {
    const answer = await fetch(`/upload/${what}?name=${encodeURIComponent(file.name || what)}`, { method: "POST", headers: { "content-type": "application/octet-stream" }, body: file });
    return await answer.json();
  } catch (error) {
    return { problems: ["the file could not be handed over"] };
  }
}
