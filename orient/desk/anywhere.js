// A file that is let go over any place of the page is taken where such files are taken: the browser would leave
// the page for it otherwise. So are the keys for undo and redo: a browser's own would mend one box and nothing else.
const STILL_MS = 150;
// What was typed is told after half a second: a key that takes it back waits until then.
const TYPED_MS = 700;

export default {
  template: "<span hidden></span>",
  mounted() {
    window.addEventListener("dragover", this.over);
    window.addEventListener("drop", this.drop);
    window.addEventListener("input", this.typed, true);
    window.addEventListener("keydown", this.key, true);
  },
  beforeUnmount() {
    window.removeEventListener("dragover", this.over);
    window.removeEventListener("drop", this.drop);
    window.removeEventListener("input", this.typed, true);
    window.removeEventListener("keydown", this.key, true);
    clearTimeout(this.waiting);
  },
  methods: {
    typed() { this.last = performance.now(); },
    key(event) {
      const key = (event.key || "").toLowerCase(), held = (event.ctrlKey || event.metaKey) && !event.altKey;
      if (key === "escape") this.$emit("leave");
      if (!held || (key !== "z" && key !== "y")) return;
      event.preventDefault();
      event.stopPropagation();
      if (event.repeat) return;
      const wait = TYPED_MS - (performance.now() - (this.last ?? -Infinity));
      setTimeout(() => this.$emit(key === "y" || event.shiftKey ? "redo" : "undo"), Math.max(wait, 0));
      this.last = undefined;
    },
    over(event) {
      if (!event.dataTransfer || !event.dataTransfer.types.includes("Files")) return;
      event.preventDefault();
      document.body.classList.add("dropping");
      // A pointer that has left the window, or let go, says nothing more.
      clearTimeout(this.waiting);
      this.waiting = setTimeout(() => document.body.classList.remove("dropping"), STILL_MS);
    },
    drop(event) {
      // A place of its own has taken it.
      if (event.defaultPrevented || !event.dataTransfer || !event.dataTransfer.files.length) return;
      event.preventDefault();
      const [file, another] = event.dataTransfer.files, taken = new DataTransfer();
      const place = /\.toml$/i.test(file.name) ? ".brief-file" : ".drop";
      // Beside the place for a revision a revision is meant.
      const room = event.target.closest?.(".q-tab-panel");
      const input = (room && room.querySelector(`${place} input[type=file]`)) || document.querySelector(`${place} input[type=file]`);
      if (another) this.$emit("several");
      if (!input) return;
      taken.items.add(file);
      input.files = taken.files;
      input.dispatchEvent(new Event("change", { bubbles: true }));
    },
  },
};
