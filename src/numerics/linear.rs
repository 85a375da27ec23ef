//! Small dense linear systems: LU factors with partial pivoting, in place, on
//! slices the caller owns (nothing is allocated). Meant for n up to about 40.

/// Why a matrix could not be factored or a system not solved.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum LinearError {
    /// The slices do not describe an n by n system.
    #[error(
        "a system of {n} unknowns needs {n} pivots and a matrix of n*n entries, \
         got {pivots} pivots and {matrix} entries"
    )]
    Shape {
        /// Number of unknowns.
        n: usize,
        /// Length of the pivot slice given.
        pivots: usize,
        /// Length of the matrix slice given.
        matrix: usize,
    },
    /// No usable pivot in this column: the matrix is singular or not finite.
    #[error("the matrix is singular or not finite: no pivot in column {column}")]
    Singular {
        /// Column at which the elimination stopped.
        column: usize,
    },
}

/// Replaces `matrix` (row-major, n by n, n = `pivots.len()`) by its factors: P A = L U with
/// the unit lower triangle L below the diagonal and U on and above it.
///
/// `pivots[k]` is the row swapped with row k at stage k. Doolittle elimination with partial
/// pivoting (Golub & Van Loan, Matrix Computations, 4th ed., algorithm 3.4.1).
///
/// # Errors
/// [`LinearError::Shape`] if the lengths disagree, [`LinearError::Singular`] if a pivot is
/// zero or not finite.
pub fn factor(matrix: &mut [f64], pivots: &mut [usize]) -> Result<(), LinearError> {
    let n = pivots.len();
    if matrix.len() != n * n {
        return Err(LinearError::Shape {
            n,
            pivots: n,
            matrix: matrix.len(),
        });
    }
    for k in 0..n {
        let mut pivot = k;
        let mut largest = matrix[k * n + k].abs();
        for row in k + 1..n {
            let size = matrix[row * n + k].abs();
            // A NaN is taken as the pivot, to be refused below.
            if size > largest || size.is_nan() {
                largest = size;
                pivot = row;
            }
        }
        if !(largest > 0.0 && largest.is_finite()) {
            return Err(LinearError::Singular { column: k });
        }
        pivots[k] = pivot;
        let (above, below) = matrix.split_at_mut((k + 1) * n);
        let pivot_row = &mut above[k * n..];
        if pivot != k {
            let start = (pivot - k - 1) * n;
            pivot_row.swap_with_slice(&mut below[start..start + n]);
        }
        let inverse = 1.0 / pivot_row[k];
        for row in below.chunks_exact_mut(n) {
            let multiplier = row[k] * inverse;
            row[k] = multiplier;
            if multiplier != 0.0 {
                for (entry, upper) in row[k + 1..].iter_mut().zip(&pivot_row[k + 1..]) {
                    *entry -= multiplier * upper;
                }
            }
        }
    }
    Ok(())
}

/// Replaces `right` by the solution x of A x = `right`, from the factors left by [`factor`].
///
/// # Errors
/// [`LinearError::Shape`] if the lengths disagree.
pub fn solve(factors: &[f64], pivots: &[usize], right: &mut [f64]) -> Result<(), LinearError> {
    let n = right.len();
    if factors.len() != n * n || pivots.len() != n || pivots.iter().any(|&pivot| pivot >= n) {
        return Err(LinearError::Shape {
            n,
            pivots: pivots.len(),
            matrix: factors.len(),
        });
    }
    for (k, &pivot) in pivots.iter().enumerate() {
        right.swap(k, pivot);
    }
    for row in 1..n {
        let (known, rest) = right.split_at_mut(row);
        let lower = &factors[row * n..row * n + row];
        rest[0] -= lower
            .iter()
            .zip(known.iter())
            .map(|(a, b)| a * b)
            .sum::<f64>();
    }
    for row in (0..n).rev() {
        let (rest, known) = right.split_at_mut(row + 1);
        let upper = &factors[row * n + row + 1..(row + 1) * n];
        let sum = upper
            .iter()
            .zip(known.iter())
            .map(|(a, b)| a * b)
            .sum::<f64>();
        rest[row] = (rest[row] - sum) / factors[row * n + row];
    }
    Ok(())
}
