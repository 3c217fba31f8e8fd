/* ------------------------------------------------------------------------- forage in reach, calculated in the page */

const FULL = 65535;

/** A pair of polynomials in two variables, as the page carries them: from degrees to cells, or back. */
function turn(how, a, b) {
  const [[midA, halfA], [midB, halfB]] = how.from, u = (a - midA) / halfA, v = (b - midB) / halfB, out = [0, 0];
  let k = 0;
  for (let n = 0; n <= how.degree; n++) {
    for (let j = 0; j <= n; j++, k++) {
      const term = u ** (n - j) * v ** j;
      out[0] += how.to[0][k] * term;
      out[1] += how.to[1][k] * term;
    }
  }
  return out;
}

/**
 * What is in reach of which pools: the product of 1 - p k over all breeding places, on cells, or on blocks of cells
 * seen from their middle. `places` can be added and taken away; each change costs one footprint.
 */
class ReachCalculator {
  constructor(base, weight, ground, fixed, chance) {
    Object.assign(this, base);
    this.across = Math.ceil(base.cols / base.size);
    this.down = Math.ceil(base.rows / base.size);
    this.weight = fromPlanes(weight);
    this.ground = new Uint8Array(ground);
    this.chance = chance ? fromPlanes(chance) : null;
    this.groundCols = Math.ceil((base.cols - (base.step >> 1)) / base.step);
    this.groundRows = Math.ceil((base.rows - (base.step >> 1)) / base.step);
    this.kernel = this.makeKernel();
    this.unreached = new Float64Array(this.weight.length).fill(1);
    if (fixed) fromPlanes(fixed).forEach((value, i) => { this.unreached[i] = value / FULL; });
    else this.eachOf(base.fixed, (place) => this.multiply(this.unreached, place, 0, 0, this.down, this.across));
    this.fixedOnly = this.unreached.slice();
    this.places = new Set();
    this.eachOf(base.pools, (place) => {
      this.places.add(place);
      this.multiply(this.unreached, place, 0, 0, this.down, this.across);
    });
    this.sum = this.sumOf(0, 0, this.down, this.across);
  }

  eachOf(columns, act) {
    for (let i = 0; i < columns.row.length; i++) {
      act({row: columns.row[i], col: columns.col[i], p: columns.p[i], pool: columns.index ? columns.index[i] : -1});
    }
  }

  /** The reach weight by distance in half cells: blocks and cells both sit on that lattice. */
  makeKernel() {
    const reach = 2 * (this.flight.radius_cells + this.size) + 2, table = new Float64Array(reach * reach);
    for (let i = 0; i < reach; i++) {
      for (let j = 0; j < reach; j++) {
        const d = Math.hypot(i, j) / 2, far = d * this.cell_m / this.flight.scale_m;
        table[i * reach + j] = d <= this.flight.radius_cells ? (1 + far) * Math.exp(-far) : 0;
      }
    }
    return {table, reach};
  }

  /** Rows and columns of the blocks that a place may reach: row0, col0, row1, col1. */
  footprint(place) {
    const {size, flight: {radius_cells: r}} = this, low = (at) => Math.max(0, Math.floor((at - r) / size));
    return [low(place.row), low(place.col), Math.min(this.down, Math.floor((place.row + r) / size) + 1), Math.min(this.across, Math.floor((place.col + r) / size) + 1)];
  }

  multiply(field, place, row0, col0, row1, col1) {
    const [r0, c0, r1, c1] = this.footprint(place), {table, reach} = this.kernel, {size, across} = this;
    for (let i = Math.max(row0, r0); i < Math.min(row1, r1); i++) {
      const dy = Math.abs(2 * (i * size - place.row) + size - 1);
      if (dy >= reach) continue;
      for (let j = Math.max(col0, c0); j < Math.min(col1, c1); j++) {
        const dx = Math.abs(2 * (j * size - place.col) + size - 1);
        if (dx < reach) field[i * across + j] *= 1 - place.p * table[dy * reach + dx];
      }
    }
  }

  sumOf(row0, col0, row1, col1) {
    let sum = 0;
    for (let i = row0; i < row1; i++) for (let k = i * this.across + col0; k < i * this.across + col1; k++) sum += this.weight[k] * (1 - this.unreached[k]);
    return sum;
  }

  /** Puts a place in or takes it out, and takes the product anew under its footprint: nothing drifts. */
  set(place, there) {
    if (there === this.places.has(place)) return;
    const patch = this.footprint(place), [row0, col0, row1, col1] = patch;
    if (row0 >= row1 || col0 >= col1) { this.places[there ? "add" : "delete"](place); return; }
    this.sum -= this.sumOf(...patch);
    if (there) {
      this.places.add(place);
      this.multiply(this.unreached, place, ...patch);
    } else {
      this.places.delete(place);
      for (let i = row0; i < row1; i++) this.unreached.set(this.fixedOnly.subarray(i * this.across + col0, i * this.across + col1), i * this.across + col0);
      for (const other of this.places) this.multiply(this.unreached, other, ...patch);
    }
    this.sum += this.sumOf(...patch);
  }

  /** Forage in reach, a share of the area's. */
  share() { return this.sum / FULL * this.size ** 2 / this.total; }

  /** The number of the reason why no pool may stand at a cell, 0 where it may. */
  reasonAt(row, col) { return this.ground[this.groundAt(row, col)]; }
  groundAt(row, col) {
    const at = (cell, n) => Math.min(n - 1, Math.floor(cell / this.step));
    return at(row, this.groundRows) * this.groundCols + at(col, this.groundCols);
  }
  chanceAt(row, col) { return this.chance ? this.chance[this.groundAt(row, col)] / FULL : this.p; }

  /** The place nearer than the spacing, null where there is none; distances from cell to cell. */
  tooNear(row, col) {
    for (const place of this.places) {
      const far = Math.hypot(place.row - row, place.col - col) * this.cell_m;
      if (far < this.spacing_m - 1e-6 || far === 0) return {place, far};
    }
    return null;
  }

  /** Ground that stays out of reach, as in the run, and its share of the forage: `of` marks its blocks. */
  gaps() {
    const [below, from, leastHa] = this.gap, {weight, unreached, across, down} = this, n = weight.length;
    const open = new Uint8Array(n), of = new Uint8Array(n), blockHa = (this.size * this.cell_m) ** 2 / 1e4;
    for (let k = 0; k < n; k++) open[k] = weight[k] > 0 && weight[k] + 1 >= from * FULL && 1 - unreached[k] < below ? 1 : 0;
    const queue = new Int32Array(n);
    let forage = 0;
    for (let start = 0; start < n; start++) {
      if (open[start] !== 1) continue;
      let end = 1, sum = 0;
      queue[0] = start;
      open[start] = 2;
      for (let next = 0; next < end; next++) {
        const k = queue[next], col = k % across, row = (k - col) / across;
        sum += weight[k];
        for (let i = Math.max(0, row - 1); i <= Math.min(down - 1, row + 1); i++) {
          for (let j = Math.max(0, col - 1); j <= Math.min(across - 1, col + 1); j++) {
            if (open[i * across + j] === 1) { open[i * across + j] = 2; queue[end++] = i * across + j; }
          }
        }
      }
      if (end * blockHa < leastHa - 1e-9) continue;
      forage += sum;
      for (let next = 0; next < end; next++) of[queue[next]] = 1;
    }
    return {share: forage / FULL * this.size ** 2 / this.total, of};
  }
}
