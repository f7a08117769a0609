/* Work on earlier jobs that the desk does in the background: asked for by name, looked at until it has ended. */
import { askAt } from "./begin_ask.js";

const EVERY_MS = 300;
export const shelf = askAt("/api/shelf");

export const running = (task) => task.state === "waiting" || task.state === "running";

/* Begin a piece of work; `heard` gets it each time it is looked at. Gives the task once it has ended, null for none. */
export async function worked(name, body, heard) {
  let task = await shelf(name, body);
  while (task && running(task)) {
    heard(task);
    await new Promise((done) => setTimeout(done, EVERY_MS));
    task = await shelf(`task?id=${task.id}`);
  }
  if (task) heard(task);
  return task;
}
