//! Axes with round ticks.

/// A mapping of numbers to pixels with round ticks.
#[derive(Debug, Clone)]
pub(super) struct Axis {
    pub(super) low: f64,
    pub(super) high: f64,
    pub(super) start: f64,
    pub(super) length: f64,
    pub(super) step: f64,
}

impl Axis {
    pub(super) fn new(low: f64, high: f64, start: f64, length: f64, target: usize) -> Self {
        let (low, high) = if high > low && (high - low).is_finite() {
            (low, high)
        } else {
            (low - 0.5, low + 0.5)
        };
        Axis {
            low,
            high,
            start,
            length,
            step: round_step((high - low) / target as f64),
        }
    }

    /// Extended to whole steps.
    pub(super) fn rounded(low: f64, high: f64, start: f64, length: f64, target: usize) -> Self {
        let mut axis = Axis::new(low, high, start, length, target);
        axis.low = (axis.low / axis.step + 1e-9).floor() * axis.step;
        axis.high = (axis.high / axis.step - 1e-9).ceil() * axis.step;
        axis
    }

    pub(super) fn map(&self, value: f64) -> f64 {
        self.start + (value - self.low) / (self.high - self.low) * self.length
    }

    pub(super) fn ticks(&self) -> Vec<f64> {
        let first = (self.low / self.step - 1e-9).ceil();
        let count = ((self.high - first * self.step) / self.step + 1e-9).floor();
        (0..=count.clamp(0.0, 50.0) as usize)
            .map(|index| (first + index as f64) * self.step)
            .collect()
    }

    pub(super) fn write(&self, value: f64) -> String {
        let decimals = (-(self.step.log10() + 1e-9).floor()).clamp(0.0, 9.0) as usize;
        let text = format!("{value:.decimals$}");
        match text.strip_prefix('-') {
            Some(rest) if rest.bytes().all(|b| matches!(b, b'0' | b'.')) => rest.to_owned(),
            _ => text,
        }
    }
}

/// 1, 2 or 5 times a power of ten, at least the given step.
fn round_step(step: f64) -> f64 {
    let power = 10f64.powf(step.log10().floor());
    let share = step / power;
    let factor = [1.0, 2.0, 5.0]
        .into_iter()
        .find(|factor| share <= factor * (1.0 + 1e-9))
        .unwrap_or(10.0);
    factor * power
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_inside() {
        let axis = Axis::new(0.013, 0.387, 0.0, 100.0, 8);
        let ticks = axis.ticks();
        assert!((axis.step - 0.05).abs() < 1e-12, "{}", axis.step);
        assert_eq!(ticks.len(), 7);
        assert_eq!(axis.write(ticks[0]), "0.05");
        assert!(ticks.iter().all(|tick| (0.013..=0.387).contains(tick)));
    }
}
