//! The normal distribution conditional on an interval, careful in the tails.
//!
//! Law: F(x) = (Phi(z) - Phi(a)) / (Phi(b) - Phi(a)), z = (x - mean)/sd, a and b the
//! limits in the same scale. Source: Johnson, Kotz & Balakrishnan 1994, Continuous
//! Univariate Distributions vol. 1, 13.10.1.
//!
//! Every difference of probabilities is taken in the tail where both are small, so a
//! truncation ten standard deviations out is as accurate as one at the middle.

use super::standard_normal::{cumulative, density, exceedance, quantile};

/// Ten-point Gauss-Legendre nodes and weights on (0, 1), half of them (DLMF 3.5.18).
const GAUSS: [(f64, f64); 5] = [
    (0.148_874_338_981_631_21, 0.295_524_224_714_752_87),
    (0.433_395_394_129_247_2, 0.269_266_719_309_996_35),
    (0.679_409_568_299_024_4, 0.219_086_362_515_982_04),
    (0.865_063_366_688_984_5, 0.149_451_349_150_580_6),
    (0.973_906_528_517_171_7, 0.066_671_344_308_688_14),
];

/// A normal between limits, with its constants worked out.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct TruncatedNormal {
    mean: f64,
    standard_deviation: f64,
    low: f64,
    high: f64,
    /// Limits in standard deviations from the mean.
    a: f64,
    b: f64,
    /// Probability below a, and above b.
    below: f64,
    above: f64,
    mass: f64,
}

impl TruncatedNormal {
    pub(super) fn new(mean: f64, standard_deviation: f64, low: f64, high: f64) -> Self {
        let a = (low - mean) / standard_deviation;
        let b = (high - mean) / standard_deviation;
        let (below, above) = (cumulative(a), exceedance(b));
        let mass = probability_between(a, b);
        Self {
            mean,
            standard_deviation,
            low,
            high,
            a,
            b,
            below,
            above,
            mass,
        }
    }

    /// Probability of the parent normal between the limits.
    pub(super) fn mass(&self) -> f64 {
        self.mass
    }

    pub(super) fn quantile(&self, u: f64) -> f64 {
        let lower = self.below + u * self.mass;
        // Work from the end where the probability is the smaller number.
        let z = if lower <= 0.5 && self.a <= 0.0 {
            quantile(lower)
        } else {
            -quantile(self.above + (1.0 - u) * self.mass)
        };
        (self.mean + self.standard_deviation * z)
            .max(self.low)
            .min(self.high)
    }

    pub(super) fn cumulative(&self, x: f64) -> f64 {
        if x <= self.low {
            0.0
        } else if x >= self.high {
            1.0
        } else {
            probability_between(self.a, (x - self.mean) / self.standard_deviation) / self.mass
        }
    }

    pub(super) fn exceedance(&self, x: f64) -> f64 {
        if x < self.low {
            1.0
        } else if x >= self.high {
            0.0
        } else {
            probability_between((x - self.mean) / self.standard_deviation, self.b) / self.mass
        }
    }

    pub(super) fn density(&self, x: f64) -> f64 {
        if x < self.low || x > self.high {
            return 0.0;
        }
        density((x - self.mean) / self.standard_deviation) / (self.mass * self.standard_deviation)
    }

    /// Mean and standard deviation, by quadrature: the closed form loses all digits
    /// of the variance in a far tail or a narrow interval.
    pub(super) fn moments(&self) -> (f64, f64) {
        // Where the density has fallen to e^-40 of its largest value, nothing is left.
        let nearest = 0.0_f64.max(self.a).min(self.b);
        let reach = (nearest * nearest + 80.0).sqrt();
        let (from, to) = (self.a.max(-reach), self.b.min(reach));
        let panels = 64;
        let width = (to - from) / f64::from(panels);
        let mut nodes = Vec::with_capacity(640);
        for panel in 0..panels {
            let centre = from + (f64::from(panel) + 0.5) * width;
            for (position, weight) in GAUSS {
                for side in [-1.0, 1.0] {
                    let z = centre + side * 0.5 * position * width;
                    // relative to the largest density, so nothing underflows
                    nodes.push((z, weight * (0.5 * (nearest - z) * (nearest + z)).exp()));
                }
            }
        }
        let total: f64 = nodes.iter().map(|(_, w)| w).sum();
        // from `nearest`, so that a narrow interval keeps its digits
        let offset: f64 = nodes.iter().map(|(z, w)| w * (z - nearest)).sum::<f64>() / total;
        let variance: f64 = nodes
            .iter()
            .map(|(z, w)| w * (z - nearest - offset).powi(2))
            .sum::<f64>()
            / total;
        let mean = self.mean + self.standard_deviation * (nearest + offset);
        (mean, self.standard_deviation * variance.sqrt())
    }
}

/// Phi(b) - Phi(a) from the tail in which both are small.
fn probability_between(a: f64, b: f64) -> f64 {
    if a > 0.0 {
        exceedance(a) - exceedance(b)
    } else {
        cumulative(b) - cumulative(a)
    }
}
