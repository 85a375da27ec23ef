//! Shares of a variance as people read them: a number where it is told, its interval where it is not.

use crate::statistics::sensitivity::{IndexInterval, Sensitivities};

/// Widest interval of a share that still has a number in it.
const TOLD: f64 = 0.5;
/// Rows that mostly tell the shares.
const USUAL: u64 = 128;
/// Half of the last digit shown.
const ROUNDING: f64 = 0.005;

/// A share of a variance: nothing is behind less than none of it, or more than all.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Share {
    /// The estimate; `None` where it is lost in its noise: beyond what a share can be, or with half of all shares
    /// inside its interval.
    pub estimate: Option<f64>,
    /// The part of its interval where shares can be; all of it where there is no such part, as nothing is told then.
    pub interval: (f64, f64),
}

impl Share {
    /// The share that an estimate of an index tells.
    pub fn of(index: &IndexInterval) -> Self {
        let (low, high) = (index.low.clamp(0.0, 1.0), index.high.clamp(0.0, 1.0));
        let possible = (-ROUNDING..=1.0 + ROUNDING).contains(&index.estimate);
        let told = possible && high - low <= TOLD;
        let beyond = index.low > 1.0 + ROUNDING || index.high < -ROUNDING;
        Self {
            estimate: told.then(|| index.estimate.clamp(0.0, 1.0)),
            interval: if beyond { (0.0, 1.0) } else { (low, high) },
        }
    }

    /// In a table, as percent.
    pub fn with_interval(&self) -> String {
        let interval = self.interval_alone();
        match self.estimate {
            Some(estimate) => format!("{:.0} % ({interval})", 100.0 * estimate),
            None => format!("{interval} %"),
        }
    }

    /// Beside a bar, as percent.
    pub fn alone(&self) -> String {
        match self.estimate {
            Some(estimate) => format!("{:.0} %", 100.0 * estimate),
            None => self.with_interval(),
        }
    }

    fn interval_alone(&self) -> String {
        let (low, high) = self.interval;
        format!("{:.0} to {:.0}", 100.0 * low, 100.0 * high)
    }
}

/// How many rows to take instead where a study does not tell every share in all of an output.
pub(super) fn more_rows(found: &Sensitivities) -> Option<u64> {
    let mut inputs = found.inputs.iter();
    let lost = inputs.any(|input| Share::of(&input.total).estimate.is_none());
    lost.then(|| (4 * found.rows as u64).max(USUAL))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(low: f64, estimate: f64, high: f64) -> String {
        let index = IndexInterval {
            low,
            estimate,
            high,
        };
        Share::of(&index).with_interval()
    }

    #[test]
    fn no_share_is_shown_that_cannot_be() {
        assert_eq!(shown(0.1, 0.25, 0.4), "25 % (10 to 40)");
        assert_eq!(shown(-0.3, -0.002, 0.1), "0 % (0 to 10)");
        assert_eq!(shown(0.2, 0.6, 1.4), "20 to 100 %");
        assert_eq!(shown(0.8, 1.3, 1.9), "80 to 100 %");
        // All of the interval beyond what can be: noise, not a share of all or of nothing.
        assert_eq!(shown(1.2, 5.5, 9.0), "0 to 100 %");
        assert_eq!(shown(-9.0, -3.0, -0.2), "0 to 100 %");
    }
}
