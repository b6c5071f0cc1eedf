// The trade-off of support against height against strength: every pose a dot, each of which can be clicked.
export default {
  template: `
    <figure class="chart" v-if="chart">
      <svg :viewBox="'0 0 ' + chart.size[0] + ' ' + chart.size[1]" role="group" :aria-label="chart.alt" @click="click" @pointerover="over" @pointerleave="said = ''">
        <defs><linearGradient id="desk-ramp" x1="1" x2="0"><stop offset="0" stop-color="#440154"></stop><stop offset=".25" stop-color="#3b528b"></stop><stop offset=".5" stop-color="#21918c"></stop><stop offset=".75" stop-color="#5ec962"></stop><stop offset="1" stop-color="#fde725"></stop></linearGradient></defs>
        <g class="axis">
          <template v-for="[at, words] in chart.y_marks"><line :x1="chart.left" :x2="chart.right" :y1="at" :y2="at"></line><text :x="chart.left - 8" :y="at + 5" text-anchor="end">{{ words }}</text></template>
          <template v-for="[at, words] in chart.x_marks"><line :x1="at" :x2="at" :y1="chart.bottom" :y2="chart.bottom + 6"></line><text :x="at" :y="chart.bottom + 22" text-anchor="middle">{{ words }}</text></template>
          <text :x="chart.right" :y="chart.bottom + 44" text-anchor="end">support, mm³ (square root scale)</text>
          <text :x="chart.left + 4" :y="chart.top - 3">height, mm</text>
        </g>
        <g class="dots">
          <circle v-for="dot in chart.dots" :key="dot[4]" :class="dot[3] ? 'open' : 'beaten'" :cx="dot[0]" :cy="dot[1]" :r="dot[3] ? 5 : 3.5" :fill="dot[2]" :data-row="dot[4]" :data-said="dot[5]"></circle>
        </g>
        <circle v-if="here" class="here" :cx="here[0]" :cy="here[1]" r="9"></circle>
        <g v-for="flag in chart.flags" :key="flag.number" class="flag" :class="{ taken: flag.taken }" :data-row="flag.row" tabindex="0" role="button" :aria-label="'Pose ' + flag.number" @keydown.enter="choose(flag.row)">
          <line :x1="flag.from_x" :y1="flag.from_y" :x2="flag.x" :y2="flag.y"></line>
          <rect :x="flag.x - 15" :y="flag.y - 11" width="30" height="22" rx="4"></rect><text :x="flag.x" :y="flag.y + 5" text-anchor="middle">{{ flag.number }}</text>
        </g>
      </svg>
      <p v-if="chart.strength" class="ramp-key"><span>{{ chart.strength }}</span><span>{{ chart.low }}</span><svg viewBox="0 0 120 14" role="img" aria-label="Light is low, dark is high"><rect width="120" height="14" fill="url(#desk-ramp)"></rect></svg><span>{{ chart.high }}</span></p>
      <figcaption aria-live="polite">{{ said || "Every pose is a dot; towards the lower left is better. No pose betters a ringed one in support, height and load together. Click one to see that pose." }}</figcaption>
    </figure>`,
  props: { address: String, chosen: Number },
  data: () => ({ said: "", chart: null }),
  // A thousand dots are fetched once, not sent again with every change of the page.
  watch: { address: { immediate: true, handler() { this.said = ""; this.fetched(); } } },
  computed: { here() { return this.chart && this.chart.dots.find(dot => dot[4] === this.chosen); } },
  methods: {
    async fetched() {
      const { address } = this;
      if (!address) return;
      try {
        const answer = await fetch(address);
        if (!answer.ok) throw new Error(`${address}: ${answer.status}`);
        const chart = { ...await answer.json(), of: address };
        if (address === this.address) this.chart = chart;
      } catch (error) {
        // One that nobody waits for any more is not missed.
        if (address !== this.address) return;
        this.chart = null;
        this.$emit("trouble", String(error));
      }
    },
    over(event) { const one = event.target.closest("[data-said]"); if (one) this.said = one.dataset.said; },
    click(event) { const one = event.target.closest("[data-row]"); if (one) this.choose(+one.dataset.row); },
    // Dots of a ranking that is no more name no pose of the one that is.
    choose(row) { if (this.chart.of === this.address) this.$emit("choose", row); },
  },
};
