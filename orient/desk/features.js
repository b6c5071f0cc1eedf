// The hard features of the pose that is shown, worst first, filtered by verdict. Choosing one takes the camera there.
export default {
  template: `
    <div class="hard" v-if="features">
      <fieldset class="verdicts told-apart"><legend>Show</legend>
        <label v-for="(said, verdict) in verdicts" :key="verdict"><input type="checkbox" :value="verdict" v-model="shown"> {{ verdict }} <span class="small count">{{ count(verdict) }}</span> <span class="small">{{ said }}</span></label>
      </fieldset>
      <p v-if="!features.length">No hard feature was found: nothing on this part asks for care in this pose.</p>
      <p v-else-if="!listed.length" class="small">None of these verdicts is ticked.</p>
      <ol class="feature-list">
        <li v-for="one in listed" :key="one.number" :class="{ chosen: one.number === chosen }">
          <button type="button" :aria-expanded="one.number === chosen" @click="choose(one)">
            <span class="letter">{{ one.id }}</span> {{ one.kind }} <span class="verdict" :class="one.verdict">{{ one.verdict }}</span>
            <span class="small size">{{ one.size }}</span>
          </button>
          <div v-if="one.number === chosen" class="about">
            <p>{{ one.why }}</p>
            <p class="small">At {{ one.at }}<template v-if="one.along">, along {{ one.along }}</template> in the file's coordinates, mm.</p>
            <ul v-if="one.try_first.length" class="points"><li v-for="step in one.try_first">{{ step }}</li></ul>
          </div>
        </li>
      </ol>
    </div>`,
  props: { features: Array, verdicts: Object },
  data: () => ({ shown: ["redesign", "support", "tune"], chosen: null }),
  watch: { features() { this.chosen = null; } },
  computed: { listed() { return this.features.filter(one => this.shown.includes(one.verdict)); } },
  methods: {
    count(verdict) { return this.features.filter(one => one.verdict === verdict).length; },
    choose(one) { this.chosen = one.number; this.$emit("choose", one.number); },
  },
};
