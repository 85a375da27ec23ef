//! The highest point of a sampled curve.

use crate::discharge::Peak;

impl Peak {
    /// Raise to the highest point of a stretch of samples without discontinuity.
    ///
    /// Between two samples the curve is taken for the lower of the parabolas through them and a
    /// neighbour, and for no higher than where the chords on either side would meet. At a bend, such as
    /// the plateau of a triple point, a parabola alone overshoots; the chords meet at the bend itself.
    pub(crate) fn raise(&mut self, times: &[f64], values: &[f64]) {
        for (time, value) in times.iter().zip(values) {
            self.reach(*time, *value);
        }
        let at = |i: usize| Some((*times.get(i)?, *values.get(i)?));
        for i in 0..times.len().saturating_sub(1) {
            let (Some(a), Some(b)) = (at(i), at(i + 1)) else {
                continue;
            };
            if a.0 >= b.0 {
                continue;
            }
            let before = i.checked_sub(1).and_then(at);
            let after = at(i + 2);
            // A parabola through three points that rise, or fall, has no top between the two it leaves.
            let rises = after.is_some_and(|after| a.1 <= b.1 && b.1 <= after.1);
            let falls = before.is_some_and(|before| before.1 >= a.1 && a.1 >= b.1);
            if rises || falls {
                continue;
            }
            let left = before.map(|before| top([before, a, b], a.0, b.0));
            let right = after.map(|after| top([a, b, after], a.0, b.0));
            let chords = before.zip(after).map(|ends| meeting(ends, a, b));
            let lowest = [left, right, chords]
                .into_iter()
                .flatten()
                .min_by(|x, y| x.1.total_cmp(&y.1));
            if let Some((time, value)) = lowest {
                self.reach(time, value);
            }
        }
    }

    fn reach(&mut self, time: f64, value: f64) {
        if value > self.value {
            *self = Peak { value, time };
        }
    }
}

type Point = (f64, f64);

/// Highest point between two times of the parabola through three points.
fn top([a, b, c]: [Point; 3], from: f64, to: f64) -> Point {
    let first = (b.1 - a.1) / (b.0 - a.0);
    let second = (c.1 - b.1) / (c.0 - b.0);
    let curvature = (second - first) / (c.0 - a.0);
    // v = v_a + first (t - t_a) + curvature (t - t_a)(t - t_b).
    let value = |t: f64| {
        (
            t,
            a.1 + first * (t - a.0) + curvature * (t - a.0) * (t - b.0),
        )
    };
    if curvature < 0.0 {
        value((0.5 * (a.0 + b.0 - first / curvature)).clamp(from, to))
    } else {
        let (start, end) = (value(from), value(to));
        if start.1 > end.1 { start } else { end }
    }
}

/// Where the chords before `a` and after `b` meet between the two, if they do.
fn meeting((before, after): (Point, Point), a: Point, b: Point) -> Point {
    let unbounded = (b.0, f64::INFINITY);
    if before.0 >= a.0 || b.0 >= after.0 {
        return unbounded;
    }
    let rise = (a.1 - before.1) / (a.0 - before.0);
    let fall = (after.1 - b.1) / (after.0 - b.0);
    if rise <= fall {
        return unbounded;
    }
    let time = (b.1 - a.1 + rise * a.0 - fall * b.0) / (rise - fall);
    if time < a.0 || time > b.0 {
        return unbounded;
    }
    (time, a.1 + rise * (time - a.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn peak(curve: impl Fn(f64) -> f64, times: &[f64]) -> Peak {
        let values: Vec<f64> = times.iter().map(|t| curve(*t)).collect();
        let mut peak = Peak::default();
        peak.raise(times, &values);
        peak
    }

    #[test]
    fn a_parabola_is_found_exactly() {
        let found = peak(|t| 3.0 - (t - 0.37) * (t - 0.37), &[0.0, 0.3, 0.5, 1.0]);
        assert!((found.value - 3.0).abs() < 1e-14, "{found:?}");
        assert!((found.time - 0.37).abs() < 1e-14, "{found:?}");
    }

    #[test]
    fn a_bend_is_not_overshot() {
        // Rising to a plateau at 0.3.
        let found = peak(|t| t.min(0.3), &[0.0, 0.1, 0.2, 0.4, 0.5, 0.6]);
        assert!((found.value - 0.3).abs() < 1e-14, "{found:?}");
    }

    #[test]
    fn a_monotonic_curve_peaks_at_its_end() {
        let found = peak(|t| 1.0 - (-t).exp(), &[0.0, 0.5, 1.0, 2.0]);
        assert_eq!(found.time, 2.0);
    }
}
