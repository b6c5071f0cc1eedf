// The comparison's own wiring: one viewer a variant, all turned together.
"use strict";
(() => {
  const $ = id => document.getElementById(id);
  const data = JSON.parse($("part-data").textContent);
  const viewers = [];
  try {
    data.variants.forEach((one, k) => {
      const host = $(`viewer${k}`), viewer = openViewer(library, host, one);
      host.viewer = viewer;
      viewers.push(viewer);
    });
  } catch (error) {
    // No WebGL here: the pictures below show the same.
    document.querySelectorAll(".viewer").forEach(host => { host.textContent = "This browser cannot draw in 3D; see the pictures below."; });
    return;
  }
  // What one camera does, the others do: the first that moves leads until all have followed.
  let leading = false;
  for (const one of viewers)
    one.controls.addEventListener("change", () => {
      if (leading) return;
      leading = true;
      for (const other of viewers) {
        if (other === one) continue;
        other.camera.position.copy(one.camera.position);
        other.controls.target.copy(one.controls.target);
        other.controls.update();
      }
      leading = false;
    });
  const pair = $("pair-choice");
  function paint() {
    viewers.forEach((viewer, k) => viewer.setPaint(k ? `pair${k}` : pair ? pair.value : "pair1"));
  }
  function pose() { for (const viewer of viewers) viewer.setPose(+$("pose-choice").value); }
  paint();
  pose();
  $("pose-choice").addEventListener("change", pose);
  $("view-choice").addEventListener("change", event => viewers[0].place(event.target.value));
  if (pair) pair.addEventListener("change", paint);
})();
