/* What a finger covers, seen larger in the corner away from it. */
import { photo } from "./begin_photo.js";
import { byId } from "./dom.js";

const CLOSER = 2.6;

/* Show the photo round a point of it [px]; null: put it away. */
export function loupe(at, clientX) {
  const canvas = byId("loupe"), shown = byId("shown"), place = byId("photo");
  canvas.hidden = !at;
  if (!at || !photo.told || !shown.naturalWidth) return;
  const left = clientX > window.innerWidth / 2;
  canvas.classList.toggle("left", left);
  canvas.classList.toggle("right", !left);
  const pen = canvas.getContext("2d"), wide = canvas.width;
  const css = place.clientWidth / photo.told.width_px * CLOSER * (wide / 160);   // canvas pixels of one of the photo's
  const per = shown.naturalWidth / photo.told.width_px;
  pen.setTransform(1, 0, 0, 1, 0, 0);
  pen.fillStyle = "#6c6c6c";
  pen.fillRect(0, 0, wide, wide);
  pen.setTransform(css, 0, 0, css, wide / 2 - at[0] * css, wide / 2 - at[1] * css);
  pen.drawImage(shown, 0, 0, shown.naturalWidth / per, shown.naturalHeight / per);
  const ring = photo.line ? photo.line.ring() : [];
  pen.beginPath();
  for (const [x, y] of ring) pen.lineTo(x, y);
  pen.closePath();
  for (const [colour, thick] of [["#161617", 9], ["#fff", 4]]) {
    pen.strokeStyle = colour;
    pen.lineWidth = thick / css;
    pen.stroke();
  }
  pen.setTransform(1, 0, 0, 1, 0, 0);
  for (const [colour, thick] of [["#fff", 6], ["#161617", 2]]) {
    pen.strokeStyle = colour;
    pen.lineWidth = thick;
    pen.beginPath();
    pen.moveTo(wide / 2 - 26, wide / 2);
    pen.lineTo(wide / 2 + 26, wide / 2);
    pen.moveTo(wide / 2, wide / 2 - 26);
    pen.lineTo(wide / 2, wide / 2 + 26);
    pen.stroke();
  }
}
