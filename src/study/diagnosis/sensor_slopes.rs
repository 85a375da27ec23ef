//! Slopes of readings over the values of clocks and sensors. A channel knows its own sensor and the clock of its trace
//! alone, so most of a table of all channels by all values would be zeros.

use crate::numerics::matrix::{Matrix, dot};

/// Sensitivities of residuals to the values of clocks and sensors.
#[derive(Debug, Clone, Default)]
pub struct SensorSlopes {
    columns: usize,
    channels: Vec<OfChannel>,
}

/// Those of one channel: the values that do anything to it, and a column for each.
#[derive(Debug, Clone)]
struct OfChannel {
    seen: Vec<usize>,
    slopes: Matrix,
}

impl SensorSlopes {
    /// Of so many values, with no channel yet.
    #[must_use]
    pub fn new(columns: usize) -> Self {
        SensorSlopes {
            columns,
            channels: Vec::new(),
        }
    }

    /// Adds the residuals of a further channel, `rows` of them, with the slopes over the values they depend on.
    pub fn add_channel(&mut self, rows: usize, own: Vec<(usize, Vec<f64>)>) {
        let mut slopes = Matrix::zero(rows, own.len());
        for (place, (_, entries)) in own.iter().enumerate() {
            slopes.set_column(place, entries.iter().copied());
        }
        let seen = own.into_iter().map(|(column, _)| column).collect();
        self.channels.push(OfChannel { seen, slopes });
    }

    /// Number of residuals.
    fn rows(&self) -> usize {
        self.channels.iter().map(|own| own.slopes.rows()).sum()
    }

    /// J^T J.
    #[must_use]
    pub fn gram(&self) -> Matrix {
        let mut gram = Matrix::zero(self.columns, self.columns);
        for own in &self.channels {
            let part = own.slopes.gram();
            for (j, column) in own.seen.iter().enumerate() {
                for (entry, row) in part.column(j).iter().zip(&own.seen) {
                    gram.set(*row, *column, gram.at(*row, *column) + entry);
                }
            }
        }
        gram
    }

    /// Product with one entry for each value.
    #[must_use]
    pub fn times(&self, vector: &[f64]) -> Vec<f64> {
        let mut product = Vec::with_capacity(self.rows());
        for own in &self.channels {
            let of = |column: &usize| vector.get(*column).copied().unwrap_or(0.0);
            let factors: Vec<f64> = own.seen.iter().map(of).collect();
            product.extend(own.slopes.times(&factors));
        }
        product
    }

    /// Product of the transpose with one entry for each residual.
    #[must_use]
    pub fn transpose_times(&self, vector: &[f64]) -> Vec<f64> {
        let mut product = vec![0.0; self.columns];
        let mut rest = vector;
        for own in &self.channels {
            let (here, after) = rest.split_at(own.slopes.rows().min(rest.len()));
            rest = after;
            for (place, column) in own.seen.iter().enumerate() {
                if let Some(sum) = product.get_mut(*column) {
                    *sum += dot(own.slopes.column(place), here);
                }
            }
        }
        product
    }

    /// One column, zeros where a channel does not depend on the value.
    #[must_use]
    pub fn column(&self, column: usize) -> Vec<f64> {
        let mut entries = Vec::with_capacity(self.rows());
        for own in &self.channels {
            match own.seen.iter().position(|seen| *seen == column) {
                Some(place) => entries.extend_from_slice(own.slopes.column(place)),
                None => entries.resize(entries.len() + own.slopes.rows(), 0.0),
            }
        }
        entries
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two channels of three and two readings that share a clock, against the whole table.
    #[test]
    fn products_are_those_of_the_whole_table() {
        let mut slopes = SensorSlopes::new(4);
        let first = vec![(0, vec![1.0, -2.0, 3.0]), (2, vec![0.5, 0.25, -1.0])];
        let second = vec![(3, vec![4.0, -1.0]), (0, vec![2.0, 7.0])];
        slopes.add_channel(3, first);
        slopes.add_channel(2, second);
        let mut whole = Matrix::zero(5, 4);
        let table = [
            (0, [1.0, -2.0, 3.0, 2.0, 7.0]),
            (2, [0.5, 0.25, -1.0, 0.0, 0.0]),
            (3, [0.0, 0.0, 0.0, 4.0, -1.0]),
        ];
        for (column, entries) in table {
            whole.set_column(column, entries);
        }
        assert_eq!(slopes.gram(), whole.gram());
        let (short, long) = ([1.0, 2.0, -3.0, 0.5], [1.0, -1.0, 2.0, 3.0, -0.5]);
        assert_eq!(slopes.times(&short), whole.times(&short));
        assert_eq!(slopes.transpose_times(&long), whole.transpose_times(&long));
        for column in 0..4 {
            assert_eq!(slopes.column(column), whole.column(column));
        }
    }
}
