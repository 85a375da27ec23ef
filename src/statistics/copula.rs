//! Rank correlation between draws, whatever their distributions.
//!
//! Law: z = Phi^-1(u), z' = L z, u' = Phi(z'), with L L^T the Pearson matrix of the
//! normals, r = 2 sin(pi rho / 6) for a Spearman rank correlation rho.
//! Source: Pearson 1907; Kruskal 1958 (J. Am. Stat. Assoc. 53, 814), eq. for the normal;
//! Iman & Conover 1982 for the use. Range: |rho| < 1, matrix positive definite (enforced).
//! For discrete draws the rank correlation reached is smaller than the one asked for.

use super::error::StatisticsError;
use super::standard_normal;
use std::f64::consts::PI;

/// One pair of draws that go together.
#[derive(Debug, Clone, PartialEq)]
pub struct RankCorrelation {
    /// Name of one draw.
    pub first: String,
    /// Name of the other.
    pub second: String,
    /// Spearman rank correlation, strictly between -1 and 1.
    pub rank: f64,
}

/// Turns independent uniforms into correlated ones. Draws without any correlation keep
/// their numbers bit for bit.
#[derive(Debug, Clone, PartialEq)]
pub struct GaussianCopula {
    /// Positions of the correlated draws, ascending.
    members: Vec<usize>,
    /// Rows of the lower triangle of the Cholesky factor.
    factor: Vec<Vec<f64>>,
}

impl GaussianCopula {
    /// The copula of draws called `names`, in the order of the numbers it will be given.
    /// Pairs not mentioned are independent.
    ///
    /// # Errors
    ///
    /// A name that does not exist, a pair twice or of one draw with itself, a correlation
    /// outside (-1, 1), or correlations that contradict each other.
    pub fn new<S: AsRef<str>>(
        names: &[S],
        correlations: &[RankCorrelation],
    ) -> Result<Self, StatisticsError> {
        let place = |name: &str| {
            names
                .iter()
                .position(|candidate| candidate.as_ref() == name)
                .ok_or_else(|| StatisticsError::UnknownName {
                    name: name.to_owned(),
                })
        };
        let mut pairs = Vec::with_capacity(correlations.len());
        for RankCorrelation {
            first,
            second,
            rank,
        } in correlations
        {
            let (i, j) = (place(first)?, place(second)?);
            let wrong = |reason| StatisticsError::CorrelationPair {
                first: first.clone(),
                second: second.clone(),
                reason,
            };
            if i == j {
                return Err(wrong("a draw cannot be correlated with itself"));
            }
            if !(*rank > -1.0 && *rank < 1.0) {
                return Err(StatisticsError::CorrelationRange {
                    first: first.clone(),
                    second: second.clone(),
                    rank: *rank,
                });
            }
            let key = (i.min(j), i.max(j));
            if pairs.iter().any(|(other, _)| *other == key) {
                return Err(wrong("given more than once"));
            }
            pairs.push((key, pearson_from_rank(*rank)));
        }
        let mut members: Vec<usize> = pairs.iter().flat_map(|((i, j), _)| [*i, *j]).collect();
        members.sort_unstable();
        members.dedup();
        let entry = |row: usize, column: usize| {
            let (i, j) = (members.get(row), members.get(column));
            let (Some(&i), Some(&j)) = (i, j) else {
                return 0.0;
            };
            if i == j {
                return 1.0;
            }
            let key = (i.min(j), i.max(j));
            pairs
                .iter()
                .find(|(other, _)| *other == key)
                .map_or(0.0, |(_, r)| *r)
        };
        let size = members.len();
        let matrix: Vec<Vec<f64>> = (0..size)
            .map(|i| (0..size).map(|j| entry(i, j)).collect())
            .collect();
        match cholesky(&matrix) {
            Some(factor) => Ok(Self { members, factor }),
            None => Err(contradiction(&matrix, |member| {
                members
                    .get(member)
                    .and_then(|&i| names.get(i))
                    .map(|name| name.as_ref().to_owned())
                    .unwrap_or_default()
            })),
        }
    }

    /// Positions of the correlated draws, ascending.
    pub fn members(&self) -> &[usize] {
        &self.members
    }

    /// Whether there is nothing to correlate.
    pub fn is_independent(&self) -> bool {
        self.members.is_empty()
    }

