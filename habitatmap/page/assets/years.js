/* ------------------------------------------------------------ forage likely served, followed in the page year by year */

const PLACE_UNIT_M = 0.1, END_IN_SCALES = 10, LEAST_ARRIVALS = 1e-12;
const shareBeyond = (q) => (1 + q) * Math.exp(-q);
const apart = (dx, dy) => Math.sqrt(dx * dx + dy * dy);  // several times as fast as Math.hypot

/**
 * The mean field of the coming years: the probability of each place from year to year in each simulation, and the share
 * of the forage that the places are likely to serve, as a mean over the years and the simulations.
 */
class YearsAhead {
  constructor(given, quality, pools, cellM) {
    const {places, simulations} = given;
    Object.assign(this, given);
    this.cellM = cellM;
    this.lattice = fromPlanes(quality);
    this.known = places.p.map((p, i) => ({x: given.left + places.right[i] * PLACE_UNIT_M, y: given.top - places.down[i] * PLACE_UNIT_M,
      a: simulations.e.map(() => places.quality[i]), p: p, pool: places.pool[i], noTree: places.no_tree[i]}));
    this.pools = given.place_of_pool.map((place, k) => ({place: place, p: pools.p[k], index: pools.index[k]}));
    this.points = given.forage.share.map((part, c) => ({x: given.left + given.forage.right[c] * given.forage.unit_m,
      y: given.top - given.forage.down[c] * given.forage.unit_m, share: part * given.forage.share_unit}));
    const groups = new Map();  // simulations that share their flights
    for (const [first, end, dispersal, forage, far] of simulations.flights) {
      const key = [dispersal, forage, far].join(), group = groups.get(key) || {dispersal: dispersal, forage: forage, far: far, all: []};
      for (let v = first; v < end; v++) group.all.push(v);
      groups.set(key, group);
    }
    this.groups = [...groups.values()];
  }

  /** Share of flights that get at least q scales far, the share `far` of them going farther than the others. */
  gets(q, far) { return far > 0 ? (1 - far) * shareBeyond(q) + far * shareBeyond(q / this.simulations.far[0]) : shareBeyond(q); }

  /** A pool at a cell: empty at first, its quality better or worse with its patch. */
  newPool({row, col}) {
    const {patches} = this.simulations, x = this.left + (col + 0.5) * this.cellM, y = this.top - (row + 0.5) * this.cellM, quality = this.qualityAt(row, col);
    const a = patches.map(([cos, sin, right, up, factor]) => {
      const u = Math.floor(cos * x + sin * y + right), w = Math.floor(cos * y - sin * x + up);
      return quality * Math.exp((u + w) % 2 === 0 ? factor : -factor);
    });
    return {x: x, y: y, a: a, p: 0, pool: 1};
  }

  /** Between the points of the lattice in a straight line; points without a value do not count. */
  qualityAt(row, col) {
    const {step, cols, unit} = this.quality, rows = this.lattice.length / cols;
    const at = (cell, n) => Math.max(0, Math.min(n - 1, (cell - (step >> 1)) / step)), i = at(row, rows), j = at(col, cols);
    let sum = 0, weights = 0;
    for (const r of [Math.floor(i), Math.floor(i) + 1]) {
      for (const c of [Math.floor(j), Math.floor(j) + 1]) {
        const weight = (1 - Math.abs(i - r)) * (1 - Math.abs(j - c)), value = r < rows && c < cols ? this.lattice[r * cols + c] : 0;
        if (value) { sum += weight * value; weights += weight; }
      }
    }
    return weights > 0 ? sum * unit / weights : 1;
  }

  /** The known places without the pools (rows of the pools' table) taken out; a tree at the same place stays. */
  without(out) {
    const left = new Map();
    for (const {place, p, index} of this.pools) {
      const own = left.get(place) || left.set(place, {missed: 1, pools: 0, changed: false}).get(place);
      if (out.has(index)) own.changed = true;
      else { own.missed *= 1 - p; own.pools += 1; }
    }
    return this.known.flatMap((known, i) => {
      const own = left.get(i);
      if (!own || !own.changed) return [known];
      if (!own.pools && known.noTree === null) return [];
      return [{...known, p: 1 - own.missed * (known.noTree ?? 1), pool: own.pools ? 1 : 0}];
    });
  }

  /** Forage likely served, {open, closed}, with pools at the cells `added` and without those `out`. */
  served(added, out) {
    const places = [...this.without(out), ...added.map((cell) => this.newPool(cell))], {simulations: sims} = this, p = this.course(places);
    const found = {open: 0, closed: 0};
    this.cover(places, p).forEach((share, v) => { found.open += sims.open[v] * share; found.closed += sims.closed[v] * share; });
    return found;
  }

  /** Probabilities by simulation, year (from 0) and place. */
  course(places) {
    const n = places.length, {years, simulations: sims} = this, p = [];
    for (const {dispersal, far, all} of this.groups) {
      const flow = new Float64Array(n * n);
      for (let i = 0; i < n; i++) {
        for (let j = 0; j < i; j++) flow[i * n + j] = flow[j * n + i] = this.gets(apart(places[i].x - places[j].x, places[i].y - places[j].y) / dispersal, far);
      }
      for (const v of all) {
        const z = sims.z[v], gone = places.map(({a}) => Math.min(1, sims.e[v] / a[v] ** sims.x[v]));
        const half = places.map(({pool}) => pool ? sims.half[v] : sims.half_of_trees[v]), sent = new Float64Array(n);
        p[v] = [Float64Array.from(places, (one) => one.p)];
        for (let year = 0; year < years; year++) {
          const now = p[v][year], next = new Float64Array(n);
          for (let j = 0; j < n; j++) sent[j] = places[j].a[v] * now[j];
          for (let i = 0; i < n; i++) {
            let arrivals = sims.unmapped[v];
            for (let j = 0, at = i * n; j < n; j++, at++) arrivals += flow[at] * sent[j];
            const find = 1 / (1 + (half[i] / Math.max(arrivals, LEAST_ARRIVALS)) ** z);
            next[i] = find + now[i] * (1 - gone[i]) * (1 - find);
          }
          p[v].push(next);
        }
      }
    }
    return p;
  }

  /** What the places serve in each simulation, a mean over the years. */
  cover(places, p) {
    const {nodes, node_weights: weights} = this, served = new Float64Array(p.length);
    for (const {forage, far, all} of this.groups) {
      const size = all.length * nodes.length, missed = new Float64Array(size), end = END_IN_SCALES * forage * (far > 0 ? this.simulations.far[1] : 1);
      const likely = new Float64Array(places.length * size);  // of each place one after the other: read in this order below
      places.forEach((_, i) => all.forEach((v, g) => nodes.forEach((node, u) => { likely[i * size + g * nodes.length + u] = p[v][node][i]; })));
      for (const {x, y, share} of this.points) {
        missed.fill(1);
        for (let i = 0; i < places.length; i++) {
          const d = apart(x - places[i].x, y - places[i].y);
          if (d >= end) continue;
          const k = this.gets(d / forage, far);
          for (let at = 0, of = i * size; at < size; at++, of++) missed[at] *= 1 - k * likely[of];
        }
        for (let at = 0; at < size; at++) served[all[Math.floor(at / nodes.length)]] += share * weights[at % nodes.length] * (1 - missed[at]);
      }
    }
    return served;
  }
}
