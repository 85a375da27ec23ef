//! Mean and variance of a stream, in one pass and mergeable.
//!
//! Source: Welford 1962, Technometrics 4, 419 (one value); Chan, Golub & LeVeque 1983,
//! Am. Stat. 37, 242, eq. 2.1 (merging). Merge in a fixed order (by slice, say, never by
//! which thread finished first) and the result has the same bits every time.

/// Count, mean, variance and extremes of the values seen so far.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct RunningMoments {
    count: u64,
    mean: f64,
    /// Sum of squared differences from the mean.
    squares: f64,
    least: f64,
    most: f64,
}

impl Default for RunningMoments {
    fn default() -> Self {
        let (least, most) = (f64::INFINITY, f64::NEG_INFINITY);
        Self {
            count: 0,
            mean: 0.0,
            squares: 0.0,
            least,
            most,
        }
    }
}

impl RunningMoments {
    /// Adds one value.
    pub fn push(&mut self, value: f64) {
        self.count += 1;
        let difference = value - self.mean;
        self.mean += difference / self.count as f64;
        self.squares += difference * (value - self.mean);
        self.least = self.least.min(value);
        self.most = self.most.max(value);
    }

    /// Adds everything another has seen.
    pub fn merge(&mut self, other: &Self) {
        if other.count == 0 {
            return;
        }
        if self.count == 0 {
            *self = *other;
            return;
        }
        let (here, there) = (self.count as f64, other.count as f64);
        let total = here + there;
        let difference = other.mean - self.mean;
        self.mean += difference * there / total;
        self.squares += other.squares + difference * difference * here * there / total;
        self.count += other.count;
        self.least = self.least.min(other.least);
        self.most = self.most.max(other.most);
    }

    /// Number of values.
    pub fn count(&self) -> u64 {
        self.count
    }

    /// Mean; NaN of none.
    pub fn mean(&self) -> f64 {
        if self.count == 0 { f64::NAN } else { self.mean }
    }

    /// Unbiased variance (divisor n - 1); NaN of fewer than two.
    pub fn variance(&self) -> f64 {
        if self.count < 2 {
            f64::NAN
        } else {
            self.squares / (self.count - 1) as f64
        }
    }

    /// Square root of [`variance`](Self::variance).
    pub fn standard_deviation(&self) -> f64 {
        self.variance().sqrt()
    }

    /// Smallest value; infinity of none.
    pub fn least(&self) -> f64 {
        self.least
    }

    /// Largest value; minus infinity of none.
    pub fn most(&self) -> f64 {
        self.most
    }
}

impl Extend<f64> for RunningMoments {
    fn extend<I: IntoIterator<Item = f64>>(&mut self, values: I) {
        values.into_iter().for_each(|value| self.push(value));
    }
}

impl FromIterator<f64> for RunningMoments {
    fn from_iter<I: IntoIterator<Item = f64>>(values: I) -> Self {
        let mut moments = Self::default();
        moments.extend(values);
        moments
    }
}
