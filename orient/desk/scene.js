// The part on the bed as an element of the desk: the page's own viewer, with what a hand does at a desk added.
// It turns over when another pose is chosen, shows what a click would select, turns under the hand, and goes to
// a feature. Nothing is drawn while nothing changes.
import { THREE, OrbitControls } from "nicegui-scene";
import { openViewer, rendererOf, keyOf, wordsOf } from "orient-viewer/viewer.js";

const OVER_MS = 700, NEAR_MS = 500, STILL_PX = 5, LOOK_MS = 50, KEYS_MS = 700, BEGIN_MS = 300;
// Okabe and Ito's: what a click would take, what is held, what is pushed, what matters; none of the key's own.
const NAMED = { fixed: "held", load: "pushed", matters: "matters" };
const MARKS = { hover: 0x5b6570, fixed: 0x009e73, load: 0xf0e442, matters: 0xcc79a7, axis: 0x0072b2 };
const calm = matchMedia("(prefers-reduced-motion: reduce)");

async function fetched(address, kind) {
  const answer = await fetch(address);
  if (!answer.ok) throw new Error(`${address}: ${answer.status}`);
  return kind === "json" ? answer.json() : new Uint8Array(await answer.arrayBuffer());
}

export default {
  template: `
    <div class="scene">
      <div class="viewer" ref="host" tabindex="0" role="application"
        aria-label="The part in 3D. Arrow keys turn it, plus and minus come nearer and go away, Home goes back. When a face is asked for, Enter takes what is in the middle."></div>
      <p class="pointed" ref="pointed" hidden></p>
      <p class="face-said small" ref="said" aria-live="polite"></p>
      <slot></slot>
      <div class="key" ref="key"></div>
    </div>`,
  props: { hint: String, quiet: Boolean },
  created() { this.work = Promise.resolve(); this.mode = { name: "look" }; this.colourings = new Map(); },
  mounted() {
    const host = this.$refs.host;
    host.addEventListener("pointerdown", this.down);
    host.addEventListener("pointermove", this.move);
    host.addEventListener("pointerup", this.up);
    host.addEventListener("pointerleave", () => { this.pointer = null; clearTimeout(this.later); this.hover(-1); this.keyed(); });
    // Before the viewer's own keys, which turn the view.
    host.addEventListener("keydown", this.key, true);
    host.addEventListener("blur", () => this.hover(-1));
    this.$el.scene = this;
    this.$emit("ready");
    // What draws is begun while somebody looks for a file. Whether it can be is told when there is a part.
    if (!this.quiet) this.begun = setTimeout(() => { try { this.draws(); } catch { /* told by open */ } }, BEGIN_MS);
  },
  beforeUnmount() {
    // What is still being fetched finds nobody to draw it.
    this.gone = true;
    this.close();
    for (const one of [this.begun, this.later, this.resting]) clearTimeout(one);
    if (!this.renderer) return;
    this.renderer.dispose();
    this.renderer.forceContextLoss();
    this.renderer = null;
  },
  methods: {
    // What the server asks for is done in the order in which it was asked, one after the other.
    then(step) {
      this.work = this.work.then(() => this.gone ? undefined : step()).catch(error => {
        if (this.gone) return;
        console.error(error);
        this.$emit("trouble", String(error));
      });
      return this.work;
    },
    close() {
      if (!this.viewer) return;
      cancelAnimationFrame(this.turning);
      this.viewer.close();
      this.viewer = null;
    },
    // What draws, begun once.
    draws() {
      if (!this.renderer) {
        this.renderer = rendererOf(THREE);
        // A browser takes it away where a machine sleeps or too many are open, and gives it back.
        this.renderer.domElement.addEventListener("webglcontextrestored", () => this.viewer?.request());
      }
      return this.renderer;
    },
    // One that waits is not shown before the first pose is: a page that is loaded anew does not turn the part over.
    open(address, waits) {
      return this.then(async () => {
        this.data = await fetched(address, "json");
        if (this.gone) return;
        this.close();
        clearTimeout(this.resting);
        Object.assign(this, { turned: false, held: null, pressed: null });
        this.marks = new Map();
        this.edges = null;
        this.kinds = new Set();
        this.holes = { of: null, list: [] };
        const bytes = text => Uint8Array.from(atob(text), c => c.charCodeAt(0)).buffer;
        // A part that is only to be looked at comes without what a hand points at.
        this.regions = new (this.data.many ? Uint32Array : Uint16Array)(bytes(this.data.regions || ""));
        this.hull = new Float32Array(bytes(this.data.hull || ""));
        try {
          this.viewer = openViewer({ THREE, OrbitControls }, this.$refs.host, this.data, this.draws());
        } catch (error) {
          this.$refs.host.textContent = "This browser cannot draw in 3D. The small pictures in the list show the poses.";
          this.$refs.host.classList.add("no-canvas");
          return;
        }
        this.$refs.host.viewer = this.viewer;
        this.viewer.setPaint(this.data.first ? this.data.first.paint : "plain");
        this.viewer.setPose(this.data.first ? this.data.first.pose : 0);
        this.viewer.laid.visible = !waits;
        this.keyed();
      });
    },
    async withHoles(address, list) {
      return this.then(async () => { const raw = await fetched(address); this.holes = { of: new Uint16Array(raw.buffer), list }; this.again(); });
    },
    // A pose that can be shown from now on.
    addPose(lying, files, keys) {
      return this.then(async () => {
        if (!this.viewer) return;
        const [columns, overhang, hard, owner] = await Promise.all([files.columns, files.overhang, files.hard, files.owner]
          .map(address => address ? fetched(address) : null));
        if (!this.viewer) return;
        const faces = this.regions.length, paints = this.data.paints;
        this.data.poses = this.data.poses.filter(one => one.number !== lying.number);
        this.data.poses.push({ ...lying, columns, owner: owner || new Uint8Array(faces) });
        (paints.overhang ||= { poses: {} }).poses[lying.number] = { ...keys.overhang, code: overhang };
        delete (paints.safety || { poses: {} }).poses[lying.number];
        if (hard) (paints.features ||= { poses: {} }).poses[lying.number] = { ...keys.hard, code: hard };
      });
    },
    addColours(kind, number, key, address) {
      return this.then(async () => {
        if (!this.viewer) return;
        const way = { ...key, code: await fetched(address) };
        if (!this.viewer) return;
        const paints = this.data.paints;
        if (number === null) paints[kind] = way; else (paints[kind] ||= { poses: {} }).poses[number] = way;
      });
    },
    show(number, paint) {
      return this.then(() => {
        const viewer = this.viewer;
        if (!viewer) return;
        const waited = !viewer.laid.visible;
        viewer.laid.visible = true;
        if (!this.data.poses.some(one => one.number === number)) return;
        this.land();
        const had = viewer.pose && viewer.pose.number, before = viewer.laid.matrix.clone();
        const eye = viewer.camera.position.clone(), target = viewer.controls.target.clone();
        // Its own colours belong to a pose: between two of them the part is plain.
        this.lined([]);
        if (this.can("plain", number)) viewer.setPaint("plain");
        // A pose that is on the bed already is seen from where it is seen: what was looked at is not lost.
        const lies = new THREE.Matrix4().fromArray(this.data.poses.find(one => one.number === number).matrix);
        viewer.setPose(number, had > 0 && before.equals(lies));
        if (this.can(paint, number)) viewer.setPaint(paint);
        this.shade();
        this.keyed();
        if (had === null || waited || calm.matches || !this.hull.length || before.equals(viewer.laid.matrix)) return;
        return this.turnOver(before, eye, target);
      });
    },
    can(paint, number) { const way = this.data.paints[paint]; return way && (!way.poses || way.poses[number]); },
    paint(kind) {
      return this.then(() => {
        if (!this.viewer || !this.can(kind, this.viewer.pose.number)) return;
        this.viewer.setPaint(kind);
        this.shade();
        this.keyed();
      });
    },
    keyed() {
      if (!this.viewer) return;
      if (this.quiet) { this.$refs.key.replaceChildren(); return; }
      const way = this.viewer.colouring(), named = this.bare() ? Object.keys(NAMED).filter(kind => this.kinds.has(kind)) : [];
      const rgb = tint => [tint >> 16, (tint >> 8) & 255, tint & 255, 255];
      this.$refs.key.replaceChildren(...(this.viewer.paint === "plain" ? [] : keyOf(way)),
        ...keyOf({ said: named.map(kind => NAMED[kind]), palette: named.map(kind => rgb(MARKS[kind])) }));
      const pale = this.viewer.paint === "features" && this.viewer.pose.labels.length ? "Pale letters lie behind the part. " : "";
      this.$refs.said.textContent = pale + (this.mode.name === "hand" ? "Drag to turn the part itself." : this.hint || "");
    },
    // From how it lay to how it lies, its lowest point on the bed all the way.
    turnOver(before, eye, target) {
      const viewer = this.viewer, after = viewer.laid.matrix.clone(), seen = viewer.camera.position.clone(), aim = viewer.controls.target.clone();
      const [p, q, one] = [new THREE.Vector3(), new THREE.Quaternion(), new THREE.Vector3(1, 1, 1)], [P, Q] = [p.clone(), q.clone()];
      before.decompose(p, q, new THREE.Vector3());
      after.decompose(P, Q, new THREE.Vector3());
      const middle = new THREE.Vector3(), count = this.hull.length / 3, at = new THREE.Vector3();
      for (let k = 0; k < count; k++) middle.add(at.fromArray(this.hull, 3 * k));
      middle.divideScalar(count);
      const from = middle.clone().applyMatrix4(before), to = middle.clone().applyMatrix4(after);
      viewer.supports.visible = false;
      viewer.labels.hidden = true;
      const started = performance.now();
      return new Promise(done => {
        this.landed = () => {
          cancelAnimationFrame(this.turning);
          this.landed = null;
          viewer.laid.matrix.copy(after);
          viewer.laid.matrixWorldNeedsUpdate = true;
          viewer.camera.position.copy(seen);
          viewer.controls.target.copy(aim);
          viewer.controls.update();
          viewer.supports.visible = viewer.paint === "overhang";
          viewer.labels.hidden = false;
          viewer.request();
          done();
        };
        const step = now => {
          const share = Math.min(1, (now - started) / OVER_MS), s = share * share * (3 - 2 * share);
          if (share >= 1 || !this.viewer) { this.landed(); return; }
          const turn = q.clone().slerp(Q, s), place = from.clone().lerp(to, s);
          this.lay(turn, place.x, place.y, middle);
          viewer.camera.position.lerpVectors(eye, seen, s);
          viewer.controls.target.lerpVectors(target, aim, s);
          viewer.camera.lookAt(viewer.controls.target);
          viewer.render();
          this.turning = requestAnimationFrame(step);
        };
        this.turning = requestAnimationFrame(step);
      });
    },
    land() { if (this.landed) this.landed(); },
    // Lays the part turned so, a point of it above a place of the bed, its lowest point on it.
    lay(turn, x, y, middle) {
      const viewer = this.viewer, at = new THREE.Vector3(), count = this.hull.length / 3;
      let low = Infinity;
      for (let k = 0; k < count; k++) low = Math.min(low, at.fromArray(this.hull, 3 * k).applyQuaternion(turn).z);
      const spot = middle.clone().applyQuaternion(turn);
      viewer.laid.matrix.compose(new THREE.Vector3(x - spot.x, y - spot.y, -low), turn, new THREE.Vector3(1, 1, 1));
      viewer.laid.matrixWorldNeedsUpdate = true;
    },
    arrows(list) { return this.then(() => { if (this.viewer) this.viewer.setArrows(list); }); },
    // Faces to show as taken: a list of { kind, faces }, where faces are at an address.
    mark(list) {
      return this.then(async () => {
        if (!this.viewer) return;
        const drawn = await Promise.all(list.map(async one => ({ kind: one.kind, faces: new Int32Array((await fetched(one.faces)).buffer) })));
        if (!this.viewer) return;
        for (const name of [...this.marks.keys()]) if (name !== "hover") this.overlay(name, null);
        drawn.forEach((one, k) => this.overlay(`mark${k}`, one.faces, MARKS[one.kind]));
        this.kinds = new Set(list.map(one => one.kind));
        this.shade();
        this.keyed();
        this.viewer.request();
      });
    },
    // What the job names is tinted only where faces bear no colour of their own.
    bare() { return ["plain", "overhang"].includes(this.viewer.paint); },
    shade() {
      const bare = this.bare();
      for (const [name, one] of this.marks) one.visible = bare || name === "hover";
    },
    overlay(name, faces, tint) {
      const old = this.marks.get(name);
      if (old) { this.viewer.laid.remove(old); old.geometry.dispose(); old.material.dispose(); this.marks.delete(name); }
      if (!faces || !faces.length) return;
      const all = this.viewer.shape.attributes.position.array, spots = new Float32Array(faces.length * 9);
      for (let k = 0; k < faces.length; k++) spots.set(all.subarray(9 * faces[k], 9 * faces[k] + 9), 9 * k);
      const shape = new THREE.BufferGeometry().setAttribute("position", new THREE.BufferAttribute(spots, 3));
      shape.computeVertexNormals();
      const skin = new THREE.MeshLambertMaterial({ color: tint, side: THREE.DoubleSide, polygonOffset: true, polygonOffsetFactor: -1, polygonOffsetUnits: -1 });
      const one = new THREE.Mesh(shape, skin);
      this.marks.set(name, one);
      this.viewer.laid.add(one);
    },
    // look: turn the view; face, hole, point: a click takes one; hand: drag turns the part itself.
    setMode(name, words) {
      return this.then(() => {
        this.mode = { name, words: words || "" };
        const host = this.$refs.host;
        host.classList.toggle("picking", !["look", "hand"].includes(name));
        host.classList.toggle("handling", name === "hand");
        if (this.viewer) this.viewer.controls.enabled = name !== "hand";
        this.hover(-1);
        this.keyed();
        this.again();
      });
    },
    // What lies under a pointer that rests, once something else can be said of it.
    again() {
      if (this.pointer) this.look(this.pointer);
      else if (this.$refs.host === document.activeElement && this.picks()) this.look(this.middle());
    },
    picks() { return ["any", "face", "point"].includes(this.mode.name); },
    // For a hand on the keyboard the middle of the view is the pointer.
    middle() {
      const box = this.$refs.host.getBoundingClientRect();
      return { clientX: box.left + box.width / 2, clientY: box.top + box.height / 2 };
    },
    key(event) {
      if (!this.viewer || event.ctrlKey || event.metaKey || event.altKey) return;
      const step = event.shiftKey ? 1 : 5, turn = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] }[event.key];
      if (this.mode.name === "hand" && turn) {
        event.preventDefault();
        event.stopImmediatePropagation();
        this.land();
        this.lift();
        this.turnBy(turn[0] * Math.PI / 180, turn[1] * Math.PI / 180);
        clearTimeout(this.resting);
        this.resting = setTimeout(() => this.putDown(), KEYS_MS);
      } else if (this.picks()) {
        if (event.key === "Enter" || event.key === " ") { event.preventDefault(); this.take(this.middle()); }
        else setTimeout(() => this.look(this.middle()));
      }
    },
    see(name) { return this.then(() => { if (this.viewer) { this.land(); this.viewer.place(name); } }); },
    // The camera goes to a place of the part, and looks at it from the side that it looks to.
    goTo(place, looks, reach, id, lines, sight) {
      return this.then(() => {
        const viewer = this.viewer;
        if (!viewer) return;
        this.land();
        // Of several letters that lie over each other the chosen one is on top.
        for (const one of viewer.labels.children) one.classList.toggle("chosen", one.textContent === id);
        this.lined(lines || []);
        const target = new THREE.Vector3(...place).applyMatrix4(viewer.laid.matrix);
        let way = new THREE.Vector3(...looks).transformDirection(viewer.laid.matrix);
        const faces = new THREE.Vector3(...looks).length() > 1e-6 ? way.clone() : null;
        const now = viewer.camera.position.clone().sub(viewer.controls.target).normalize();
        // Seen a little from the side, so that what stands about it is seen too.
        if (faces) way.multiplyScalar(1.2).add(now.multiplyScalar(0.8)).normalize();
        else way = now;
        const seen = new THREE.Vector3(...sight).applyMatrix4(viewer.laid.matrix);
        way = viewer.clearWay(seen, way, faces) || way;
        if (Math.abs(way.z) > 0.97) way.x += 0.3;
        const far = Math.min(Math.max(5 * reach, 0.5 * this.data.size), this.data.size) / (2 * Math.tan(13 * Math.PI / 180)) * 0.75;
        const eye = target.clone().add(way.normalize().multiplyScalar(far));
        return this.fly(eye, target);
      });
    },
    // Edges that are shown as chosen, six numbers each.
    lined(list) {
      const { laid } = this.viewer;
      if (this.edges) { laid.remove(this.edges); this.edges.traverse(one => one.geometry?.dispose()); }
      this.edges = new THREE.Group();
      const skin = new THREE.MeshBasicMaterial({ color: 0x005a8c }), up = new THREE.Vector3(0, 1, 0);
      for (let k = 0; k < list.length; k += 6) {
        const from = new THREE.Vector3().fromArray(list, k), way = new THREE.Vector3().fromArray(list, k + 3).sub(from), long = way.length();
        const one = new THREE.Mesh(new THREE.CylinderGeometry(0.004 * this.data.size, 0.004 * this.data.size, long, 8), skin);
        one.position.copy(from).addScaledVector(way, 0.5);
        one.quaternion.setFromUnitVectors(up, way.normalize());
        this.edges.add(one);
      }
      laid.add(this.edges);
      this.viewer.request();
    },
    fly(eye, target) {
      const viewer = this.viewer, from = viewer.camera.position.clone(), aim = viewer.controls.target.clone(), started = performance.now();
      return new Promise(done => {
        const end = () => { viewer.camera.position.copy(eye); viewer.controls.target.copy(target); viewer.controls.update(); viewer.request(); done(); };
        if (calm.matches) { end(); return; }
        const step = now => {
          const share = Math.min(1, (now - started) / NEAR_MS), s = share * share * (3 - 2 * share);
          if (share >= 1 || this.viewer !== viewer) { end(); return; }
          viewer.camera.position.lerpVectors(from, eye, s);
          viewer.controls.target.lerpVectors(aim, target, s);
          viewer.camera.lookAt(viewer.controls.target);
          viewer.render();
          requestAnimationFrame(step);
        };
        requestAnimationFrame(step);
      });
    },
    // Two scenes side by side are seen from the same side.
    follow(id) {
      return this.then(async () => {
        const other = document.getElementById(id)?.scene;
        await other?.work;
        if (!other?.viewer || !this.viewer) return;
        const pair = [this.viewer, other.viewer];
        let leading = false;
        pair.forEach((one, k) => one.controls.addEventListener("change", () => {
          const led = pair[1 - k];
          if (leading || !led) return;
          leading = true;
          led.camera.position.copy(one.camera.position);
          led.controls.target.copy(one.controls.target);
          led.controls.update();
          leading = false;
        }));
        other.viewer.camera.position.copy(this.viewer.camera.position);
        other.viewer.controls.target.copy(this.viewer.controls.target);
        other.viewer.controls.update();
      });
    },
    spot(event) {
      const viewer = this.viewer;
      viewer.aim(event.clientX, event.clientY);
      viewer.laid.updateMatrixWorld(true);
      const found = viewer.hit.intersectObject(viewer.mesh, false)[0];
      const mouth = this.mode.name === "any" && this.mouthAt(viewer.hit.ray, found ? found.distance : Infinity);
      if (mouth) return mouth;
      if (!found) return null;
      return { face: found.faceIndex, point: found.point.clone().applyMatrix4(viewer.laid.matrix.clone().invert()).toArray() };
    },
    // A hole that a ray goes through, in at one mouth and out at the other, counts as pointed at: a hand aims at
    // the middle of it. Of a bolt's hole and its counterbore the narrower one is meant.
    mouthAt(ray, before) {
      if (!this.holes.of) return null;
      const back = this.viewer.laid.matrix.clone().invert(), own = ray.clone().applyMatrix4(back);
      const [axis, middle, disc, at] = [0, 1, 2, 3].map(() => new THREE.Vector3()), flat = new THREE.Plane();
      // The floor of a blind hole lies in the plane of its mouth, to the digits that a mesh is sent with.
      const behind = before - 0.002 * this.data.size;
      let best = null;
      this.holes.list.forEach((hole, k) => {
        axis.fromArray(hole.axis);
        middle.fromArray(hole.at);
        const through = [-0.5, 0.5].every(side => {
          disc.copy(middle).addScaledVector(axis, side * hole.depth);
          return own.intersectPlane(flat.setFromNormalAndCoplanarPoint(axis, disc), at)
            && at.distanceTo(disc) <= hole.diameter / 2 && at.distanceTo(own.origin) < behind;
        });
        if (through && !(best && best.diameter <= hole.diameter)) best = { diameter: hole.diameter, hole: k + 1 };
      });
      if (!best) return null;
      const face = this.holes.of.indexOf(best.hole), all = this.viewer.shape.attributes.position.array;
      if (face < 0) return null;
      const point = new THREE.Vector3(), corner = new THREE.Vector3();
      for (let k = 0; k < 3; k++) point.addScaledVector(corner.fromArray(all, 9 * face + 3 * k), 1 / 3);
      return { face, point: point.toArray() };
    },
    facesAt(face) {
      if (face < 0) return [];
      const hole = this.mode.name === "any" && this.holes.of ? this.holes.of[face] : 0;
      const label = hole || this.regions[face], of = hole ? this.holes.of : this.regions, list = [];
      for (let k = 0; k < of.length; k++) if (of[k] === label) list.push(k);
      return list;
    },
    hover(face, event) {
      if (!this.viewer || !this.$refs.pointed) return;
      const told = this.$refs.pointed, hole = face >= 0 && this.mode.name === "any" && this.holes.of ? this.holes.of[face] : 0;
      const key = face < 0 ? "" : hole ? `h${hole}` : `r${this.regions[face]}`;
      if (key !== this.hovered) {
        this.hovered = key;
        const faces = this.mode.name === "point" ? [] : this.facesAt(face);
        this.overlay("hover", faces, MARKS.hover);
        this.viewer.request();
        this.words = this.mode.name === "point" ? "a point here" : this.faceName(faces, hole);
      }
      told.hidden = face < 0 || this.mode.name === "look" || this.mode.name === "hand";
      if (told.hidden) return;
      told.textContent = this.words;
      const box = this.$refs.host.getBoundingClientRect();
      const left = Math.min(event.clientX - box.left + 16, box.width - told.offsetWidth - 8);
      told.style.transform = `translate(${left}px, ${event.clientY - box.top + 18}px)`;
    },
    faceName(faces, hole) {
      if (hole) { const one = this.holes.list[hole - 1]; return `hole ${one.id}, ⌀ ${one.diameter.toFixed(2)} mm`; }
      const all = this.viewer.shape.attributes.position.array, [a, b, c, sum] = [0, 0, 0, 0].map(() => new THREE.Vector3());
      let area = 0;
      for (const face of faces) {
        a.fromArray(all, 9 * face); b.fromArray(all, 9 * face + 3).sub(a); c.fromArray(all, 9 * face + 6).sub(a);
        b.cross(c).multiplyScalar(0.5);
        area += b.length();
        sum.add(b);
      }
      const shown = area >= 100 ? Math.round(area).toLocaleString("en") : area.toPrecision(2);
      return `${sum.length() > 0.9995 * area ? "flat" : "curved"} face, ${shown} mm²`;
    },
    down(event) {
      this.pressed = { x: event.clientX, y: event.clientY, moved: false };
      if (!this.viewer) return;
      this.land();
      if (this.mode.name !== "hand" || event.button !== 0) return;
      this.$refs.host.setPointerCapture(event.pointerId);
      this.lift();
      this.held = { x: event.clientX, y: event.clientY };
    },
    // In the hand the part stands on nothing and bears no letters.
    lift() { this.viewer.supports.visible = false; this.viewer.labels.hidden = true; },
    move(event) {
      if (!this.viewer) return;
      if (this.pressed && event.buttons) {
        if (Math.hypot(event.clientX - this.pressed.x, event.clientY - this.pressed.y) > STILL_PX) this.pressed.moved = true;
        if (this.held) {
          this.turnBy((event.clientX - this.held.x) * 0.009, (event.clientY - this.held.y) * 0.009);
          this.held = { x: event.clientX, y: event.clientY };
        }
        return;
      }
      this.pointer = { clientX: event.clientX, clientY: event.clientY };
      // Not at every step of a pointer that runs, but always where it comes to rest.
      clearTimeout(this.later);
      const wait = LOOK_MS - (performance.now() - (this.looked || 0));
      if (wait > 0) this.later = setTimeout(() => { if (this.pointer) this.look(this.pointer); }, wait);
      else this.look(this.pointer);
    },
    look(event) {
      if (!this.viewer) return;
      this.looked = performance.now();
      const spot = this.spot(event);
      if (this.picks()) this.hover(spot ? spot.face : -1, event);
      else if (spot && !this.quiet) this.$refs.said.textContent = wordsOf(this.viewer, spot.face, spot.point).replace(/^./, letter => letter.toUpperCase());
    },
    turnBy(across, down) {
      const viewer = this.viewer;
      const right = new THREE.Vector3(1, 0, 0).applyQuaternion(viewer.camera.quaternion), up = new THREE.Vector3(0, 1, 0).applyQuaternion(viewer.camera.quaternion);
      const [p, q, s] = [new THREE.Vector3(), new THREE.Quaternion(), new THREE.Vector3()];
      viewer.laid.matrix.decompose(p, q, s);
      q.premultiply(new THREE.Quaternion().setFromAxisAngle(up, across)).premultiply(new THREE.Quaternion().setFromAxisAngle(right, down)).normalize();
      const middle = new THREE.Vector3(...this.data.low).add(new THREE.Vector3(...this.data.step).multiplyScalar(32767.5));
      this.lay(q, 0, 0, middle);
      this.turned = true;
      viewer.request();
    },
    up(event) {
      const pressed = this.pressed;
      this.pressed = null;
      if (!this.viewer || !pressed) return;
      if (this.held) {
        this.held = null;
        this.putDown();
        return;
      }
      if (!pressed.moved && this.picks()) this.take(event);
    },
    putDown() {
      if (!this.viewer) return;
      this.viewer.labels.hidden = false;
      if (!this.turned) { this.viewer.supports.visible = this.viewer.paint === "overhang"; this.viewer.request(); return; }
      this.turned = false;
      const m = this.viewer.laid.matrix.elements;
      // The build direction in the part's coordinates: the third row of the turn.
      this.$emit("turned", { direction: [m[2], m[6], m[10]] });
    },
    take(event) {
      const spot = this.spot(event);
      if (!spot) return;
      const hole = this.mode.name === "any" && this.holes.of && this.holes.of[spot.face];
      this.$emit("picked", { ...spot, kind: this.mode.name === "point" ? "point" : hole ? "hole" : "face" });
    },
  },
};
