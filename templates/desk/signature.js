"use strict";
// A signature on glass: strokes of a finger or pen, drawn as SVG. What is sent are the points; the server draws
// them anew. The pad is 1000 wide and 320 high, whatever the size of the phone.

const PAD = { width: 1000, height: 320 };
const PAUSE = 900; // ms without a stroke after which a signature is kept

function signaturePad(pad, onSigned) {
  const picture = pad.querySelector("svg");
  let strokes = [];
  let line = null;
  let timer = 0;

  const point = (event) => {
    const box = picture.getBoundingClientRect();
    const x = Math.round(((event.clientX - box.left) / box.width) * PAD.width);
    const y = Math.round(((event.clientY - box.top) / box.height) * PAD.height);
    return [Math.min(Math.max(x, 0), PAD.width), Math.min(Math.max(y, 0), PAD.height)];
  };
  const draw = () => line.setAttribute("points", strokes.at(-1).map((each) => each.join(",")).join(" "));

  picture.addEventListener("pointerdown", (event) => {
    if (line || event.button > 0) return;
    event.preventDefault();
    document.activeElement?.blur(); // a field that is still open is kept first
    clearTimeout(timer);
    picture.setPointerCapture(event.pointerId);
    line = document.createElementNS("http://www.w3.org/2000/svg", "polyline");
    picture.append(line);
    strokes.push([point(event), point(event)]);
    draw();
  });
  picture.addEventListener("pointermove", (event) => {
    if (!line || !picture.hasPointerCapture(event.pointerId)) return;
    for (const each of event.getCoalescedEvents?.() ?? [event]) strokes.at(-1).push(point(each));
    draw();
  });
  const end = () => {
    if (!line) return;
    line = null;
    timer = setTimeout(() => onSigned(strokes), PAUSE);
  };
  picture.addEventListener("pointerup", end);
  picture.addEventListener("pointercancel", end);
  pad.querySelector("[data-clear]").addEventListener("click", () => {
    clearTimeout(timer);
    strokes = [];
    picture.replaceChildren();
    onSigned(strokes);
  });
}
