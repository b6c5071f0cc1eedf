// A part on the bed that a hand can turn. The same file serves the one-file page and any other host: it is handed
// three.js rather than loading it, draws a frame only when something changed, and asks nothing of the network.
//
// `data` is what orient/show/viewer/payload.py writes: corners as 16-bit steps of the part's box, faces as indices,
// one byte a face, or a small triangle of it, for every way of colouring, and the poses as matrices onto the bed.

const INK = 0x1c2024, SUPPORT = 0x466076, LINE = 0x9aa4ad;
// A ray goes through so many faces soon enough for hundreds of rays.
const SOON_FACES = 30000;
const VIEWS = { corner: [undefined, 24], under: [undefined, -30], front: [-90, 0], back: [90, 0], left: [180, 0], right: [0, 0],
  above: [-90, 89.9], below: [-90, -89.9] };

export function bytesOf(text) {
  if (typeof text !== "string") return text;
  if (text[0] !== "~") return Uint8Array.from(atob(text), c => c.charCodeAt(0));
  // Runs: a length and a value each.
  const runs = bytesOf(text.slice(1)), bytes = [];
  for (let k = 0; k < runs.length; k += 2) for (let n = runs[k]; n > 0; n--) bytes.push(runs[k + 1]);
  return Uint8Array.from(bytes);
}

// What draws, with a canvas of its own. To begin it takes a good part of a second where no graphics processor helps, so
// whoever opens one part after another keeps it.
export function rendererOf(THREE) {
  const renderer = new THREE.WebGLRenderer({ antialias: true, alpha: true });
  renderer.outputColorSpace = THREE.LinearSRGBColorSpace;
  return renderer;
}

