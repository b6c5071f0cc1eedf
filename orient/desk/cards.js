// The poses in order, with their small pictures. A pose that overtakes another is seen to do so.
export default {
  template: `
    <TransitionGroup tag="ol" name="overtake" class="pose-list">
      <li v-for="card in cards" :key="card.row" :class="{ chosen: card.row === chosen, taken: card.taken }">
        <button class="pose" type="button" :aria-pressed="card.row === chosen" @click="$emit('choose', card.row)">
          <img v-if="pictures[card.row]" :src="pictures[card.row]" :alt="'Pose ' + card.number + ', along ' + card.along" width="112" height="84">
          <span v-else class="blank" aria-hidden="true"></span>
          <span class="told">
            <strong>{{ card.number }}<span class="along"> along {{ card.along }}</span><span v-if="card.leans" class="along leans">, {{ card.leans }}</span> <span v-if="card.taken" class="tag">{{ card.fails ? "best, but fails" : "take this" }}</span></strong>
            <span v-if="card.unsteady" class="unsteady">rests on {{ card.unsteady }}</span>
            <span class="figures"><span v-for="fact in card.facts" :key="fact.name"><span class="name" :title="fact.meant">{{ fact.name }}</span> {{ fact.said }}<span v-if="fact.best" class="best" title="The best of the poses in this list">best here</span></span></span>
          </span>
        </button>
        <button class="pin" type="button" :aria-pressed="pinned.includes(card.row)" @click="$emit('pin', card.row)"
          :title="pinned.includes(card.row) ? 'Take it out of the comparison' : 'Put two poses side by side, with their figures'">{{ pinned.includes(card.row) ? "compared" : "compare" }}</button>
      </li>
    </TransitionGroup>`,
  props: { cards: Array, pictures: Object, chosen: Number, pinned: Array },
};
