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
  function key() { $("key").replaceChildren(...keyOf(viewer.colouring())); }
  function sayFace(face) {
    if (face >= 0) $("face-said").textContent = `Face ${face + 1}: ${wordsOf(viewer, face, viewer.picked)}`;
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
