//! Dense matrices for least squares: normal equations, Cholesky factors, symmetric eigenvectors.
//! Row-major, meant for some hundreds of rows and up to about a hundred columns.

/// A matrix of `rows` by `columns`, row after row.
#[derive(Debug, Clone, PartialEq)]
pub struct Matrix {
    rows: usize,
    columns: usize,
    entries: Vec<f64>,
}

impl Matrix {
    /// All zero.
    #[must_use]
    pub fn zero(rows: usize, columns: usize) -> Self {
        Matrix {
            rows,
            columns,
            entries: vec![0.0; rows * columns],
        }
    }

    /// Number of rows.
    #[must_use]
    pub fn rows(&self) -> usize {
        self.rows
    }

    /// Number of columns.
    #[must_use]
    pub fn columns(&self) -> usize {
        self.columns
    }

    /// One entry; 0 outside.
    #[must_use]
    pub fn at(&self, row: usize, column: usize) -> f64 {
        self.row(row).get(column).copied().unwrap_or(0.0)
    }

    /// Sets one entry; nothing happens outside.
    pub fn set(&mut self, row: usize, column: usize, value: f64) {
        if column < self.columns
            && let Some(slot) = self.entries.get_mut(row * self.columns + column)
        {
            *slot = value;
        }
    }

    /// One row; empty outside.
    #[must_use]
    pub fn row(&self, row: usize) -> &[f64] {
        self.entries
            .get(row * self.columns..(row + 1) * self.columns)
            .unwrap_or(&[])
    }

    /// One column.
    #[must_use]
    pub fn column(&self, column: usize) -> Vec<f64> {
        (0..self.rows).map(|row| self.at(row, column)).collect()
    }

    /// Product with a vector of as many entries as there are columns.
    #[must_use]
    pub fn times(&self, vector: &[f64]) -> Vec<f64> {
        (0..self.rows)
            .map(|row| dot(self.row(row), vector))
            .collect()
    }

    /// Product of the transpose with a vector of as many entries as there are rows.
    #[must_use]
    pub fn transpose_times(&self, vector: &[f64]) -> Vec<f64> {
        let mut product = vec![0.0; self.columns];
        for (row, factor) in vector.iter().enumerate() {
            for (sum, entry) in product.iter_mut().zip(self.row(row)) {
                *sum += factor * entry;
            }
        }
        product
    }

    /// Multiplies every entry.
    pub fn scale(&mut self, factor: f64) {
        for entry in &mut self.entries {
            *entry *= factor;
        }
    }

    /// Adds scale * left * right^T, the change of a secant update.
    pub fn add_outer(&mut self, scale: f64, left: &[f64], right: &[f64]) {
        let columns = self.columns;
        for (row, factor) in self.entries.chunks_mut(columns.max(1)).zip(left) {
            for (entry, other) in row.iter_mut().zip(right) {
                *entry += scale * factor * other;
            }
        }
    }

    /// J^T J, symmetric.
    #[must_use]
    pub fn gram(&self) -> Matrix {
        let n = self.columns;
        let mut product = Matrix::zero(n, n);
        for row in 0..self.rows {
            let entries = self.row(row);
            for (i, left) in entries.iter().enumerate() {
                if *left == 0.0 {
                    continue;
                }
                // The upper half; the lower one is its image.
                let target = product.entries.get_mut(i * n + i..(i + 1) * n);
                for (sum, right) in target.into_iter().flatten().zip(&entries[i..]) {
                    *sum += left * right;
                }
            }
        }
        for i in 0..n {
            for j in 0..i {
                product.set(i, j, product.at(j, i));
            }
        }
        product
    }

    /// Lower triangle L of a symmetric positive definite matrix A = L L^T (Golub & Van Loan,
    /// Matrix Computations, 4th ed., algorithm 4.2.1); `None` for any other.
    #[must_use]
    pub fn cholesky(&self) -> Option<Cholesky> {
        let n = self.rows;
        let mut factor = Matrix::zero(n, n);
        for i in 0..n {
            for j in 0..=i {
                let known: f64 = (0..j).map(|k| factor.at(i, k) * factor.at(j, k)).sum();
                let rest = self.at(i, j) - known;
                let entry = if i == j {
                    if !(rest > 0.0 && rest.is_finite()) {
                        return None;
                    }
                    rest.sqrt()
                } else {
                    rest / factor.at(j, j)
                };
                factor.set(i, j, entry);
            }
        }
        Some(Cholesky { factor })
    }

    /// Eigenvalues and eigenvectors (as columns) of a symmetric matrix, ascending, by cyclic
    /// Jacobi rotations (Golub & Van Loan, algorithm 8.5.3).
    #[must_use]
    pub fn symmetric_eigen(&self) -> (Vec<f64>, Matrix) {
        let n = self.rows;
        let mut a = self.clone();
        let mut vectors = Matrix::zero(n, n);
        for i in 0..n {
            vectors.set(i, i, 1.0);
        }
        let scale: f64 = a.entries.iter().map(|e| e * e).sum();
        for _ in 0..60 {
            let off: f64 = (0..n)
                .flat_map(|i| (0..i).map(move |j| (i, j)))
                .map(|(i, j)| a.at(i, j).powi(2))
                .sum();
            if off <= 1e-28 * scale {
                break;
            }
            for p in 0..n {
                for q in p + 1..n {
                    rotate(&mut a, &mut vectors, p, q);
                }
            }
        }
        let mut order: Vec<usize> = (0..n).collect();
        order.sort_by(|i, j| a.at(*i, *i).total_cmp(&a.at(*j, *j)));
        let values = order.iter().map(|i| a.at(*i, *i)).collect();
        let mut sorted = Matrix::zero(n, n);
        for (to, from) in order.iter().enumerate() {
            for row in 0..n {
                sorted.set(row, to, vectors.at(row, *from));
            }
        }
        (values, sorted)
    }
}

