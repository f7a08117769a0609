/* Asking the desk while a job is begun, and what could not be done, said at the top. */
import { byId, setText } from "./dom.js";

export function trouble(lines) {
  const place = byId("trouble");
  place.hidden = !lines.length;
  setText(place, lines.join("\n"));
}

const GONE = ["The desk is closed. Start it again where it was started: layerpreview desk"];

async function answered(path, given) {
  try {
    const answer = await fetch(path, given);
    const told = await answer.json();
    if (answer.ok) trouble([]);
    else trouble(told.problems);
    return answer.ok ? told : null;
  } catch (error) {
    trouble(GONE);
    return null;
  }
}

/* Asks for a name below a place: what the desk says, or null where it refuses; then it is told at the top. */
export function askAt(place) {
  return (name, body) => {
    const given = body === undefined ? {} : { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(body) };
    return answered(`${place}/${name}`, given);
  };
}

export const ask = askAt("/api/begin");

export function hand(what, file) {
  return answered(`/upload/${what}?name=${encodeURIComponent(file.name || what)}`, { method: "POST", headers: { "content-type": "application/octet-stream" }, body: file });
}
