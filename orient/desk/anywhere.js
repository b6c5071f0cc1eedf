// A file that is let go over any place of the page is taken where such files are taken: the browser would leave
// the page for it otherwise.
const STILL_MS = 150;

export default {
  template: "<span hidden></span>",
  mounted() {
    window.addEventListener("dragover", this.over);
    window.addEventListener("drop", this.drop);
  },
  beforeUnmount() {
    window.removeEventListener("dragover", this.over);
    window.removeEventListener("drop", this.drop);
    clearTimeout(this.waiting);
  },
  methods: {
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
