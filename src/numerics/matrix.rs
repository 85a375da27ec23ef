//! Dense matrices for least squares: normal equations, Cholesky factors, symmetric eigenvectors; meant for some
//! hundreds of rows and up to about a hundred columns. The work is done by nalgebra; what it does not fix, a product of
//! what does not fit, an entry outside, has an answer here.

use nalgebra::{DMatrix, DVector, Dyn, SymmetricEigen};

/// Steps for each row after which eigenvalues are given up; a few are needed.
const EIGEN_STEPS: usize = 100;

/// A matrix of `rows` by `columns`.
#[derive(Debug, Clone, PartialEq)]
pub struct Matrix(DMatrix<f64>);

impl Matrix {
    /// All zero.
    #[must_use]
    pub fn zero(rows: usize, columns: usize) -> Self {
        Matrix(DMatrix::zeros(rows, columns))
    }

    /// Number of rows.
    #[must_use]
    pub fn rows(&self) -> usize {
        self.0.nrows()
    }

    /// Number of columns.
    #[must_use]
    pub fn columns(&self) -> usize {
        self.0.ncols()
    }

    /// One entry; 0 outside.
    #[must_use]
    pub fn at(&self, row: usize, column: usize) -> f64 {
        self.0.get((row, column)).copied().unwrap_or(0.0)
    }

    /// Sets one entry; nothing happens outside.
    pub fn set(&mut self, row: usize, column: usize, value: f64) {
        if let Some(slot) = self.0.get_mut((row, column)) {
            *slot = value;
        }
    }

    /// One row; zeros outside.
    #[must_use]
    pub fn row(&self, row: usize) -> Vec<f64> {
        let columns = 0..self.columns();
        columns.map(|column| self.at(row, column)).collect()
    }

    /// One column; empty outside.
    #[must_use]
    pub fn column(&self, column: usize) -> &[f64] {
        let rows = self.rows();
        let entries = self.0.as_slice();
        entries
            .get(column * rows..(column + 1) * rows)
            .unwrap_or(&[])
    }

    /// The same to be written to.
    pub fn column_mut(&mut self, column: usize) -> &mut [f64] {
        let rows = self.rows();
        let entries = self.0.as_mut_slice();
        entries
            .get_mut(column * rows..(column + 1) * rows)
            .unwrap_or(&mut [])
    }

    /// Sets a column from its first entry on, as far as there are any.
    pub fn set_column(&mut self, column: usize, entries: impl IntoIterator<Item = f64>) {
        for (slot, entry) in self.column_mut(column).iter_mut().zip(entries) {
            *slot = entry;
        }
    }

    /// Product with a vector; entries beyond the columns count for nothing, missing ones as zero.
    #[must_use]
    pub fn times(&self, vector: &[f64]) -> Vec<f64> {
        let mut product = vec![0.0; self.rows()];
        for (column, factor) in vector.iter().enumerate() {
            for (sum, entry) in product.iter_mut().zip(self.column(column)) {
                *sum += factor * entry;
            }
        }
        product
    }

    /// Product of the transpose with a vector, the same for entries beyond the rows.
    #[must_use]
    pub fn transpose_times(&self, vector: &[f64]) -> Vec<f64> {
        let own = (0..self.columns()).map(|column| dot(self.column(column), vector));
        own.collect()
    }

    /// Multiplies every entry.
    pub fn scale(&mut self, factor: f64) {
        self.0 *= factor;
    }

    /// Adds scale * left * right^T, the change of a secant update.
    pub fn add_outer(&mut self, scale: f64, left: &[f64], right: &[f64]) {
        for (column, factor) in right.iter().enumerate() {
            for (entry, other) in self.column_mut(column).iter_mut().zip(left) {
                *entry += scale * factor * other;
            }
        }
    }

    /// J^T J, symmetric.
    #[must_use]
    pub fn gram(&self) -> Matrix {
        let n = self.columns();
        let mut gram = Matrix::zero(n, n);
        for j in 0..n {
            for i in 0..=j {
                let entry = self.0.column(i).dot(&self.0.column(j));
                gram.set(i, j, entry);
                gram.set(j, i, entry);
            }
        }
        gram
    }

    /// Cholesky factor of a symmetric positive definite matrix; `None` for any other.
    #[must_use]
    pub fn cholesky(&self) -> Option<Cholesky> {
        Some(Cholesky(self.square()?.cholesky()?))
    }

    /// Eigenvalues and eigenvectors (as columns) of a symmetric matrix, ascending; `None` where it has entries that are
    /// no numbers.
    #[must_use]
    pub fn symmetric_eigen(&self) -> Option<(Vec<f64>, Matrix)> {
        if self.rows() == 0 {
            return Some((Vec::new(), Matrix::zero(0, 0)));
        }
        let most = EIGEN_STEPS * (1 + self.rows());
        let found = SymmetricEigen::try_new(self.square()?, f64::EPSILON, most)?;
        let mut pairs: Vec<(f64, usize)> = found.eigenvalues.iter().copied().zip(0..).collect();
        pairs.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut vectors = Matrix::zero(self.rows(), self.rows());
        for (to, (_, from)) in pairs.iter().enumerate() {
            vectors.set_column(to, found.eigenvectors.column(*from).iter().copied());
        }
        Some((pairs.into_iter().map(|(value, _)| value).collect(), vectors))
    }

    /// A copy to be taken apart; `None` where it is not square or not all numbers.
    fn square(&self) -> Option<DMatrix<f64>> {
        let sound = self.0.is_square() && self.0.iter().all(|entry| entry.is_finite());
        sound.then(|| self.0.clone())
    }
}

/// A Cholesky factor L of A = L L^T.
#[derive(Debug, Clone)]
pub struct Cholesky(nalgebra::Cholesky<f64, Dyn>);

impl Cholesky {
    /// Solves A x = b, `right` of as many entries as A has rows.
    #[must_use]
    pub fn solve(&self, right: &[f64]) -> Vec<f64> {
        let mut x = self.fitting(right);
        self.0.solve_mut(&mut x);
        x.as_slice().to_vec()
    }

    /// Solves L^T x = b: of independent standard normal b, x with the covariance A^-1.
    #[must_use]
    pub fn spread(&self, right: &[f64]) -> Vec<f64> {
        let mut x = self.fitting(right);
        self.0
            .l_dirty()
            .ad_solve_lower_triangular_unchecked_mut(&mut x);
        x.as_slice().to_vec()
    }

    /// A vector of as many entries as A has rows, missing ones zero.
    fn fitting(&self, right: &[f64]) -> DVector<f64> {
        let n = self.0.l_dirty().nrows();
        DVector::from_fn(n, |row, _| right.get(row).copied().unwrap_or(0.0))
    }

    /// Natural logarithm of the determinant of A.
    #[must_use]
    pub fn log_determinant(&self) -> f64 {
        self.0.ln_determinant()
    }

    /// A^-1.
    #[must_use]
    pub fn inverse(&self) -> Matrix {
        Matrix(self.0.inverse())
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
        let (values, vectors) = a.symmetric_eigen().unwrap();
        for (column, value) in values.iter().enumerate() {
            let v = vectors.column(column).to_vec();
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
        assert!(a.cholesky().is_none());
        a.set(0, 1, f64::NAN);
        assert!(a.cholesky().is_none() && a.symmetric_eigen().is_none());
    }
}
