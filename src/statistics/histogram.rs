//! Counts of values in equal bins.

use super::error::StatisticsError;
use super::percentile;

/// Counts in equal bins between two limits; values outside are counted apart.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Histogram {
    low: f64,
    high: f64,
    counts: Vec<u64>,
    below: u64,
    above: u64,
    /// Values that are no number.
    unordered: u64,
}

impl Histogram {
    /// Empty bins between `low` and `high`.
    ///
    /// # Errors
    ///
    /// No bins, or limits that are not finite and ascending.
    pub fn new(low: f64, high: f64, bins: usize) -> Result<Self, StatisticsError> {
        if bins == 0 {
            return Err(StatisticsError::TooFew {
                what: "bins",
                count: 0,
                needed: 1,
            });
        }
        if !(low.is_finite() && high.is_finite() && low < high) {
            let (form, rule) = ("histogram", "finite limits, low < high");
            return Err(StatisticsError::Order {
                form,
                rule,
                low,
                high,
            });
        }
        Ok(Self {
            low,
            high,
            counts: vec![0; bins],
            below: 0,
            above: 0,
            unordered: 0,
        })
    }

    /// Bins that suit `values`: width 2 IQR n^(-1/3) (Freedman & Diaconis 1981, Z.
    /// Wahrscheinlichkeitstheorie 57, 453), at most `most` of them.
    ///
    /// # Errors
    ///
    /// No values, or one that is not finite.
    pub fn of(values: &[f64], most: usize) -> Result<Self, StatisticsError> {
        let sorted = percentile::sorted(values)?;
        let (low, high) = (
            percentile::of_sorted(&sorted, 0.0),
            percentile::of_sorted(&sorted, 1.0),
        );
        let spread = percentile::of_sorted(&sorted, 0.75) - percentile::of_sorted(&sorted, 0.25);
        let width = 2.0 * spread / (values.len() as f64).cbrt();
        let wanted = ((high - low) / width).ceil();
        let bins = if wanted.is_finite() {
            wanted as usize
        } else {
            1
        }
        .clamp(1, most.max(1));
        // a list of one value still needs a bin of some width
        let margin = if high > low {
            0.0
        } else {
            0.5 * low.abs().max(1.0) * 1e-6
        };
        let mut histogram = Self::new(low - margin, high + margin, bins)?;
        sorted.iter().for_each(|&value| histogram.push(value));
        Ok(histogram)
    }

    /// Counts one value. The upper limit belongs to the last bin.
    pub fn push(&mut self, value: f64) {
        if value.is_nan() {
            self.unordered += 1;
        } else if value < self.low {
            self.below += 1;
        } else if value > self.high {
            self.above += 1;
        } else {
            let bins = self.counts.len();
            let place = (value - self.low) / (self.high - self.low) * bins as f64;
            if let Some(count) = self.counts.get_mut((place as usize).min(bins - 1)) {
                *count += 1;
            }
        }
    }

    /// Adds the counts of another with the same bins.
    ///
    /// # Errors
    ///
    /// Different limits or numbers of bins.
    pub fn merge(&mut self, other: &Self) -> Result<(), StatisticsError> {
        let (left, right) = (self.counts.len(), other.counts.len());
        if left != right {
            let what = "bins of two histograms";
            return Err(StatisticsError::LengthMismatch { what, left, right });
        }
        if self.low != other.low || self.high != other.high {
            let (form, rule) = ("histogram", "the same limits as the one it is merged into");
            let (low, high) = (other.low, other.high);
            return Err(StatisticsError::Order {
                form,
                rule,
                low,
                high,
            });
        }
        self.counts
            .iter_mut()
            .zip(&other.counts)
            .for_each(|(mine, theirs)| *mine += theirs);
        self.below += other.below;
        self.above += other.above;
        self.unordered += other.unordered;
        Ok(())
    }

    /// Counts of the bins, from low to high.
    pub fn counts(&self) -> &[u64] {
        &self.counts
    }

    /// Limits of the bins: one more than there are bins.
    pub fn edges(&self) -> Vec<f64> {
        let bins = self.counts.len();
        (0..=bins)
            .map(|i| self.low + (self.high - self.low) * (i as f64 / bins as f64))
            .collect()
    }

    /// Values below the lower limit, above the upper one, and not numbers.
    pub fn outside(&self) -> (u64, u64, u64) {
        (self.below, self.above, self.unordered)
    }
}