    /// Correlates the independent `uniforms` of one trial in place; all stay strictly
    /// between 0 and 1.
    pub fn correlate(&self, uniforms: &mut [f64]) {
        if self.members.is_empty() {
            return;
        }
        let normals: Vec<f64> = self
            .members
            .iter()
            .map(|&i| standard_normal::quantile(uniforms.get(i).copied().unwrap_or(0.5)))
            .collect();
        for (&member, row) in self.members.iter().zip(&self.factor) {
            let z: f64 = row.iter().zip(&normals).map(|(l, z)| l * z).sum();
            if let Some(slot) = uniforms.get_mut(member) {
                *slot = standard_normal::cumulative(z).clamp(f64::MIN_POSITIVE, 1.0 - f64::EPSILON);
            }
        }
    }
}

/// Pearson correlation of two normals whose Spearman rank correlation is `rank`.
pub fn pearson_from_rank(rank: f64) -> f64 {
    2.0 * (PI * rank / 6.0).sin()
}

/// Rows of the lower triangle of the Cholesky factor; none unless safely positive definite.
fn cholesky(matrix: &[Vec<f64>]) -> Option<Vec<Vec<f64>>> {
    let mut factor: Vec<Vec<f64>> = Vec::with_capacity(matrix.len());
    for (i, source) in matrix.iter().enumerate() {
        let mut row: Vec<f64> = Vec::with_capacity(i + 1);
        for (&value, above) in source.iter().zip(&factor) {
            let dot: f64 = row.iter().zip(above).map(|(a, b)| a * b).sum();
            row.push((value - dot) / above.last()?);
        }
        let pivot = source.get(i)? - row.iter().map(|l| l * l).sum::<f64>();
        // below this the factor is rounding noise
        if pivot.is_nan() || pivot <= 1e-12 {
            return None;
        }
        row.push(pivot.sqrt());
        factor.push(row);
    }
    Some(factor)
}

/// Finds the smallest eigenvalue and the pair that contributes most to it.
fn contradiction(matrix: &[Vec<f64>], name: impl Fn(usize) -> String) -> StatisticsError {
    let (smallest, vector) = smallest_eigenpair(matrix);
    let mut worst = (0, 0, f64::INFINITY);
    for (i, row) in matrix.iter().enumerate() {
        for (j, r) in row.iter().enumerate().take(i) {
            let share = r * vector.get(i).unwrap_or(&0.0) * vector.get(j).unwrap_or(&0.0);
            if share < worst.2 {
                worst = (j, i, share);
            }
        }
    }
    StatisticsError::NotPositiveDefinite {
        first: name(worst.0),
        second: name(worst.1),
        smallest_eigenvalue: smallest,
        // eigenvalues of I + t O are 1 + t (lambda - 1)
        consistent_factor: 1.0 / (1.0 - smallest),
    }
}

/// Smallest eigenvalue and its vector: power iteration on c I - M, with c a Gershgorin
/// bound, from a start that no symmetry of the matrix is likely to share.
fn smallest_eigenpair(matrix: &[Vec<f64>]) -> (f64, Vec<f64>) {
    let bound = matrix
        .iter()
        .map(|row| row.iter().map(|r| r.abs()).sum::<f64>())
        .fold(0.0, f64::max);
    let mut vector: Vec<f64> = (0..matrix.len())
        .map(|i| (1.0 + i as f64).sin() + 0.1)
        .collect();
    let mut eigenvalue = 0.0;
    for _ in 0..20_000 {
        let length = vector.iter().map(|v| v * v).sum::<f64>().sqrt();
        vector.iter_mut().for_each(|v| *v /= length);
        let image: Vec<f64> = matrix
            .iter()
            .map(|row| row.iter().zip(&vector).map(|(m, v)| m * v).sum())
            .collect();
        eigenvalue = image.iter().zip(&vector).map(|(m, v)| m * v).sum();
        vector = vector
            .iter()
            .zip(&image)
            .map(|(v, m)| bound * v - m)
            .collect();
    }
    let length = vector.iter().map(|v| v * v).sum::<f64>().sqrt();
    vector.iter_mut().for_each(|v| *v /= length);
    (eigenvalue, vector)
}
