// The page's own wiring: switches, the key of colours, what a face is, the chart's hover.
"use strict";
(() => {
  const $ = id => document.getElementById(id);
  const cards = {};
  for (const card of document.querySelectorAll(".card")) cards[card.id.slice(5)] = card;

  // The chart: what a dot says, and its picture where there is one.
  const tip = $("tip"), tipPicture = $("tip-picture");
  function showPose(number, said) {
    tip.hidden = false;
    tip.textContent = said;
    const picture = cards[number] && cards[number].querySelector("img");
    tipPicture.hidden = !picture;
    if (picture) { tipPicture.src = picture.src; tipPicture.alt = picture.alt; }
  }
  const said = {};
  for (const dot of document.querySelectorAll(".dots circle")) said[dot.dataset.pose] = dot.querySelector("title").textContent;
  const chart = document.querySelector(".chart svg");
  for (const kind of ["pointerover", "focusin"])
    chart.addEventListener(kind, event => {
      const one = event.target.closest("[data-pose]");
      if (one) showPose(one.dataset.pose, said[one.dataset.pose]);
    });

  const data = JSON.parse($("part-data").textContent);
  const host = $("viewer");
  let viewer;
  try {
    viewer = openViewer(library, host, data);
  } catch (error) {
    // No WebGL here: the pictures that print are shown instead.
    host.textContent = "This browser cannot draw in 3D; the pictures below show the same.";
    host.classList.add("no-canvas");
    document.querySelector(".pictures").classList.remove("print-only");
    return;
  }
  host.viewer = viewer;

  const choice = $("pose-choice"), views = $("view-choice");
  function swatch(colour) {
    const one = document.createElement("canvas");
    one.width = 24; one.height = 14;
    const ink = one.getContext("2d");
    ink.fillStyle = `rgb(${colour.slice(0, 3).join()})`;
    ink.fillRect(0, 0, 24, 14);
    ink.strokeStyle = ink.fillStyle = "rgba(28,32,36,.75)";
    const ways = colour[3] === 85 ? [1] : colour[3] === 0 ? [1, -1] : [];
    for (const way of ways) for (let x = -14; x < 38; x += 7) { ink.beginPath(); ink.moveTo(x, 14); ink.lineTo(x + 14 * way, 0); ink.stroke(); }
    if (colour[3] === 170) for (let x = 3; x < 24; x += 6) for (let y = 4; y < 14; y += 6) ink.fillRect(x, y, 2, 2);
    one.setAttribute("aria-hidden", "true");
    return one;
  }
  function entry(colour, words) {
    const one = document.createElement("span");
    one.append(swatch(colour), words);
    return one;
  }
  function key() {
    const way = viewer.colouring();
    if (way.said) { $("key").replaceChildren(...way.said.map((words, k) => entry(way.palette[k], words))); return; }
    const marks = [0, 0.25, 0.5, 0.75, 1].map(share => Math.round(share * 253));
    $("key").replaceChildren(`${way.name}:`, ...marks.map(k => entry(way.palette[k], `${+way.values[k].toPrecision(2)} ${way.unit}`)),
      entry(way.palette[254], `over ${+way.high.toPrecision(3)} ${way.unit}`),
      ...(way.unread ? [entry(way.palette[255], "not read here")] : []));
  }
  function sayFace(face) {
    if (face < 0) return;
    const facts = viewer.faceFacts(face), pose = viewer.pose, said = [];
    const tilt = facts.overhang;
    said.push(tilt < -0.5 ? `looks up, ${(-tilt).toFixed(0)}° from a wall` : tilt > 0.5 ? `overhangs ${tilt.toFixed(0)}° from a wall` : "a wall");
    for (const name of ["thickness", "safety"]) {
      const way = data.paints[name], step = facts.bytes[name];
      if (way === undefined || step === 255) continue;
      const own = way.poses ? way.poses[pose.number] : way;
      said.push(`${own.name.toLowerCase()} ${step === 254 ? `over ${+own.high.toPrecision(3)}` : `about ${+own.values[step].toPrecision(2)}`} ${own.unit}`.trim());
    }
    if (facts.feature) said.push(facts.feature);
    $("face-said").textContent = `Face ${face + 1}: ${said.join("; ")}.`;
  }
  document.querySelectorAll("input[name=paint]").forEach(one => one.addEventListener("change", () => { viewer.setPaint(one.value); key(); }));
  choice.addEventListener("change", () => { viewer.setPose(+choice.value); key(); });
  views.addEventListener("change", () => viewer.place(views.value));
  for (const flag of document.querySelectorAll(".flag"))
    flag.addEventListener("click", () => { choice.value = flag.dataset.pose; viewer.setPose(+flag.dataset.pose); key(); });
  let last = 0;
  host.addEventListener("pointermove", event => {
    // Not while the part is being turned, and not more often than a hand can read.
    if (event.buttons || event.timeStamp - last < 60) return;
    last = event.timeStamp;
    sayFace(viewer.pick(event.clientX, event.clientY));
  });
  host.addEventListener("pointerup", event => sayFace(viewer.pick(event.clientX, event.clientY)));
  viewer.setPaint("overhang");
  viewer.setPose(+choice.value);
  document.querySelector("input[name=paint][value=overhang]").checked = true;
  key();
})();
