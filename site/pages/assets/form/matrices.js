// Small dense matrices as arrays of rows: what a design of one evening needs, and no more.

/** @type {(n: number, p: number) => Matrix} */
export const zeros = (n, p) => Array.from({ length: n }, () => new Array(p).fill(0));
/** @type {(a: number[], b: number[]) => number} */
export const dot = (a, b) => a.reduce((sum, x, i) => sum + x * b[i], 0);
/** @type {(a: number[]) => number} */
export const length = (a) => Math.sqrt(dot(a, a));
/** @type {(m: Matrix, v: number[]) => number[]} */
export const timesVector = (m, v) => m.map((row) => dot(row, v));
/** @type {(m: Matrix, j: number) => number[]} */
export const column = (m, j) => m.map((row) => row[j]);

/**
 * The last entry of a list that has one.
 *
 * @type {<T>(list: T[]) => T}
 */
export const last = (list) => list[list.length - 1];

/**
 * Mᵀv.
 *
 * @param {Matrix} m
 * @param {number[]} v
 * @returns {number[]}
 */
export function transposedTimes(m, v) {
  const out = new Array(m.length ? m[0].length : 0).fill(0);
  m.forEach((row, i) => row.forEach((x, j) => { out[j] += x * v[i]; }));
  return out;
}

/**
 * AᵀWB for diagonal W.
 *
 * @param {Matrix} a
 * @param {number[]} w
 * @param {Matrix} b
 */
export function crossProduct(a, w, b) {
  const out = zeros(a.length ? a[0].length : 0, b.length ? b[0].length : 0);
  a.forEach((row, i) => row.forEach((x, j) => b[i].forEach((y, k) => { out[j][k] += w[i] * x * y; })));
  return out;
}

/**
 * AB.
 *
 * @param {Matrix} a
 * @param {Matrix} b
 */
export function product(a, b) {
  return a.map((row) => (b.length ? b[0] : []).map((_, j) => row.reduce((sum, x, k) => sum + x * b[k][j], 0)));
}

/**
 * Rows of M with right-hand sides beside them, M made diagonal by elimination with row pivots.
 *
 * @param {Matrix} m
 * @param {Matrix} rights
 */
function diagonalised(m, rights) {
  const n = m.length, a = m.map((row, i) => [...row, ...rights[i]]);
  for (let k = 0; k < n; k += 1) {
    let pivot = k;
    for (let i = k + 1; i < n; i += 1) { if (Math.abs(a[i][k]) > Math.abs(a[pivot][k])) { pivot = i; } }
    const row = a[pivot];
    a[pivot] = a[k];
    a[k] = row;
    for (let i = 0; i < n; i += 1) {
      if (i === k) { continue; }
      const other = a[i], share = other[k] / row[k];
      if (share !== 0) { for (let j = k; j < other.length; j += 1) { other[j] -= share * row[j]; } }
    }
  }
  return a;
}

/**
 * Solve Mx = v for several right-hand sides (columns of rows v).
 *
 * @param {Matrix} m
 * @param {Matrix} rights
 * @returns {{x: number[][], logDeterminant: number}} of |M|
 */
export function solveMany(m, rights) {
  const n = m.length, a = diagonalised(m, rights);
  return { x: a.map((row, i) => row.slice(n).map((y) => y / row[i])), logDeterminant: a.reduce((sum, row, i) => sum + Math.log(Math.abs(row[i])), 0) };
}

/** @type {(m: Matrix, v: number[]) => number[]} */
export const solve = (m, v) => diagonalised(m, v.map((x) => [x])).map((row, i) => row[m.length] / row[i]);

/** @type {(m: Matrix) => Matrix} */
export const inverse = (m) => solveMany(m, m.map((_, i) => m.map((__, j) => (i === j ? 1 : 0)))).x;

/**
 * Eigenvalues and vectors of a symmetric matrix by Jacobi's rotations (Golub & Van Loan 2013, Matrix Computations, 8.5).
 *
 * @param {Matrix} symmetric
 * @returns {{values: number[], vectors: number[][]}} vectors[j] belongs to values[j]
 */
export function eigen(symmetric) {
  const n = symmetric.length, a = symmetric.map((row) => [...row]);
  const v = a.map((_, i) => a.map((__, j) => (i === j ? 1 : 0)));
  const size = Math.max(...a.map((row) => Math.max(...row.map(Math.abs))), 0);
  for (let sweep = 0; sweep < 100; sweep += 1) {
    let left = 0;
    for (let p = 0; p < n; p += 1) { for (let q = p + 1; q < n; q += 1) { left = Math.max(left, Math.abs(a[p][q])); } }
    if (left <= 1e-17 * size) { break; }
    for (let p = 0; p < n; p += 1) { for (let q = p + 1; q < n; q += 1) { rotate(a, v, p, q); } }
  }
  return { values: a.map((row, i) => row[i]), vectors: a.map((_, j) => column(v, j)) };
}

/**
 * @param {Matrix} a
 * @param {Matrix} v
 * @param {number} p
 * @param {number} q
 */
function rotate(a, v, p, q) {
  if (a[p][q] === 0) { return; }
  const theta = (a[q][q] - a[p][p]) / (2 * a[p][q]);
  const t = (theta < 0 ? -1 : 1) / (Math.abs(theta) + Math.sqrt(theta * theta + 1));
  const c = 1 / Math.sqrt(t * t + 1), s = t * c;
  for (const m of [a, v]) {
    for (const row of m) { [row[p], row[q]] = [c * row[p] - s * row[q], s * row[p] + c * row[q]]; }
  }
  const [rowP, rowQ] = [a[p], a[q]];
  a[p] = rowP.map((x, j) => c * x - s * rowQ[j]);
  a[q] = rowP.map((x, j) => s * x + c * rowQ[j]);
  a[p][q] = a[q][p] = 0;
}

/**
 * Orthonormal columns that span what is at right angles to a vector (p), (p, p − 1): a Householder reflection without its first.
 *
 * @param {number[]} vector
 */
export function complement(vector) {
  const size = length(vector), w = [...vector];
  w[0] += vector[0] < 0 ? -size : size;
  const factor = 2 / dot(w, w);
  return vector.map((_, i) => vector.slice(1).map((__, j) => (i === j + 1 ? 1 : 0) - factor * w[i] * w[j + 1]));
}