export function openViewer({ THREE, OrbitControls }, host, data, renderer = rendererOf(THREE)) {
  THREE.ColorManagement.enabled = false;
  renderer.setPixelRatio(Math.min(window.devicePixelRatio || 1, 2));
  const canvas = renderer.domElement;
  canvas.setAttribute("aria-hidden", "true");
  const labels = document.createElement("div");
  labels.className = "viewer-labels";
  // The file's own axes in the corner, so that "along +y" can be read off the view.
  const compass = drawn("svg", { class: "viewer-axes", viewBox: "-34 -34 68 68", "aria-hidden": "true" });
  const axes = ["x", "y", "z"].map(name => [drawn("line", {}), drawn("text", {}, name)]);
  compass.append(...axes.flat());
  host.append(canvas, labels, compass);

  const scene = new THREE.Scene(), laid = new THREE.Group(), bed = new THREE.Group();
  const camera = new THREE.PerspectiveCamera(26, 4 / 3, data.size / 50, data.size * 50);
  camera.up.set(0, 0, 1);
  const lamp = new THREE.DirectionalLight(0xffffff, 1.15);
  lamp.position.set(-0.45, 0.65, 0.62);
  camera.add(lamp);
  scene.add(camera, laid, bed, new THREE.AmbientLight(0xffffff, 2.0));
  laid.matrixAutoUpdate = false;

  // Corners are shared in the data and expanded here, so that face i is triangle i: flat shading, exact picking.
  const steps = new Uint16Array(bytesOf(data.corners).buffer);
  const faces = new (data.wide ? Uint32Array : Uint16Array)(bytesOf(data.faces).buffer);
  const spots = new Float32Array(faces.length * 3);
  for (let k = 0; k < faces.length; k++)
    for (let a = 0; a < 3; a++) spots[3 * k + a] = data.low[a] + steps[3 * faces[k] + a] * data.step[a];
  const shape = new THREE.BufferGeometry();
  shape.setAttribute("position", new THREE.BufferAttribute(spots, 3));
  shape.computeVertexNormals();
  const colour = new THREE.BufferAttribute(new Uint8Array(faces.length * 4), 4, true);
  shape.setAttribute("color", colour);
  const skin = new THREE.MeshLambertMaterial({ vertexColors: true, side: THREE.DoubleSide, polygonOffset: true,
    polygonOffsetFactor: 1, polygonOffsetUnits: 1 });
  // The fourth byte of a colour says how a face is hatched: 255 not at all, 170 dots, 85 lines, 0 both ways.
  skin.onBeforeCompile = shader => {
    shader.fragmentShader = shader.fragmentShader.replace("#include <color_fragment>", `
      diffuseColor.rgb *= vColor.rgb;
      vec2 at = gl_FragCoord.xy / ${(7 * renderer.getPixelRatio()).toFixed(1)};
      float one = step(0.78, fract(at.x + at.y)), two = step(0.78, fract(at.x - at.y));
      float dot_ = step(length(fract(at) - 0.5), 0.2);
      float ink = vColor.a < 0.17 ? max(one, two) : vColor.a < 0.5 ? one : vColor.a < 0.83 ? dot_ : 0.0;
      diffuseColor.rgb *= 1.0 - 0.45 * ink;`);
  };
  const mesh = new THREE.Mesh(shape, skin);
  // Where colours are finer than the faces, these are drawn instead, and the faces are still what a hand points at.
  const small = new THREE.Mesh(new THREE.BufferGeometry(), skin);
  let cut = null;
  // Where the faces were split for colouring, the edges to draw are handed over: splits are none.
  const outline = data.edges === undefined ? new THREE.EdgesGeometry(shape, 24) : new THREE.BufferGeometry().setAttribute("position",
    new THREE.BufferAttribute(new Float32Array(bytesOf(data.edges).buffer), 3));
  const edges = new THREE.LineSegments(outline, new THREE.LineBasicMaterial({ color: INK }));
  const supports = new THREE.LineSegments(new THREE.BufferGeometry(),
    new THREE.LineBasicMaterial({ color: SUPPORT, transparent: true, opacity: 0.55 }));
  laid.add(mesh, small, edges);
  scene.add(supports);
  const arrows = new THREE.Group();
  laid.add(arrows);

  const controls = new OrbitControls(camera, canvas);
  let picked = null, closed = false, waiting = false, settle = 0, pose = null, paint = null, view = "corner", frames = 0, top = null, stood = null, fitted = [0, 0];
  const hit = new THREE.Raycaster(), kept = new Map();
  setArrows(data.arrows);

  // A mark is drawn once more as a ghost, so that a hand sees its point where the part hides it.
  function ghosted(one) {
    for (const mesh of [...one.children]) {
      const ghost = mesh.clone();
      ghost.material = mesh.material.clone();
      Object.assign(ghost.material, { depthTest: false, depthWrite: false, transparent: true, opacity: 0.3 });
      ghost.renderOrder = 2;
      one.add(ghost);
    }
    return one;
  }
  // Where the part is held: a ball.
  function held(at, tint) {
    const one = new THREE.Group();
    one.add(new THREE.Mesh(new THREE.SphereGeometry(data.size * 0.018, 20, 14), new THREE.MeshBasicMaterial({ color: tint })));
    one.position.set(...at);
    return ghosted(one);
  }
  function arrow(at, along, length, tint) {
    const one = new THREE.Group(), skin = new THREE.MeshBasicMaterial({ color: tint }), wide = data.size * 0.006;
    const head = Math.min(data.size * 0.06, length / 2);
    const shaft = new THREE.Mesh(new THREE.CylinderGeometry(wide, wide, length - head, 12), skin);
    const tip = new THREE.Mesh(new THREE.ConeGeometry(head / 3, head, 20), skin);
    shaft.position.y = (length - head) / 2;
    tip.position.y = length - head / 2;
    one.add(shaft, tip);
    one.position.set(...at);
    one.quaternion.setFromUnitVectors(new THREE.Vector3(0, 1, 0), new THREE.Vector3(...along).normalize());
    return one;
  }
  function forget(one) { one.geometry?.dispose(); one.material?.dispose(); }
  function empty(group) { group.traverse(forget); group.clear(); }
  // Loads and fixings, in the part's own coordinates: an arrow, or a ball where there is no length.
  function setArrows(list) {
    data.arrows = list;
    empty(arrows);
    for (const one of list) arrows.add(one.length ? ghosted(arrow(one.at, one.along, one.length, one.colour)) : held(one.at, one.colour));
    if (pose) labelAll();
    request();
  }
  function request() {
    if (closed) return;
    if (!waiting) { waiting = true; requestAnimationFrame(() => { waiting = false; frame(); }); }
    clearTimeout(settle);
    settle = setTimeout(hideCovered, 120);
  }
  function frame() { if (closed) return; renderer.render(scene, camera); frames++; placeLabels(); }
  function fit() {
    const wide = host.clientWidth, high = host.clientHeight;
    if (!wide || !high || (wide === fitted[0] && high === fitted[1])) return;
    const unmoved = stood && camera.position.equals(stood);
    fitted = [wide, high];
    renderer.setSize(wide, high, false);
    camera.aspect = wide / high;
    camera.updateProjectionMatrix();
    // Who has not turned the view sees all of the part in the new window too.
    if (unmoved) place(view); else request();
  }
  function place(name) {
    view = name;
    const [turned, raised] = VIEWS[name], azimuth = (turned === undefined ? pose.azimuth : turned) * Math.PI / 180;
    const elevation = raised * Math.PI / 180;
    controls.target.set(0, 0, pose.height / 2);
    const back = new THREE.Vector3(Math.cos(elevation) * Math.cos(azimuth), Math.cos(elevation) * Math.sin(azimuth), Math.sin(elevation));
    camera.position.copy(back).multiplyScalar(distance(back, -Math.sin(azimuth), Math.cos(azimuth))).add(controls.target);
    controls.update();
    stood = camera.position.clone();
    request();
  }
  // How far back a camera stands that looks along -back and sees all there is, labels and all.
  function distance(back, rightX, rightY) {
    const right = new THREE.Vector3(rightX, rightY, 0), upward = new THREE.Vector3().crossVectors(back, right);
    const high = Math.tan(camera.fov * Math.PI / 360), wide = high * camera.aspect, points = [];
    const [x, y] = pose.bed;
    for (const a of [-x, x]) for (const b of [-y, y]) points.push(new THREE.Vector3(a, b, 0), new THREE.Vector3(a, b, pose.height));
    if (top) points.push(top);
    for (const one of data.arrows) points.push(new THREE.Vector3(...one.at).applyMatrix4(laid.matrix));
    // Room for words at the sides and above, in shares of half the window.
    const side = Math.max(0.5, 1 - 60 / (fitted[0] || 600)), above = Math.max(0.5, 1 - 40 / (fitted[1] || 400));
    let away = data.size / 2;
    for (const one of points) {
      const at = one.clone().sub(controls.target), near = at.dot(back);
      away = Math.max(away, near + Math.abs(at.dot(right)) / (wide * side), near + Math.abs(at.dot(upward)) / (high * above));
    }
    return away;
  }
  function turn(across, upward) {
    const away = camera.position.clone().sub(controls.target), r = away.length();
    const polar = Math.min(Math.max(Math.acos(away.z / r) - upward, 0.01), Math.PI - 0.01);
    const azimuth = Math.atan2(away.y, away.x) + across;
    away.set(Math.sin(polar) * Math.cos(azimuth), Math.sin(polar) * Math.sin(azimuth), Math.cos(polar)).multiplyScalar(r);
    camera.position.copy(controls.target).add(away);
    controls.update();
    request();
  }
  function zoom(times) {
    camera.position.sub(controls.target).multiplyScalar(times).add(controls.target);
    controls.update();
    request();
  }
  function recolour() {
    const own = colouring(paint), code = decoded(own, "code"), palette = own.palette;
    if (own.levels) cutBy(own.levels);
    small.visible = Boolean(own.levels);
    mesh.visible = !own.levels;
    const colours = own.levels ? small.geometry.attributes.color : colour, to = colours.array;
    for (let f = 0; f < code.length; f++)
      for (let k = 0; k < 3; k++) to.set(palette[code[f]], 12 * f + 4 * k);
    colours.needsUpdate = true;
    supports.visible = paint === "overhang";
    for (const one of labels.children) one.hidden = Boolean(one.paint) && one.paint !== paint;
    request();
  }
  // Every face in rows along its first side, as orient/show/viewer/finer.py counts the small triangles.
  function cutBy(told) {
    if (cut && cut.told === told) return;
    const levels = bytesOf(told), starts = new Uint32Array(levels.length);
    let count = 0;
    levels.forEach((n, f) => { starts[f] = count; count += n * n; });
    const all = new Float32Array(9 * count), looks = new Float32Array(9 * count), own = shape.attributes.normal.array;
    let at = 0;
    levels.forEach((n, f) => {
      const put = (i, j) => {
        for (let a = 0; a < 3; a++) {
          const origin = spots[9 * f + a];
          looks[at] = own[9 * f + a];
          all[at++] = origin + (j * (spots[9 * f + 3 + a] - origin) + i * (spots[9 * f + 6 + a] - origin)) / n;
        }
      };
      for (let i = 0; i < n; i++) for (let j = 0; j < n - i; j++) {
        put(i, j); put(i, j + 1); put(i + 1, j);
        if (j < n - i - 1) { put(i, j + 1); put(i + 1, j + 1); put(i + 1, j); }
      }
    });
    small.geometry.dispose();
    small.geometry = new THREE.BufferGeometry();
    small.geometry.setAttribute("position", new THREE.BufferAttribute(all, 3));
    small.geometry.setAttribute("normal", new THREE.BufferAttribute(looks, 3));
    small.geometry.setAttribute("color", new THREE.BufferAttribute(new Uint8Array(12 * count), 4, true));
    cut = { told, levels, starts };
  }
  // Of a face that is cut, the byte where a point of it lies; without a point, that of its worst place.
  function byteOf(way, face, point) {
    const code = decoded(way, "code");
    if (!way.levels) return code[face];
    cutBy(way.levels);
    const n = cut.levels[face], from = cut.starts[face];
    if (!point) {
      const own = code.subarray(from, from + n * n), known = own.filter(step => step < 254);
      return known.length ? known.reduce((a, b) => Math.max(a, b)) : own[0];
    }
    const corner = k => new THREE.Vector3().fromArray(spots, 9 * face + 3 * k), weights = new THREE.Vector3();
    THREE.Triangle.getBarycoord(point, corner(0), corner(1), corner(2), weights);
    const row = Math.min(Math.max(Math.floor(weights.z * n), 0), n - 1);
    const place = Math.min(Math.max(Math.floor(weights.y * n), 0), n - 1 - row);
    const hangs = weights.y * n - place + weights.z * n - row > 1 && place < n - 1 - row ? 1 : 0;
    return code[from + row * (2 * n - row) + 2 * place + hangs];
  }
  // Undefined where this pose has not been coloured so.
  function colouring(name) { const way = data.paints[name]; return way && (way.poses ? way.poses[pose.number] : way); }
  function decoded(one, name) {
    if (typeof one[name] !== "string") return one[name];
    if (!kept.has(one[name])) kept.set(one[name], bytesOf(one[name]));
    return kept.get(one[name]);
  }
  function setPaint(name) { paint = name; if (pose) recolour(); }
  function setPose(number, keepView = false) {
    pose = data.poses.find(one => one.number === number);
    laid.matrix.fromArray(pose.matrix);
    laid.matrixWorldNeedsUpdate = true;
    const columns = new Float32Array(bytesOf(pose.columns).buffer);
    supports.geometry.setAttribute("position", new THREE.BufferAttribute(columns, 3));
    supports.geometry.computeBoundingSphere();
    empty(bed);
    const [x, y] = pose.bed, points = [];
    for (let at = -x; at <= x + 1e-6; at += pose.square) points.push(at, -y, 0, at, y, 0);
    for (let at = -y; at <= y + 1e-6; at += pose.square) points.push(-x, at, 0, x, at, 0);
    const squares = new THREE.BufferGeometry();
    squares.setAttribute("position", new THREE.Float32BufferAttribute(points, 3));
    bed.add(new THREE.LineSegments(squares, new THREE.LineBasicMaterial({ color: LINE })));
    // The arrow stands at the corner that is leftmost in the view from a corner.
    const turned = pose.azimuth * Math.PI / 180, right = [-Math.sin(turned), Math.cos(turned)];
    const foot = [[-x, -y], [x, -y], [x, y], [-x, y]].sort((a, b) => a[0] * right[0] + a[1] * right[1] - b[0] * right[0] - b[1] * right[1])[0];
    const tall = Math.max(pose.height, 2 * pose.square);
    foot[0] -= right[0] * pose.square; foot[1] -= right[1] * pose.square;
    bed.add(arrow([...foot, 0], [0, 0, 1], tall, data.tint));
    top = new THREE.Vector3(...foot, tall * 1.07);
    labelAll();
    recolour();
    if (keepView) request(); else place(view);
  }
  function labelAll() {
    const spot = at => new THREE.Vector3(...at).applyMatrix4(laid.matrix);
    labels.replaceChildren(label("build", top, "plain"),
      ...data.arrows.filter(one => one.said).map(one => label(one.said, beyond(one), "plain")),
      ...pose.labels.map(one => label(one.id, spot(one.at), one.paint === "features" ? "letter" : "weakest", one.paint)));
    for (const one of labels.children) one.hidden = Boolean(one.paint) && one.paint !== paint;
  }
  // Words of an arrow stand behind its tail, of a ball above it.
  function beyond(one) {
    const at = new THREE.Vector3(...one.at);
    if (one.length) at.addScaledVector(new THREE.Vector3(...one.along).normalize(), -0.05 * data.size);
    at.applyMatrix4(laid.matrix);
    if (!one.length) at.z += 0.05 * data.size;
    return at;
  }
  function label(said, spot, kind, paint = "") {
    const one = document.createElement("span");
    one.className = kind;
    one.textContent = said;
    one.spot = spot;
    one.paint = paint;
    return one;
  }
  function placeAxes() {
    const at = new THREE.Vector3(), seen = camera.quaternion.clone().invert();
    axes.forEach(([line, word], k) => {
      at.setFromMatrixColumn(laid.matrix, k).normalize().applyQuaternion(seen);
      for (const [one, x, y, reach] of [[line, "x2", "y2", 20], [word, "x", "y", 28]]) {
        one.setAttribute(x, (reach * at.x).toFixed(1));
        one.setAttribute(y, (-reach * at.y).toFixed(1));
      }
    });
  }
  function placeLabels() {
    placeAxes();
    const at = new THREE.Vector3(), placed = [];
    for (const one of labels.children) {
      at.copy(one.spot).project(camera);
      const x = (at.x + 1) / 2 * host.clientWidth;
      let y = (1 - at.y) / 2 * host.clientHeight;
      if (one.className.startsWith("letter") && !one.hidden) {
        // Letters of one corner stand below each other.
        const own = y;
        while (placed.some(([a, b]) => Math.abs(a - x) < 30 && Math.abs(b - y) < 19)) y += 4;
        // Too far from its place it would be taken for another's.
        one.classList.toggle("crowded", y - own > 42 && !one.classList.contains("chosen"));
        if (y - own <= 42) placed.push([x, y]);
      }
      one.style.transform = `translate(${x.toFixed(1)}px, ${y.toFixed(1)}px) ${one.className.startsWith("weakest") ? "translate(-50%, calc(-100% - 12px))" : "translate(-50%, -50%)"}`;
    }
  }
  // A label whose place the part hides is dimmed, once the part has come to rest.
  function hideCovered() {
    const away = new THREE.Vector3();
    for (const one of labels.children) {
      if (one.hidden || one.className === "plain") continue;
      away.copy(one.spot).sub(camera.position);
      hit.set(camera.position, away.clone().normalize());
      hit.far = away.length() - 0.012 * data.size;
      const covered = hit.intersectObject(mesh, false).length > 0;
      one.classList.toggle("covered", covered);
      // What no way leads to lies inside.
      if (covered && one.className.startsWith("weakest") && one.inside === undefined) one.inside = !clearWay(one.spot, away.negate().normalize());
      one.classList.toggle("inside", Boolean(covered && one.inside));
    }
    hit.far = Infinity;
  }
  // The way nearest to one that is wished for from which nothing of the part stands before a place, if there is any.
  // Where the place lies on a face, what that looks along is handed over: through its back nothing is seen.
  function clearWay(spot, wished, looks = null) {
    laid.updateMatrixWorld(true);
    const clear = way => {
      if (looks && way.dot(looks) < 0.1) return false;
      hit.set(spot.clone().addScaledVector(way, 2 * data.size), way.clone().negate());
      hit.far = 1.997 * data.size;
      return !hit.intersectObject(mesh, false).length;
    };
    // A pocket is looked into by few ways: where few tries find none, more are made, on a part that is soon gone through.
    let found = clear(wished) ? wished : undefined;
    for (const tries of faces.length <= 3 * SOON_FACES ? [40, 400] : [40]) {
      if (found) break;
      const ways = Array.from({ length: tries }, (_, k) => {
        const z = 1 - (2 * k + 1) / tries, r = Math.sqrt(1 - z * z), turned = 2.399963 * k;
        return new THREE.Vector3(r * Math.cos(turned), r * Math.sin(turned), z);
      });
      found = ways.sort((a, b) => b.dot(wished) - a.dot(wished)).find(clear);
    }
    hit.far = Infinity;
    return found && found.clone();
  }
  function aim(x, y) {
    const box = canvas.getBoundingClientRect();
    camera.updateMatrixWorld();
    hit.setFromCamera(new THREE.Vector2(2 * (x - box.left) / box.width - 1, 1 - 2 * (y - box.top) / box.height), camera);
  }
  // The face under a point of the window, or -1, and where on it that lies.
  function pick(x, y) {
    aim(x, y);
    laid.updateMatrixWorld(true);
    const [found] = hit.intersectObject(mesh, false);
    picked = found ? laid.worldToLocal(found.point.clone()).toArray() : null;
    return found ? found.faceIndex : -1;
  }
  // The same ray in the part's own coordinates, to hold a pick against another program.
  function ray(x, y) {
    aim(x, y);
    const back = laid.matrix.clone().invert(), from = hit.ray.origin.clone().applyMatrix4(back);
    return { origin: from.toArray(), direction: hit.ray.direction.clone().transformDirection(back).toArray() };
  }
  // What a face is, for words: its tilt against the build direction, and its byte in a way of colouring, where a
  // point of it lies if one is meant.
  function faceFacts(face, at) {
    const own = new THREE.Vector3().fromBufferAttribute(shape.attributes.normal, 3 * face).transformDirection(laid.matrix);
    const bytes = {};
    for (const name in data.paints) if (colouring(name)) bytes[name] = byteOf(colouring(name), face, at && new THREE.Vector3(...at));
    return { feature: pose.names[decoded(pose, "owner")[face] - 1], overhang: Math.asin(Math.min(1, Math.max(-1, -own.z))) * 180 / Math.PI, bytes };
  }

  controls.addEventListener("change", request);
  const keys = { ArrowLeft: () => turn(-0.175, 0), ArrowRight: () => turn(0.175, 0), ArrowUp: () => turn(0, 0.175),
    ArrowDown: () => turn(0, -0.175), "+": () => zoom(0.87), "=": () => zoom(0.87), "-": () => zoom(1.15), Home: () => place("corner") };
  const listening = new AbortController(), watching = new ResizeObserver(fit);
  host.addEventListener("keydown", event => {
    if (keys[event.key] && !event.ctrlKey && !event.metaKey) { keys[event.key](); event.preventDefault(); }
  }, { signal: listening.signal });
  // The host and what draws are left as they were, for another part.
  function close() {
    listening.abort();
    watching.disconnect();
    controls.dispose();
    clearTimeout(settle);
    closed = true;
    scene.traverse(forget);
    for (const one of [canvas, labels, compass]) one.remove();
  }
  watching.observe(host);
  fit();
  return { renderer, close, scene, laid, mesh, shape, supports, labels, bed, hit, aim, clearWay, setArrows, request, setPose, setPaint, place, turn, zoom, pick, ray, faceFacts, canvas, camera, controls, colouring: () => colouring(paint), colouringBy: colouring, render: frame, get frames() { return frames; },
    get pose() { return pose; }, get picked() { return picked; }, get paint() { return paint; } };
}