fn rotate(a: &mut Matrix, vectors: &mut Matrix, p: usize, q: usize) {
    let apq = a.at(p, q);
    if apq == 0.0 {
        return;
    }
    let tau = (a.at(q, q) - a.at(p, p)) / (2.0 * apq);
    let t = tau.signum() / (tau.abs() + (1.0 + tau * tau).sqrt());
    let t = if tau == 0.0 { 1.0 } else { t };
    let c = 1.0 / (1.0 + t * t).sqrt();
    let s = t * c;
    for k in 0..a.rows {
        let (kp, kq) = (a.at(k, p), a.at(k, q));
        a.set(k, p, c * kp - s * kq);
        a.set(k, q, s * kp + c * kq);
    }
    for k in 0..a.rows {
        let (pk, qk) = (a.at(p, k), a.at(q, k));
        a.set(p, k, c * pk - s * qk);
        a.set(q, k, s * pk + c * qk);
    }
    for k in 0..vectors.rows {
        let (kp, kq) = (vectors.at(k, p), vectors.at(k, q));
        vectors.set(k, p, c * kp - s * kq);
        vectors.set(k, q, s * kp + c * kq);
    }
}

/// A Cholesky factor.
#[derive(Debug, Clone, PartialEq)]
pub struct Cholesky {
    factor: Matrix,
}

impl Cholesky {
    /// Solves A x = b.
    #[must_use]
    pub fn solve(&self, right: &[f64]) -> Vec<f64> {
        let n = self.factor.rows;
        let mut x = right.to_vec();
        for i in 0..n {
            let known = dot(self.factor.row(i).get(..i).unwrap_or(&[]), &x);
            if let Some(slot) = x.get_mut(i) {
                *slot = (*slot - known) / self.factor.at(i, i);
            }
        }
        self.spread(&x)
    }

    /// Solves L^T x = b: of independent standard normal b, x with the covariance A^-1.
    #[must_use]
    pub fn spread(&self, right: &[f64]) -> Vec<f64> {
        let n = self.factor.rows;
        let mut x = right.to_vec();
        for i in (0..n).rev() {
            let known: f64 = (i + 1..n)
                .map(|k| self.factor.at(k, i) * x.get(k).copied().unwrap_or(0.0))
                .sum();
            if let Some(slot) = x.get_mut(i) {
                *slot = (*slot - known) / self.factor.at(i, i);
            }
        }
        x
    }

    /// Natural logarithm of the determinant of A.
    #[must_use]
    pub fn log_determinant(&self) -> f64 {
        (0..self.factor.rows)
            .map(|i| 2.0 * self.factor.at(i, i).ln())
            .sum()
    }

    /// The inverse of A.
    #[must_use]
    pub fn inverse(&self) -> Matrix {
        let n = self.factor.rows;
        let mut inverse = Matrix::zero(n, n);
        for column in 0..n {
            let mut unit = vec![0.0; n];
            if let Some(slot) = unit.get_mut(column) {
                *slot = 1.0;
            }
            for (row, value) in self.solve(&unit).into_iter().enumerate() {
                inverse.set(row, column, value);
            }
        }
        inverse
    }
}

/// Inner product over the shorter length.
#[must_use]
pub fn dot(left: &[f64], right: &[f64]) -> f64 {
    left.iter().zip(right).map(|(a, b)| a * b).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hilbert_like() -> Matrix {
        let mut a = Matrix::zero(4, 4);
        for i in 0..4 {
            for j in 0..4 {
                let value = 1.0 / (1.0 + (i + j) as f64) + if i == j { 0.1 } else { 0.0 };
                a.set(i, j, value);
            }
        }
        a
    }

    #[test]
    fn factors_and_eigenvectors_give_the_matrix_back() {
        let a = hilbert_like();
        let factor = a.cholesky().unwrap();
        let b = [1.0, -2.0, 0.5, 3.0];
        for (left, right) in a.times(&factor.solve(&b)).iter().zip(b) {
            assert!((left - right).abs() < 1e-11);
        }
        let (values, vectors) = a.symmetric_eigen();
        for (column, value) in values.iter().enumerate() {
            let v = vectors.column(column);
            for (left, right) in a.times(&v).iter().zip(&v) {
                assert!((left - value * right).abs() < 1e-12);
            }
        }
        let determinant: f64 = values.iter().product();
        assert!((factor.log_determinant() - determinant.ln()).abs() < 1e-10);
        assert!(values.windows(2).all(|pair| pair[0] <= pair[1]));
    }

    #[test]
    fn a_matrix_that_is_not_positive_has_no_factor() {
        let mut a = hilbert_like();
        a.set(2, 2, -1.0);
        assert_eq!(a.cholesky(), None);
    }
}
