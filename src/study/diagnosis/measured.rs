//! Measured data as a fit takes them: a few hundred points in SI with the noise of each.

/// What was measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Observable {
    /// Pressure in a vessel [Pa].
    Pressure {
        /// Index of the vessel.
        vessel: usize,
        /// Above the surrounding air instead of absolute.
        gauge: bool,
    },
    /// Travel of the nose [m].
    Travel,
    /// When the nose had moved by [`WIRE_TRAVEL`]: a single value [s]; the end of the record where
    /// the wire stayed whole.
    Release,
}

/// Travel of the nose that breaks a wire or opens a switch across the joint [m]; assumed.
pub const WIRE_TRAVEL: f64 = 5e-3;

/// One measured quantity.
#[derive(Debug, Clone, PartialEq)]
pub struct Channel {
    /// What it is.
    pub observable: Observable,
    /// Heading in the file.
    pub label: String,
    /// Mean times of the values on the clock of the trace [s], ascending.
    pub times: Vec<f64>,
    /// First and last time of the samples each value is the mean of [s], and how many they are.
    pub spans: Vec<(f64, f64, usize)>,
    /// Values [SI].
    pub values: Vec<f64>,
    /// Standard deviation of the noise of each value [SI].
    pub deviations: Vec<f64>,
    /// Where the sensor was at its end stop: the true value may be larger.
    pub saturated: Vec<bool>,
    /// Standard deviation of the noise of one sample as recorded [SI].
    pub noise: f64,
    /// Samples it was estimated from.
    pub samples: usize,
    /// Least to largest value, spikes left out [SI].
    pub range: f64,
    /// When the value begins to rise [s], if it does.
    pub onset: Option<f64>,
    /// Typical time between samples as recorded [s].
    pub interval: f64,
}

/// Times the typical time between samples beyond which samples are missing.
pub const MISSING: f64 = 5.0;

/// Most places inside the span of a value at which a model is looked at.
const MOST_LOOKS: usize = 5;

impl Channel {
    /// Whether samples are missing between a value and the next one.
    #[must_use]
    pub fn gap_after(&self, index: usize) -> bool {
        let last = self.spans.get(index).map(|span| span.1);
        let next = self.spans.get(index + 1).map(|span| span.0);
        (last.zip(next)).is_some_and(|(last, next)| next - last > MISSING * self.interval)
    }

    /// Times at which a model must be looked at for the mean over the samples of each value [s],
    /// ascending, and how many belong to each value.
    #[must_use]
    pub fn looks(&self) -> (Vec<f64>, Vec<usize>) {
        let mut times = Vec::with_capacity(self.values.len());
        let mut counts = Vec::with_capacity(self.values.len());
        for (first, last, samples) in &self.spans {
            let count = (*samples).clamp(1, MOST_LOOKS);
            counts.push(count);
            if *samples <= MOST_LOOKS {
                let step = (last - first) / (count.max(2) - 1) as f64;
                times.extend((0..count).map(|i| first + step * i as f64));
            } else {
                // Middles of equal parts of what the samples stand for.
                let step = (last - first) / (samples - 1) as f64;
                let (from, length) = (first - 0.5 * step, last - first + step);
                times.extend((0..count).map(|i| from + length * (i as f64 + 0.5) / count as f64));
            }
        }
        (times, counts)
    }
}

/// When the valve was commanded, on the clock of the trace.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Trigger {
    /// At a time [s], known to a standard deviation [s].
    Known {
        /// When.
        time: f64,
        /// How well.
        deviation: f64,
    },
    /// Not known: fitted, so that a late valve cannot be told from a late clock.
    Unknown,
}

/// One ground test.
#[derive(Debug, Clone, PartialEq)]
pub struct Measured {
    /// Name of the file.
    pub name: String,
    /// What was measured.
    pub channels: Vec<Channel>,
    /// When the valve was commanded.
    pub trigger: Trigger,
}

impl Measured {
    /// Last time of all channels [s].
    #[must_use]
    pub fn last_time(&self) -> f64 {
        self.channels
            .iter()
            .filter_map(|channel| channel.times.last())
            .copied()
            .fold(f64::NEG_INFINITY, f64::max)
    }

    /// Number of values of all channels.
    #[must_use]
    pub fn size(&self) -> usize {
        self.channels
            .iter()
            .map(|channel| channel.values.len())
            .sum()
    }

    /// Earliest onset of all channels [s].
    #[must_use]
    pub fn onset(&self) -> Option<f64> {
        self.channels
            .iter()
            .filter_map(|channel| channel.onset)
            .reduce(f64::min)
    }
}