function drawn(name, given, said = "") {
  const one = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const [key, value] of Object.entries(given)) one.setAttribute(key, value);
  one.textContent = said;
  return one;
}

// The key of a way of colouring, as a row of swatches with their words.
export function keyOf(way) {
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
  if (way.said) return way.said.map((words, k) => entry(way.palette[k], words));
  const marks = [0, 0.25, 0.5, 0.75, 1].map(share => Math.round(share * 253));
  return [`${way.name}:`, ...marks.map(k => entry(way.palette[k], `${+way.values[k].toPrecision(2)} ${way.unit}`.trim() + (k === 253 && way.values[k] > 0 ? " or less" : ""))),
    entry(way.palette[254], `over ${+way.high.toPrecision(3)} ${way.unit}`),
    ...(way.unread ? [entry(way.palette[255], way.unread_said)] : []), ...(way.told ? [` ${way.told}`] : [])];
}

// What a face is, in words: its tilt, what was measured there, its hard feature.
export function wordsOf(viewer, face, at) {
  const facts = viewer.faceFacts(face, at), tilt = facts.overhang, said = [];
  said.push(tilt < -89.5 ? "looks straight up" : tilt > 89.5 ? "overhangs, straight down" : tilt < -0.5 ? `looks up, ${(-tilt).toFixed(0)}° from the vertical` : tilt > 0.5 ? `overhangs ${tilt.toFixed(0)}° from the vertical` : "stands upright");
  for (const name of ["thickness", "safety"]) {
    const way = viewer.colouringBy(name), step = facts.bytes[name];
    if (way === undefined || step === undefined || step === 255) continue;
    said.push(`${way.name.toLowerCase()} ${step === 254 ? `over ${+way.high.toPrecision(3)}` : `${way.told ? "down to" : "about"} ${+way.values[step].toPrecision(2)}`} ${way.unit}`.trim());
  }
  if (facts.feature) said.push(facts.feature);
  return `${said.join("; ")}.`;
}
